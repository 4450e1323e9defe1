package decode

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"go.einride.tech/can"
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const sec = int64(time.Second)

var morning = time.Date(2024, 6, 3, 7, 0, 0, 0, time.UTC).UnixNano()

// values of a message by field name, in SI.
type values map[string]float64

func payload(number uint32, v values) []byte {
	m := pgn.Lookup(number)
	data := m.New()
	for name, x := range v {
		m.Field(name).Put(data, pgn.Value{V: x})
	}
	return data
}

// bus makes the frames of a test and keeps them in order of time.
type bus struct {
	frames   []frame.Frame
	sequence map[uint64]uint8
}

// send puts a message on bus 0, one millisecond a frame.
func (b *bus) send(at int64, address uint8, number uint32, data []byte) {
	m := pgn.Lookup(number)
	h := pgn.Header{Priority: m.Priority, PGN: number, Source: address, Destination: pgn.Broadcast}
	add := func(data []byte) {
		f := frame.Frame{Time: morning + at, Frame: can.Frame{ID: h.ID(), IsExtended: true, Length: uint8(len(data))}}
		copy(f.Data[:], data)
		b.frames = append(b.frames, f)
		at += int64(time.Millisecond)
	}
	if !m.Fast {
		add(data)
		return
	}
	if b.sequence == nil {
		b.sequence = map[uint64]uint8{}
	}
	key := uint64(number)<<8 | uint64(address)
	b.sequence[key]++
	if err := pgn.FastPackets(b.sequence[key], data, func(d [8]byte) { add(d[:]) }); err != nil {
		panic(err)
	}
}

func (b *bus) say(at int64, address uint8, number uint32, v values) {
	b.send(at, address, number, payload(number, v))
}

func (b *bus) claim(at int64, address uint8, name pgn.Name) {
	b.send(at, address, pgn.AddressClaim, name.Payload())
}

// every repeats something in [from, to).
func every(from, to, step int64, do func(at int64)) {
	for at := from; at < to; at += step {
		do(at)
	}
}

// record is a Handler that keeps everything.
type record struct {
	samples []sample.Sample
	events  []Event
}

func (r *record) Sample(s sample.Sample) { r.samples = append(r.samples, s) }
func (r *record) Event(e Event)          { r.events = append(r.events, e) }

// of lists the samples of a quantity that have a value.
func (r *record) of(q pgn.Quantity) []sample.Sample {
	var out []sample.Sample
	for _, s := range r.samples {
		if s.Quantity == q && s.State == pgn.Valid {
			out = append(out, s)
		}
	}
	return out
}

// told lists the events but for the first choice of a source.
func (r *record) told() []string {
	var out []string
	for _, e := range r.events {
		at := float64(e.Time) / 1e9
		switch e.Kind {
		case SourceChange:
			if e.From != choose.None {
				out = append(out, fmt.Sprintf("%.1f %s %s %d: %d>%d %s", at, e.Kind, e.Group, e.Instance, e.From, e.To, e.Why))
			}
		case Gap:
			out = append(out, fmt.Sprintf("%.1f gap to %.1f", at, float64(e.Until)/1e9))
		case ClockStep:
			out = append(out, fmt.Sprintf("%.1f clock step", at))
		default:
			out = append(out, fmt.Sprintf("%.1f %s: %d is instance %d of %d", at, e.Kind, e.Instance, e.Sent, e.To))
		}
	}
	return out
}

func (b *bus) decode(o Options) (*record, *Decoder) {
	slices.SortStableFunc(b.frames, func(x, y frame.Frame) int {
		switch {
		case x.Time < y.Time:
			return -1
		case x.Time > y.Time:
			return 1
		}
		return 0
	})
	return run(b.frames, o)
}

func run(frames []frame.Frame, o Options) (*record, *Decoder) {
	r := &record{}
	d := New(o, r)
	for i := range frames {
		d.Frame(&frames[i])
	}
	d.Finish()
	return r, d
}

func want[T any](t *testing.T, what string, got, want []T) {
	t.Helper()
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("%s:\ngot  %v\nwant %v", what, got, want)
	}
}

func engine(instance int, rpm float64) values {
	return values{"instance": float64(instance), "speed": rpm / 60}
}

