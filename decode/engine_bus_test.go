package decode

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"trialday.example/logd/decode/choose"
	"trialday.example/logd/pgn"
)

// The engines' own bus is can1, bus 1 of a test.
var twoBuses = Options{Buses: func() []string { return []string{"can0", "can1"} }}

// own says something on the engines' own bus.
func (b *bus) own(at int64, address uint8, number uint32, v values) {
	n := len(b.frames)
	b.say(at, address, number, v)
	for i := range b.frames[n:] {
		b.frames[n+i].Bus = 1
	}
}

// turning is an engine's speed at a time, 1/min: near 800, its own way.
func turning(engine int, at int64) float64 {
	t := float64(at) / 1e9
	return 800 + 6*math.Sin(t*(0.7+0.2*float64(engine)))
}

// boatEngine sends an engine's speed on the backbone.
func (b *bus) boatEngine(engine, instance int, from, to int64) {
	every(from, to, sec/10, func(at int64) {
		b.say(at, uint8(0x20+engine), engineRapid, values{"instance": float64(instance), "speed": turning(engine, at) / 60})
	})
}

// ownEngine sends an engine's speed on the engines' own bus.
func (b *bus) ownEngine(engine int, address uint8, from, to int64) {
	every(from, to, sec/20, func(at int64) {
		b.own(at+3e6, address, controller1, values{"speed": turning(engine, at+3e6) / 60})
	})
}

// known lists what was thought of the engines on their own bus.
func (r *record) known() []string {
	var out []string
	for _, e := range r.events {
		if e.Kind == EngineBus {
			out = append(out, fmt.Sprintf("%d is %d, %s", e.Sent, e.Instance, e.Why))
		}
	}
	return out
}

// speeds counts the engine speeds by engine.
func (r *record) speeds() map[uint8]int {
	n := map[uint8]int{}
	for _, s := range r.of(pgn.EngineSpeed) {
		n[s.Instance]++
	}
	return n
}