const tenth = sec / 10

func TestEnginesByInstance(t *testing.T) {
	var b bus
	every(0, 2*sec, tenth, func(at int64) {
		b.say(at, 11, engineRapid, engine(1, 3100))
		b.say(at, 10, engineRapid, engine(0, 3000))
		b.say(at, 12, engineRapid, engine(2, 3200))
		// A gearbox of its own address.
		b.say(at, 20, transmission, values{"instance": 2, "gear": 1})
	})
	every(0, 2*sec, sec/2, func(at int64) {
		b.say(at, 11, engineDynamic, values{"instance": 1, "fuel_rate": 1e-5})
	})
	r, d := b.decode(Options{})
	for _, s := range r.of(pgn.EngineSpeed) {
		if got, want := s.Value*60, 3000+100*float64(s.Instance); math.Abs(got-want) > 0.2 {
			t.Fatalf("engine %d: %v rpm", s.Instance, got)
		}
	}
	if n := len(r.of(pgn.EngineSpeed)); n != 60 {
		t.Errorf("%d speeds, want 60", n)
	}
	if f := r.of(pgn.FuelRate); len(f) != 4 || f[0].Instance != 1 || math.Abs(f[0].Value-1e-5) > 2e-8 {
		t.Errorf("fuel %v", f)
	}
	if g := r.of(pgn.Gear); len(g) != 20 || g[0].Instance != 2 || g[0].Value != 1 {
		t.Errorf("gear %v", g)
	}
	want(t, "events", r.told(), []string{"0.0 engine found: 1 is instance 1 of 0", "0.0 engine found: 0 is instance 0 of 1", "0.0 engine found: 2 is instance 2 of 2"})
	if s := d.Stats(); s.Messages != 84 || s.Assembly.Fast != 4 || s.UnknownFrames != 0 {
		t.Errorf("%+v", s)
	}
}

// A message without values gives samples that say so, not zeros.
func TestNoValueIsNotZero(t *testing.T) {
	var b bus
	b.say(0, 1, 129026, values{"reference": 0, "course": 1, "speed": 5})
	b.say(sec, 1, 129026, values{"reference": 0})
	r, _ := b.decode(Options{})
	n := 0
	for _, s := range r.samples {
		if s.State == pgn.NotAvailable {
			n++
		}
	}
	if len(r.of(pgn.SpeedOverGround)) != 1 || n != 2 {
		t.Errorf("%v", r.samples)
	}
}

func TestTwoEnginesShareAnInstance(t *testing.T) {
	twins := func() *bus {
		var b bus
		b.claim(0, 10, 0xA0)
		b.claim(0, 11, 0xB0)
		every(sec/100, 4*sec, tenth, func(at int64) {
			b.say(at, 10, engineRapid, engine(0, 3000))
			b.say(at+sec/50, 11, engineRapid, engine(0, 3500))
		})
		every(sec/2, 4*sec, sec/2, func(at int64) {
			b.say(at, 10, engineDynamic, values{"instance": 0, "fuel_rate": 1e-5})
			b.say(at, 11, engineDynamic, values{"instance": 0, "fuel_rate": 2e-5})
		})
		return &b
	}
	check := func(t *testing.T, r *record, rpmOf0 float64) {
		t.Helper()
		seen := map[uint8]int{}
		for _, s := range r.of(pgn.EngineSpeed) {
			seen[s.Instance]++
			if (math.Abs(s.Value*60-rpmOf0) < 1) != (s.Instance == 0) {
				t.Fatalf("engine %d: %v rpm", s.Instance, s.Value*60)
			}
		}
		for _, s := range r.of(pgn.FuelRate) {
			if is3000 := s.Value < 1.5e-5; is3000 != ((s.Instance == 0) == (rpmOf0 == 3000)) {
				t.Fatalf("engine %d at %.1f s: fuel %v", s.Instance, float64(s.Time)/1e9, s.Value)
			}
		}
		if len(seen) != 2 || seen[0] < 33 || seen[1] < 33 {
			t.Errorf("samples by engine: %v", seen)
		}
	}
	r, _ := twins().decode(Options{})
	check(t, r, 3000)
	want(t, "events", r.told(), []string{"0.0 engine found: 0 is instance 0 of 0", "0.6 engine instance shared: 1 is instance 0 of 1"})

	r, _ = twins().decode(Options{Engines: []Engine{{Instance: 0, Source: "B0"}, {Instance: 0, Source: "00000000000000A0"}}})
	check(t, r, 3500)
	want(t, "events", r.told(), []string{"0.0 engine found: 1 is instance 0 of 0", "0.0 engine found: 0 is instance 0 of 1"})
}

// The claims come late: the positions are put right when they do.
func TestConfiguredEngineNamesItselfLate(t *testing.T) {
	var b bus
	every(0, 4*sec, tenth, func(at int64) {
		b.say(at, 10, engineRapid, engine(0, 3000))
		b.say(at, 11, engineRapid, engine(0, 3500))
	})
	b.claim(2*sec, 10, 0xA0)
	b.claim(2*sec, 11, 0xB0)
	r, _ := b.decode(Options{Engines: []Engine{{Instance: 0, Source: "B0"}, {Instance: 0, Source: "A0"}}})
	n := 0
	for _, s := range r.of(pgn.EngineSpeed) {
		if s.Time > 2*sec {
			n++
			if (math.Abs(s.Value*60-3500) < 1) != (s.Instance == 0) {
				t.Fatalf("engine %d: %v rpm", s.Instance, s.Value*60)
			}
		}
	}
	if n < 38 {
		t.Errorf("%d samples", n)
	}
}

func TestInstancesCountFromOne(t *testing.T) {
	twin := []Engine{{Instance: 0}, {Instance: 1}}
	var b bus
	every(0, sec, tenth, func(at int64) { b.say(at, 10, engineRapid, engine(1, 3000)) })
	r, _ := b.decode(Options{Engines: twin[:1]})
	want(t, "only engine", r.told(), []string{"0.0 engine not configured: 0 is instance 1 of 0"})
	every(0, sec, tenth, func(at int64) { b.say(at, 11, engineRapid, engine(2, 3000)) })
	r, _ = b.decode(Options{Engines: twin})
	want(t, "twins", r.told(), []string{"0.0 engine found: 1 is instance 1 of 0", "0.0 engine not configured: 2 is instance 2 of 1"})
}

// An engine that takes another address is the same engine, with its claim heard
// or not.
func TestEngineMovesAddress(t *testing.T) {
	for _, claims := range []bool{true, false} {
		var b bus
		if claims {
			b.claim(0, 10, 0xA0)
			b.claim(5*sec, 30, 0xA0)
		}
		every(sec/100, 5*sec, tenth, func(at int64) { b.say(at, 10, engineRapid, engine(0, 3000)) })
		every(5*sec+sec/100, 10*sec, tenth, func(at int64) { b.say(at, 30, engineRapid, engine(0, 3000)) })
		r, d := b.decode(Options{})
		n, sources := 0, map[uint16]bool{}
		for _, s := range r.of(pgn.EngineSpeed) {
			n++
			sources[s.Source] = true
			if s.Instance != 0 {
				t.Fatalf("claims %v: a second engine at %.1f s", claims, float64(s.Time)/1e9)
			}
		}
		if claims {
			if n != 100 || len(sources) != 1 || !slices.Equal(d.Devices()[0].Addresses, []uint8{10, 30}) {
				t.Errorf("%d samples from %d devices, addresses %v", n, len(sources), d.Devices()[0].Addresses)
			}
		} else if n < 88 {
			t.Errorf("without claims: %d samples of 100", n)
		}
	}
}