func TestEngineBusPositions(t *testing.T) {
	const end = 100 * sec
	address := func(n int) *int { return &n }
	for _, c := range []struct {
		name    string
		play    func(b *bus)
		listed  []Engine
		want    []string
		engines int
	}{
		{"alone, in order of address", func(b *bus) {
			b.ownEngine(0, 5, 0, end)
			b.ownEngine(1, 1, sec, end)
			b.ownEngine(2, 3, 2*sec, end)
		}, nil, []string{"1 is 0, order of address", "3 is 1, order of address", "5 is 2, order of address"}, 3},
		{"one that wakes later comes last", func(b *bus) {
			b.ownEngine(0, 5, 0, end)
			b.ownEngine(1, 1, 30*sec, end)
		}, nil, []string{"5 is 0, order of address", "1 is 1, order of address"}, 2},
		{"configured by address", func(b *bus) {
			b.ownEngine(0, 5, 0, end)
			b.ownEngine(1, 1, 0, end)
		}, []Engine{{Instance: 0, Bus: "can1", Address: address(5)}, {Instance: 1, Address: address(1)}},
			[]string{"5 is 0, configured", "1 is 1, configured"}, 2},
		{"configured by bus, beside one that is not", func(b *bus) {
			b.ownEngine(0, 5, 0, end)
		}, []Engine{{Instance: 0, Bus: "can2"}, {Instance: 1, Bus: "can1"}}, []string{"5 is 1, configured"}, 1},
		{"on both, in another order", func(b *bus) {
			b.boatEngine(0, 0, 0, end)
			b.boatEngine(1, 1, 0, end)
			b.boatEngine(2, 2, 0, end)
			b.ownEngine(0, 17, 0, end)
			b.ownEngine(1, 0, 0, end)
			b.ownEngine(2, 5, 0, end)
		}, nil, []string{"17 is 0, rpm agrees", "0 is 1, rpm agrees", "5 is 2, rpm agrees"}, 3},
		{"on both, configured against all evidence", func(b *bus) {
			b.boatEngine(0, 0, 0, end)
			b.ownEngine(1, 9, 0, end)
		}, []Engine{{Instance: 0, Address: address(9)}}, []string{"9 is 0, configured"}, 1},
		{"the backbone comes later and knows better", func(b *bus) {
			b.ownEngine(0, 7, 0, end)
			b.ownEngine(1, 2, 0, end)
			b.boatEngine(0, 0, 20*sec, end)
			b.boatEngine(1, 1, 20*sec, end)
		}, nil, []string{"2 is 0, order of address", "7 is 1, order of address", "7 is 0, rpm agrees", "2 is 1, rpm agrees"}, 2},
		{"the backbone knows one of two", func(b *bus) {
			b.ownEngine(0, 0, 0, end)
			b.ownEngine(1, 1, 0, end)
			b.boatEngine(1, 0, 0, end)
		}, nil, []string{"1 is 0, rpm agrees", "0 is 1, rpm agrees with no other engine"}, 2},
		{"an engine that the backbone does not know", func(b *bus) {
			b.boatEngine(0, 0, 0, end)
			every(0, end, sec/20, func(at int64) { b.own(at, 3, controller1, values{"speed": 1500.0 / 60}) })
		}, nil, []string{"3 is 1, rpm agrees with no other engine"}, 2},
		{"engines that stand still are not compared", func(b *bus) {
			every(0, end, sec/10, func(at int64) {
				b.say(at, 0x20, engineRapid, engine(0, 0))
				b.own(at+1e6, 0, controller1, values{"speed": 0})
			})
		}, nil, nil, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := &bus{}
			c.play(b)
			o := twoBuses
			o.Engines = c.listed
			r, _ := b.decode(o)
			want(t, "engines", r.known(), c.want)
			if got := r.speeds(); len(got) != c.engines {
				t.Errorf("speeds of %v, want %d engines", got, c.engines)
			}
		})
	}
}

// Engines whose speeds cannot be told apart take each other's place in order,
// after ten minutes.
func TestEngineBusUndecided(t *testing.T) {
	b := &bus{}
	const end = 640 * sec
	every(0, end, sec/10, func(at int64) {
		for k := range 2 {
			b.say(at+int64(k)*2e6, uint8(0x20+k), engineRapid, engine(k, 800))
			b.own(at+int64(k)*2e6+1e6, uint8(9-k), controller1, values{"speed": 800.0 / 60})
		}
	})
	r, _ := b.decode(twoBuses)
	want(t, "engines", r.known(), []string{"8 is 0, order of address", "9 is 1, order of address"})
	for _, e := range r.events {
		if e.Kind == EngineBus && (e.Time < 595*sec || e.Time > 605*sec) {
			t.Errorf("at %d s", e.Time/sec)
		}
	}
}

// What an engine sends on both buses comes once, from the better bus for each
// quantity, and from the other when that falls silent.
func TestEngineOnBothBusesIsOne(t *testing.T) {
	b := &bus{}
	const end, silent = 200 * sec, 150 * sec
	b.boatEngine(0, 0, 0, end)
	b.ownEngine(0, 4, 0, silent)
	every(0, end, sec/2, func(at int64) {
		b.say(at, 0x20, engineDynamic, values{"instance": 0, "fuel_rate": 20e-3 / 3600, "temperature": 350, "load": 0.5})
	})
	every(0, silent, sec/5, func(at int64) {
		b.own(at+1e6, 4, 65266, values{"fuel_rate": 20.05e-3 / 3600})
		b.own(at+2e6, 4, 65262, values{"coolant_temperature": 351.15})
	})
	r, _ := b.decode(twoBuses)
	var changes []string
	for _, e := range r.events {
		if e.Kind == SourceChange && e.Quantity != pgn.None {
			changes = append(changes, fmt.Sprintf("%s %d>%d %s", e.Quantity, e.From, e.To, e.Why))
		}
	}
	want(t, "changes", changes, []string{
		"engine_speed 0>1 finer steps", "fuel_rate 0>1 finer steps", "engine_temperature 0>1 better rate",
		"engine_speed 1>0 failover", "engine_temperature 1>0 failover", "fuel_rate 1>0 failover",
	})
	for _, q := range []pgn.Quantity{pgn.EngineSpeed, pgn.FuelRate, pgn.EngineTemperature} {
		last, source := int64(-1), uint16(choose.None)
		for _, s := range r.of(q) {
			if s.Instance != 0 || s.Source != source && s.Time-last < sec/200 && last >= 0 {
				t.Fatalf("%v of engine %d from %d at %d, %d ns after another", q, s.Instance, s.Source, s.Time, s.Time-last)
			}
			last, source = s.Time, s.Source
		}
	}
}