func TestTrueNorth(t *testing.T) {
	near := func(a, b float64) bool { return math.Abs(math.Remainder(a-b, 2*math.Pi)) < 1e-3 }
	var b bus
	// Nothing known: magnetic stays magnetic.
	b.say(0, 5, vesselHeading, values{"heading": 6.2, "reference": 1})
	b.say(0, 6, 129026, values{"reference": 1, "course": 1, "speed": 5})
	// In the message itself.
	b.say(1*sec, 5, vesselHeading, values{"heading": 6.2, "deviation": 0.1, "variation": -0.2, "reference": 1})
	// From 127258.
	every(16*sec, 21*sec, sec, func(at int64) { b.say(at, 7, 127258, values{"variation": 0.3}) })
	b.say(21*sec, 5, vesselHeading, values{"heading": 6.2, "reference": 1})
	b.say(21*sec, 6, 129026, values{"reference": 1, "course": 1, "speed": 5})
	// True already.
	b.say(22*sec, 5, vesselHeading, values{"heading": 1, "variation": 0.3, "reference": 0})
	b.say(22*sec, 6, 129026, values{"reference": 0, "course": 2, "speed": 5})
	// Keep the bus alive until the variation is too old.
	every(23*sec, 3700*sec, sec, func(at int64) { b.say(at, 9, 127508, values{"instance": 0, "voltage": 12}) })
	b.say(3690*sec, 5, vesselHeading, values{"heading": 6.2, "reference": 1})
	r, _ := b.decode(Options{})
	for _, tt := range []struct {
		q    pgn.Quantity
		want []float64
	}{
		{pgn.HeadingMagnetic, []float64{6.2, 6.2}},
		{pgn.CourseMagnetic, []float64{1}},
		{pgn.Heading, []float64{6.1, 6.5, 1}},
		{pgn.CourseOverGround, []float64{1.3, 2}},
	} {
		got := r.of(tt.q)
		if len(got) != len(tt.want) {
			t.Errorf("%v: %d samples, want %d", tt.q, len(got), len(tt.want))
			continue
		}
		for i := range got {
			if !near(got[i].Value, tt.want[i]) || got[i].Value < 0 || got[i].Value >= 2*math.Pi {
				t.Errorf("%v: got %v, want %v", tt.q, got[i].Value, tt.want[i])
			}
		}
	}
}

func gnssTime(utc int64) values {
	day := 24 * 3600 * sec
	return values{"date": float64(utc / day * 86400), "time": float64(utc%day) / 1e9, "method": 1,
		"latitude": 0.9, "longitude": 0.1, "hdop": 1, "satellites": 9}
}

// A day in small: two receivers, a magnetic compass with the variation from
// elsewhere, two engines of which one moves its address, a clock that is set
// in mid-day.
func TestDayInSmall(t *testing.T) {
	const end = 200
	var b bus
	b.claim(0, 1, 0x11)
	b.claim(0, 2, 0x22)
	b.claim(0, 10, 0xA0)
	every(tenth, end*sec, tenth, func(at int64) {
		b.say(at, 1, 129026, values{"reference": 0, "course": 1, "speed": 10})
		b.say(at, 1, positionRapid, values{"latitude": 0.9, "longitude": 0.1})
		b.say(at, 5, vesselHeading, values{"heading": 0.9, "reference": 1})
		right, left := uint8(11), uint8(10)
		if at > 80*sec {
			left = 40
		}
		b.say(at, left, engineRapid, engine(0, 3000))
		b.say(at, right, engineRapid, engine(1, 3000))
		if at < 60*sec || at > 90*sec {
			b.say(at+sec/50, 2, 129026, values{"reference": 0, "course": 1, "speed": 11})
		}
	})
	b.claim(80*sec, 40, 0xA0)
	every(sec/2, end*sec, sec, func(at int64) {
		b.say(at, 1, 129029, gnssTime(morning+at))
		b.say(at, 6, 127258, values{"variation": 0.05})
	})
	slices.SortStableFunc(b.frames, func(x, y frame.Frame) int { return int(x.Time - y.Time) })
	// The recorder believes it is another time from 100 s on.
	for i := range b.frames {
		if b.frames[i].Time > morning+100*sec {
			b.frames[i].Time += 1234 * sec
		}
	}
	r, d := run(b.frames, Options{
		Prefer: map[choose.Group][]string{choose.Motion: {"can0/2"}},
		Hold:   20 * time.Second,
		Buses:  func() []string { return []string{"can0"} },
	})
	want(t, "events", r.told(), []string{
		"0.1 engine found: 0 is instance 0 of 2",
		"0.1 engine found: 1 is instance 1 of 4",
		"25.1 source change motion 0: 0>1 preferred",
		"63.0 source change motion 0: 1>0 failover",
		"100.0 clock step",
		"115.1 source change motion 0: 0>1 return",
	})
	last := int64(-1)
	for _, s := range r.samples {
		if s.Time < last {
			t.Fatalf("samples out of order at %.2f s", float64(s.Time)/1e9)
		}
		last = s.Time
	}
	if last < (end-1)*sec || last > end*sec {
		t.Errorf("last sample at %.1f s", float64(last)/1e9)
	}
	for at := last / sec; at > 0; at /= 2 {
		if e := d.Clock().UTC(at*sec) - morning - at*sec; e < -sec/10 || e > sec/10 {
			t.Errorf("UTC at %d s is wrong by %v", at, time.Duration(e))
		}
	}
	if n := len(r.of(pgn.EngineSpeed)); n != 2*(end*10-1) {
		t.Errorf("%d engine speeds", n)
	}
	if n := len(r.of(pgn.Latitude)); n < end*10-1 || n > end*10 {
		t.Errorf("%d positions: 129029 repeats those of 129025", n)
	}
	for _, s := range r.of(pgn.Heading) {
		if math.Abs(s.Value-0.95) > 1e-3 {
			t.Fatalf("heading %v", s.Value)
		}
	}
	if s := d.Stats(); s.NotChosen == 0 || s.Samples != int64(len(r.samples)) {
		t.Errorf("%+v", s)
	}
}