// A gearbox with an address of its own is that of the only engine on its bus,
// and of none where there are several. Gears become those of the backbone.
func TestGearOnTheEngineBus(t *testing.T) {
	for _, engines := range []int{1, 2} {
		b := &bus{}
		for k := range engines {
			b.ownEngine(k, uint8(k), 0, 30*sec)
		}
		gear := pgn.Lookup(61445).Field("current_gear")
		n := 0
		every(12*sec, 30*sec, sec, func(at int64) {
			data := pgn.Lookup(61445).New()
			gear.PutRaw(data, int64([]int{126, 125, 124, 128, 251, 254, 255}[n%7]))
			b.send(at, 3, 61445, data)
			b.frames[len(b.frames)-1].Bus = 1
			n++
		})
		r, d := b.decode(twoBuses)
		var got []string
		for _, s := range r.samples {
			if s.Quantity == pgn.Gear && len(got) < 7 {
				got = append(got, fmt.Sprint(s.Instance, s.State, s.Value))
			}
		}
		if engines == 2 {
			if len(got) != 0 || d.Stats().NoEngine < 18 {
				t.Errorf("two engines: gears %v, %d messages without an engine", got, d.Stats().NoEngine)
			}
			continue
		}
		want(t, "gears", got, []string{"0 valid 0", "0 valid 1", "0 valid 2", "0 valid 0",
			"0 reserved NaN", "0 out of range NaN", "0 not available NaN"})
	}
}

// More senders than there are positions harm nothing.
func TestTooManyOnTheEngineBus(t *testing.T) {
	b := &bus{}
	for k := range 2 * MaxEngines {
		b.ownEngine(k, uint8(k), 0, 15*sec)
	}
	r, d := b.decode(twoBuses)
	if got := r.speeds(); len(got) != MaxEngines || d.Stats().NoEngine == 0 {
		t.Errorf("%v, %d without an engine", got, d.Stats().NoEngine)
	}
}

// The same frames give the same, and what comes out at a frame depends on no
// later one.
func TestEngineBusDeterministic(t *testing.T) {
	b := &bus{}
	b.boatEngine(0, 0, 5*sec, 90*sec)
	b.boatEngine(1, 1, 5*sec, 90*sec)
	b.ownEngine(0, 9, 0, 90*sec)
	b.ownEngine(1, 2, 0, 90*sec)
	whole, _ := b.decode(twoBuses)
	for _, n := range []int{len(b.frames), len(b.frames) / 2, len(b.frames) / 5} {
		r, _ := run(slices.Clone(b.frames[:n:n]), twoBuses)
		if k := len(r.samples); fmt.Sprint(r.samples) != fmt.Sprint(whole.samples[:k]) {
			t.Errorf("of %d frames other samples", n)
		}
		if k := len(r.events); fmt.Sprint(r.events) != fmt.Sprint(whole.events[:k]) {
			t.Errorf("of %d frames other events", n)
		}
	}
}