func TestGapAndCounts(t *testing.T) {
	var b bus
	battery := values{"instance": 0, "voltage": 12}
	every(0, 10*sec, sec, func(at int64) { b.say(at, 9, 127508, battery) })
	every(200*sec, 210*sec, sec, func(at int64) { b.say(at, 9, 127508, battery) })
	odd := b.frames[len(b.frames)-1]
	remote, standard, fault, strange := odd, odd, odd, odd
	remote.IsRemote, standard.IsExtended, fault.IsError = true, false, true
	standard.ID &= 0x7FF
	strange.ID = pgn.Header{Priority: 6, PGN: 65300, Source: 3, Destination: 255}.ID()
	b.frames = append(b.frames, remote, standard, fault, strange, strange)
	r, d := b.decode(Options{})
	want(t, "events", r.told(), []string{"9.0 gap to 200.0"})
	s := d.Stats()
	if s.Frames != 25 || s.RemoteFrames != 1 || s.StandardFrames != 1 || s.ErrorFrames != 1 || s.UnknownFrames != 2 || s.Messages != 20 {
		t.Errorf("%+v", s)
	}
	want(t, "unknown", s.UnknownPGNs, []PGNCount{{65300, 2}})
	if n := s.Losses()["fast_packet_incomplete"]; n != 0 || len(s.Losses()) != 15 {
		t.Errorf("%v", s.Losses())
	}
}

// The hold ends by itself: by time, at the end, and at the next jump.
func TestHoldIsBounded(t *testing.T) {
	var b bus
	every(0, 30*sec, sec/2, func(at int64) {
		b.say(at, 1, 129029, gnssTime(morning+at))
		b.say(at, 9, 127508, values{"instance": 0, "voltage": 12})
	})
	base := len(b.frames)
	every(300*sec, 305*sec, sec/2, func(at int64) { b.say(at, 9, 127508, values{"instance": 0, "voltage": 12}) })
	for _, jump := range []int64{0, -3600 * sec} {
		frames := slices.Clone(b.frames)
		for i := base; i < len(frames); i++ {
			frames[i].Time += jump
		}
		r, _ := run(frames, Options{})
		if n := len(r.of(pgn.BatteryVoltage)); n != 70 {
			t.Errorf("jump %v: %d samples, want 70", time.Duration(jump), n)
		}
	}
}

func TestDeterministic(t *testing.T) {
	var b bus
	every(0, 20*sec, tenth, func(at int64) {
		for a := uint8(1); a < 12; a++ {
			b.say(at, a, 129026, values{"reference": 0, "course": 1, "speed": float64(a)})
			b.say(at, a, engineRapid, engine(int(a)%3, 3000))
			b.say(at, a, 129029, gnssTime(morning+at+int64(a)*3600*sec))
		}
	})
	first, d := b.decode(Options{Hold: time.Second})
	for range 3 {
		again, e := b.decode(Options{Hold: time.Second})
		if fmt.Sprint(first) != fmt.Sprint(again) || d.Clock().UTC(0) != e.Clock().UTC(0) || d.Clock().Uncertainty() != e.Clock().Uncertainty() {
			t.Fatal("two runs over the same frames differ")
		}
	}
}

func FuzzDecoder(f *testing.F) {
	var b bus
	b.claim(0, 1, 0x11)
	b.say(0, 1, 129029, gnssTime(morning))
	b.say(0, 1, engineRapid, engine(0, 3000))
	b.say(0, 1, engineDynamic, values{"instance": 0, "fuel_rate": 1e-5})
	b.say(0, 1, vesselHeading, values{"heading": 1, "reference": 1})
	b.say(0, 2, controller1, values{"speed": 50})
	b.say(0, 2, 65266, values{"fuel_rate": 1e-5})
	var seed []byte
	for _, fr := range b.frames {
		seed = binary.LittleEndian.AppendUint32(seed, fr.ID)
		seed = append(seed, 0, 10, fr.Length)
		seed = append(seed, fr.Data[:]...)
	}
	f.Add(seed)
	f.Fuzz(func(t *testing.T, b []byte) {
		r := &record{}
		d := New(Options{Engines: []Engine{{Instance: 0, Source: "11"}, {Instance: 0}, {Instance: 3, Address: new(int)}}, Prefer: map[choose.Group][]string{choose.Motion: {"x", "/1", "11"}}}, r)
		at := morning
		for len(b) >= 15 {
			at += int64(int8(b[4])) << (b[5] & 47)
			fr := frame.Frame{Time: at, Bus: b[5] >> 6, IsError: b[6]&0x80 != 0, Frame: can.Frame{
				ID: binary.LittleEndian.Uint32(b) & can.MaxExtendedID, IsExtended: b[6]&0x40 == 0, IsRemote: b[6]&0x20 != 0, Length: b[6] & 15}}
			copy(fr.Data[:], b[7:15])
			d.Frame(&fr)
			b = b[15:]
		}
		d.Finish()
		last := int64(0)
		for _, s := range r.samples {
			if s.Time < last {
				t.Fatalf("samples out of order: %d after %d", s.Time, last)
			}
			last = s.Time
			if s.State == pgn.Valid && math.IsNaN(s.Value) || int(s.Source) >= len(d.Devices()) {
				t.Fatalf("%+v", s)
			}
		}
		d.Stats()
		d.Clock().UTC(last)
	})
}

type nothing struct{}

func (nothing) Sample(sample.Sample) {}
func (nothing) Event(Event)          {}

func BenchmarkFrames(b *testing.B) {
	var bus bus
	every(0, 10*sec, tenth, func(at int64) {
		for a := uint8(10); a < 13; a++ {
			bus.say(at, a, engineRapid, engine(int(a-10), 3000))
			bus.say(at, a, transmission, values{"instance": float64(a - 10), "gear": 0})
		}
		bus.say(at, 1, 129026, values{"reference": 0, "course": 1, "speed": 10})
		bus.say(at, 1, positionRapid, values{"latitude": 0.9, "longitude": 0.1})
		bus.say(at, 5, vesselHeading, values{"heading": 0.9, "variation": 0.1, "reference": 1})
		bus.say(at, 5, 127257, values{"pitch": 0.01, "roll": 0.02})
		bus.say(at, 6, 130306, values{"speed": 5, "angle": 1, "reference": 2})
		if at%(sec/2) == 0 {
			for a := uint8(10); a < 13; a++ {
				bus.say(at, a, engineDynamic, values{"instance": float64(a - 10), "fuel_rate": 1e-5})
			}
			bus.say(at, 1, 129029, gnssTime(morning+at))
		}
	})
	slices.SortStableFunc(bus.frames, func(x, y frame.Frame) int { return int(x.Time - y.Time) })
	d := New(Options{}, nothing{})
	n := len(bus.frames)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		f := &bus.frames[i%n]
		d.Frame(f)
		f.Time += 10 * sec
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Mframes/s")
}
