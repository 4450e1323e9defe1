package simulate

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
)

func load(t testing.TB, name string) *Scenario {
	t.Helper()
	text, err := scenarios.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// fingerprint runs a day and sums up its frames and its truth.
func fingerprint(t *testing.T, s *Scenario, seed uint64) [32]byte {
	t.Helper()
	h := sha256.New()
	truth, err := s.Run(seed, func(f *frame.Frame) error {
		b := binary.LittleEndian.AppendUint64(f.Data[:], uint64(f.Time))
		b = binary.LittleEndian.AppendUint32(append(b, f.Length), f.ID)
		_, err := h.Write(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := json.NewEncoder(h).Encode(truth); err != nil {
		t.Fatal(err)
	}
	return [32]byte(h.Sum(nil))
}

func TestSameSeedSameDay(t *testing.T) {
	t.Parallel()
	short := func() *Scenario {
		s := load(t, "accuracy")
		s.Script = s.Script[:5]
		return s
	}
	s := short()
	first := fingerprint(t, s, 7)
	if fingerprint(t, short(), 7) != first {
		t.Error("two runs of one seed differ")
	}
	if fingerprint(t, s, 8) == first {
		t.Error("another seed gives the same day")
	}
	if fingerprint(t, s.Variant(3), 7) == first {
		t.Error("a variant gives the same day")
	}
}

// curve is the boat's equilibrium at a throttle setting.
type curve struct{ rpm, speed, pitch, fuel, load float64 }

func curves(s *Scenario) []curve {
	b := newBoat(s)
	n := len(s.Engines.Names)
	gears, commands := make([]int8, n), make([]float64, n)
	c := conditions{mass: newWorld(s, 1).mass(), depth: 50}
	var list []curve
	var v float64
	for rpm := s.Engines.IdleRPM; rpm <= s.Engines.TopRPM; rpm += 50 {
		for i := range gears {
			gears[i], commands[i] = 1, rpm
		}
		v = b.balance(v, gears, commands, &c)
		held := b.heldRPM(1, rpm, v)
		_, q := b.propeller(1, held, v)
		list = append(list, curve{held, v / knot, b.pitch(v, c.mass) / degree,
			float64(n) * b.fuelRate(held, q), q / b.maxTorque(held)})
	}
	return list
}

// The limits are those of a plausible planing boat of its size, no source.
func TestBoatsArePlausible(t *testing.T) {
	for name, top := range map[string][2]float64{"demo-triple": {33, 36.5}, "demo-single": {33, 38}} {
		t.Run(name, func(t *testing.T) {
			s := load(t, name)
			list := curves(s)
			last := list[len(list)-1]
			if last.speed < top[0] || last.speed > top[1] {
				t.Errorf("top speed %.1f kn", last.speed)
			}
			if last.load < 0.97 || last.load > 1.001 {
				t.Errorf("load at full throttle %.2f", last.load)
			}
			var worst, best float64 // economy at its least below, and its best above it
			worst = math.Inf(1)
			peak := list[0]
			eighty := 0.0
			for i, c := range list {
				if i > 0 && c.rpm > list[i-1].rpm && c.speed <= list[i-1].speed {
					t.Errorf("slower at %.0f rpm than at %.0f", c.rpm, list[i-1].rpm)
				}
				economy := c.speed / c.fuel
				if economy < worst && c.speed < 0.6*last.speed {
					worst, best = economy, economy
				}
				best = max(best, economy)
				if c.pitch > peak.pitch {
					peak = c
				}
				if c.load < 0.8 {
					eighty = c.rpm
				}
			}
			if best < 1.05*worst {
				t.Errorf("no optimum on the plane: %.3f nm/L at the hump, at most %.3f above", worst, best)
			}
			if last.speed/last.fuel > 0.97*best {
				t.Error("economy does not fall towards full throttle")
			}
			if peak.pitch < 4 || peak.pitch > 8 || peak.speed > 0.7*last.speed {
				t.Errorf("trim peaks at %.1f degrees and %.1f kn", peak.pitch, peak.speed)
			}
			if d := last.rpm - eighty; d < 100 || d > 900 {
				t.Errorf("80 %% load at %.0f rpm, top %.0f", eighty, last.rpm)
			}
		})
	}
}

// heard is what a simple receiver makes of the frames of one message.
type heard struct {
	time    time.Time
	source  uint8
	number  uint32
	payload []byte
}

// listen reassembles a day's messages (with no regard to interleaving of one
// source's sequences, which the devices do not do) and checks every frame.
func listen(t *testing.T, s *Scenario, seed uint64, each func(heard)) *Truth {
	t.Helper()
	partial := map[[2]uint32][]byte{}
	var last int64
	truth, err := s.Run(seed, func(f *frame.Frame) error {
		if f.Time <= last && len(s.Clock.Steps) == 0 {
			t.Errorf("frame at %d after %d", f.Time, last)
		}
		last = f.Time
		if err := f.Validate(); err != nil && !f.IsError {
			t.Error(err)
		}
		if f.IsError || !f.IsExtended {
			return nil
		}
		h := pgn.ParseID(f.ID)
		m := pgn.Lookup(h.PGN)
		got := heard{time.Unix(0, f.Time), h.Source, h.PGN, f.Data[:f.Length]}
		if m == nil {
			if h.PGN != 65330 {
				t.Errorf("PGN %d is not in the table", h.PGN)
			}
			return nil
		}
		if m.Fast {
			key := [2]uint32{h.PGN, uint32(h.Source)}
			number := f.Data[0] & 31
			switch {
			case number == 0:
				partial[key] = append([]byte{f.Data[1]}, f.Data[2:]...)
			case len(partial[key]) == 1+6+7*int(number-1):
				partial[key] = append(partial[key], f.Data[1:]...)
			default:
				delete(partial, key)
			}
			p := partial[key]
			if len(p) == 0 || len(p) < 1+int(p[0]) {
				return nil
			}
			got.payload = p[1 : 1+int(p[0])]
			delete(partial, key)
		}
		if m.Length != len(got.payload) {
			t.Errorf("PGN %d has %d bytes", h.PGN, len(got.payload))
		}
		each(got)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return truth
}

// limits are what each quantity must lie in if it is valid.
var limits = map[pgn.Quantity][2]float64{
	pgn.EngineSpeed: {0, 100}, pgn.FuelRate: {0, 70 * litrePerHour}, pgn.EngineLoad: {0, 1.05},
	pgn.EngineTemperature: {280, 370}, pgn.Gear: {0, 2}, pgn.FluidLevel: {0, 1},
	pgn.SpeedOverGround: {0, 20}, pgn.SpeedThroughWater: {0, 20}, pgn.CourseOverGround: {0, 6.2832},
	pgn.HeadingMagnetic: {0, 6.2832}, pgn.Pitch: {-0.3, 0.4}, pgn.Roll: {-0.7, 0.7},
	pgn.Latitude: {0.8, 1.1}, pgn.Longitude: {-0.1, 0.25}, pgn.Depth: {0.2, 40},
	pgn.WindSpeedApparent: {0, 40}, pgn.RudderAngle: {-0.8, 0.8}, pgn.RateOfTurn: {-1, 1},
	pgn.AirPressure: {1e5, 1.03e5}, pgn.WaterTemperature: {285, 295}, pgn.HDOP: {0.5, 6},
	pgn.BatteryVoltage: {11, 15}, pgn.EngineTrim: {0, 1},
}

func TestEveryFrameDecodes(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"demo-triple", "demo-single"} {
		claimed := map[uint8]bool{}
		missing := map[pgn.Quantity]int{}
		s := load(t, name)
		s.Script = s.Script[:min(13, len(s.Script))]
		truth := listen(t, s, 1, func(h heard) {
			if h.number == pgn.AddressClaim {
				claimed[h.source] = true
			}
			if !claimed[h.source] {
				t.Errorf("%s: PGN %d from %d before its address claim", name, h.number, h.source)
			}
			pgn.Lookup(h.number).Samples(h.payload, func(q pgn.Quantity, _ uint8, v pgn.Value) {
				if v.State == pgn.NotAvailable {
					missing[q]++
				} else if v.State != pgn.Valid {
					t.Errorf("%s: %v is %v", name, q, v.State)
				}
				if l, ok := limits[q]; ok && (v.V < l[0] || v.V > l[1]) {
					t.Errorf("%s: %v is %v", name, q, v.V)
				}
			})
		})
		for _, q := range []pgn.Quantity{pgn.SpeedOverGround, pgn.Depth, pgn.SpeedThroughWater} {
			if missing[q] == 0 {
				t.Errorf("%s: %v is never missing", name, q)
			}
		}
		if truth.FramesLost == 0 || truth.ErrorFrames == 0 {
			t.Errorf("%s: %d frames lost, %d error frames", name, truth.FramesLost, truth.ErrorFrames)
		}
	}
}

// triple is one day of the three engines, which several tests look at.
var triple = sync.OnceValues(func() (*Truth, int) {
	text, err := scenarios.Load("demo-triple")
	if err != nil {
		panic(err)
	}
	s, err := Parse(text)
	if err != nil {
		panic(err)
	}
	frames := 0
	truth, _ := s.Run(1, func(*frame.Frame) error { frames++; return nil })
	return truth, frames
})

func TestDemoTripleSize(t *testing.T) {
	t.Parallel()
	truth, frames := triple()
	d := truth.End.Sub(truth.Start)
	if d < 2*time.Hour || d > 135*time.Minute || frames > 1_600_000 {
		t.Errorf("%d frames in %v", frames, d)
	}
	moved := truth.AddressMoves
	if len(moved) != 1 || moved[0].Device != "gnss_1" || moved[0].TakenBy != "newcomer" {
		t.Errorf("address moves: %+v", moved)
	}
	if len(truth.Turns) != 2 || len(truth.Stops) != 1 || len(truth.Accelerations) != 2 {
		t.Errorf("%d turns, %d stops, %d accelerations", len(truth.Turns), len(truth.Stops), len(truth.Accelerations))
	}
	whys := map[string]bool{}
	for _, st := range truth.Stretches {
		whys[st.Why] = true
	}
	for _, why := range []string{"hunting", "shallow", "turning", "accelerating", "slowing"} {
		if !whys[why] {
			t.Errorf("no stretch is unsteady for %s", why)
		}
	}
}

// The centre engine of three engages last and disengages first.
func TestCentreEngine(t *testing.T) {
	t.Parallel()
	truth, _ := triple()
	ahead := map[string]bool{}
	for _, e := range truth.GearEvents {
		if e.Engine == "centre" && e.To == "forward" && !(ahead["port"] && ahead["starboard"]) {
			t.Errorf("centre engaged at %v with %v", e.Time, ahead)
		}
		if e.Engine != "centre" && e.From == "forward" && ahead["centre"] {
			t.Errorf("%s disengaged before the centre one at %v", e.Engine, e.Time)
		}
		ahead[e.Engine] = e.To == "forward"
	}
}

func TestAddressMovesOnTheBus(t *testing.T) {
	t.Parallel()
	s := load(t, "accuracy")
	s.Script = s.Script[:2]
	s.Faults.AddressChange = &AddressChange{Device: "gnss_1", AtS: 100, To: 120}
	names := map[uint8]string{}
	from := map[uint8]int{} // positions after the change, by address
	listen(t, s, 1, func(h heard) {
		moved := h.time.Sub(s.StartUTC) > 100*time.Second
		switch h.number {
		case pgn.AddressClaim:
			names[h.source] = string(h.payload)
		case 129025:
			if moved {
				from[h.source]++
			} else if h.source != 32 {
				t.Errorf("a position from %d before the change", h.source)
			}
		}
	})
	// A fix that was under way may still go out under the old address.
	if from[120] < 10 || from[32] > 1 {
		t.Errorf("positions by address: %v", from)
	}
	if names[120] == names[32] || names[120] == "" {
		t.Error("the addresses do not have two names")
	}
}

func TestTruthIsConsistent(t *testing.T) {
	t.Parallel()
	base := load(t, "accuracy")
	for seed := range uint64(2) {
		s := base.Variant(seed)
		truth, err := s.Run(seed, func(*frame.Frame) error { return nil })
		if err != nil {
			t.Fatal(err)
		}
		at := truth.Start
		for _, st := range truth.Stretches {
			if st.Start.Before(at) || st.End.Sub(st.Start) < minStretch*time.Second-time.Millisecond {
				t.Errorf("seed %d: stretch %d from %v to %v", seed, st.ID, st.Start, st.End)
			}
			at = st.End
			if st.Steady != (st.Why == "") {
				t.Errorf("seed %d: stretch %d steady %v, why %q", seed, st.ID, st.Steady, st.Why)
			}
		}
		at = truth.Start
		for _, p := range truth.Phases {
			if p.Start.Sub(at) > 50*time.Millisecond || p.End.Before(p.Start) {
				t.Errorf("seed %d: phase %s from %v after %v", seed, p.Kind, p.Start, at)
			}
			at = p.End
		}
		if len(truth.Steps) != 9 {
			t.Fatalf("seed %d: %d steps", seed, len(truth.Steps))
		}
		for i, st := range truth.Steps {
			want := 2
			if i == 8 {
				want = 4
			}
			if st.Passes != want || len(st.Stretches) < want {
				t.Errorf("seed %d: step %d has %d passes in %v", seed, st.Step, st.Passes, st.Stretches)
			}
			if i > 0 && st.SpeedKn <= truth.Steps[i-1].SpeedKn {
				t.Errorf("seed %d: step %d is no faster than the one before", seed, st.Step)
			}
		}
		burnt := s.Vessel.FuelDensityKgPL * truth.FuelUsedL
		first, last := truth.Stretches[0].MassKg, truth.Stretches[len(truth.Stretches)-1].MassKg
		if burnt < 30 || math.Abs(first-last-burnt) > 0.05*burnt {
			t.Errorf("seed %d: %.1f kg burnt, mass fell by %.1f kg", seed, burnt, first-last)
		}
	}
}

// The instruments must agree with the truth over steady stretches, or nothing
// could be judged by them. The current is taken from the truth here.
func TestInstrumentsAgreeWithTruth(t *testing.T) {
	t.Parallel()
	s := load(t, "accuracy").Variant(5)
	s.Clock.OffsetS = 0
	type point struct {
		time  time.Time
		value float64
		angle float64
	}
	series := map[pgn.Quantity][]point{}
	truth := listen(t, s, 5, func(h heard) {
		var course float64
		pgn.Lookup(h.number).Samples(h.payload, func(q pgn.Quantity, instance uint8, v pgn.Value) {
			switch {
			case v.State != pgn.Valid:
			case q == pgn.CourseOverGround:
				course = v.V
			case q == pgn.SpeedOverGround:
				series[q] = append(series[q], point{h.time, v.V, course})
			case q == pgn.EngineSpeed && instance == 1, q == pgn.FuelRate && instance == 1, q == pgn.Pitch:
				series[q] = append(series[q], point{h.time, v.V, 0})
			}
		})
	})
	mean := func(q pgn.Quantity, st *Stretch, f func(point) float64) float64 {
		var sum, n float64
		for _, p := range series[q] {
			if p.time.After(st.Start.Add(time.Second)) && p.time.Before(st.End) {
				sum += f(p)
				n++
			}
		}
		return sum / n
	}
	value := func(p point) float64 { return p.value }
	var bias, n float64
	for i := range truth.Stretches {
		st := &truth.Stretches[i]
		if !st.Steady || st.End.Sub(st.Start) < 40*time.Second || st.Step == 0 {
			continue
		}
		sin, cos := math.Sincos(st.HeadingDeg * degree)
		set := st.CurrentSetDeg * degree
		along := mean(pgn.SpeedOverGround, st, func(p point) float64 {
			return p.value * (sin*math.Sin(p.angle) + cos*math.Cos(p.angle))
		}) - st.CurrentKn*knot*(sin*math.Sin(set)+cos*math.Cos(set))
		miss := along/(st.STWKn*knot) - 1
		if math.Abs(miss) > 0.008 {
			t.Errorf("stretch %d: speed off by %.2f %%", st.ID, 100*miss)
		}
		bias += miss
		n++
		if r := mean(pgn.EngineSpeed, st, value) * 60 / st.RPM["centre"]; math.Abs(r-1) > 0.002 {
			t.Errorf("stretch %d: rpm off by factor %.4f", st.ID, r)
		}
		if r := mean(pgn.FuelRate, st, value) / litrePerHour / st.FuelLPH["centre"]; math.Abs(r-1) > 0.015 {
			t.Errorf("stretch %d: fuel off by factor %.4f", st.ID, r)
		}
		if d := mean(pgn.Pitch, st, value)/degree - st.PitchDeg; math.Abs(d) > 0.1 {
			t.Errorf("stretch %d: pitch off by %.2f degrees", st.ID, d)
		}
	}
	if n < 15 || math.Abs(bias/n) > 0.0015 {
		t.Errorf("speed off by %.3f %% on average over %v stretches", 100*bias/n, n)
	}
}

func TestRecorderClock(t *testing.T) {
	t.Parallel()
	s := load(t, "demo-single")
	d := s.Start(1)
	var f frame.Frame
	var steps []int64
	last := int64(0)
	for {
		err := d.Next(&f)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if last == 0 && time.Unix(0, f.Time).UTC().Year() != 1970 {
			t.Errorf("the clock starts at %v", time.Unix(0, f.Time).UTC())
		}
		if step := f.Time - last; last != 0 && (step < 0 || step > int64(10*time.Second)) {
			steps = append(steps, step)
		}
		last = f.Time
	}
	if len(steps) != 1 {
		t.Fatalf("the clock steps by %v", steps)
	}
	off := time.Unix(0, last).Sub(d.Truth().End)
	if off < 0 || off > 2*time.Second {
		t.Errorf("the clock is %v off after it was set right", off)
	}
}

func TestVariantsAreValid(t *testing.T) {
	s := load(t, "accuracy")
	heights := map[float64]bool{}
	for seed := range uint64(200) {
		var c checker
		v := s.Variant(seed)
		v.check(&c)
		for _, err := range c.errs {
			t.Errorf("seed %d: %v", seed, err)
		}
		heights[v.Environment.WaveHeightM] = true
	}
	if len(heights) != 200 {
		t.Errorf("only %d sea states", len(heights))
	}
}

func TestScenariosParse(t *testing.T) {
	for _, name := range scenarios.Names() {
		load(t, name)
	}
	if _, err := scenarios.Load("no-such-day"); err == nil || !strings.Contains(err.Error(), "accuracy") {
		t.Errorf("a missing scenario gives %v", err)
	}
}

func TestParseRefuses(t *testing.T) {
	text, err := scenarios.Load("demo-triple")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, new, want string }{
		{"beam_m: 3.9", "beam_m: 3.9\n  colour: red", "vessel.colour: unknown key"},
		{"length_m: 13.4", "length_m: -2", "vessel.length_m: -2 is impossible; allowed is 3 to 60"},
		{"length_m: 13.4", "length_m: .nan", "vessel.length_m: NaN is impossible"},
		{"length_m: 13.4", "length_m: long", "vessel.length_m"},
		{"rpm: 800, passes: 2", "rpm: 800, passes: 2.5", "2.5 is not a whole number"},
		{"rpm: 800, passes: 2", "rpm: 80, passes: 2", "script[3].rpm: 80 is impossible"},
		{"do: harbour", "do: harbor", `script[1].do: "harbor" is unknown; allowed: dock`},
		{"pass: 2, correct_pct: 2.2", "pass: 3, correct_pct: 2.2", "script[6].events[0].pass: 3"},
		{"device: wind", "device: radar", `faults.dropouts[2].device: "radar"`},
		{"[1400, 1.02]", "[900, 1.02]", "engines.torque_curve[2][0]: 900 rpm"},
		{"start: 2031-05-14T08:10:00Z", "start: soon", "start"},
		{"beam_m: 3.9", "7: 3.9", "vessel: a key there is no text"},
		{"name: demo-triple", "name: [", "not YAML"},
		{"name: demo-triple", "name: x\nengine_bus: {interface: can0}", `engine_bus.interface: "can0"`},
		{"name: demo-triple", "name: x\nengine_bus: {interface: can1, addresses: [1, 2]}", "engine_bus.addresses (their count): 2"},
		{"name: demo-triple", "name: x\nengine_bus: {interface: can1, addresses: [1, 1, 254]}", "engine_bus.addresses: 254"},
	} {
		broken := strings.Replace(string(text), c.old, c.new, 1)
		if broken == string(text) {
			t.Errorf("%q is not in the scenario", c.old)
			continue
		}
		_, err := Parse([]byte(broken))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %s", c.new, err, c.want)
		}
	}
	if _, err := Parse(nil); err == nil {
		t.Error("an empty scenario is accepted")
	}
}

func FuzzParse(f *testing.F) {
	for _, name := range scenarios.Names() {
		text, err := scenarios.Load(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := Parse(text)
		if err != nil {
			return
		}
		d := s.Start(1) // whatever is accepted runs
		var fr frame.Frame
		for range 2000 {
			if d.Next(&fr) != nil {
				return
			}
		}
	})
}

func TestNoAllocationPerFrame(t *testing.T) {
	d := load(t, "accuracy").Start(1)
	var f frame.Frame
	next := func() {
		for range 1000 {
			if err := d.Next(&f); err != nil {
				t.Fatal(err)
			}
		}
	}
	for range 30 {
		next() // the queue grows to its size
	}
	// The truth grows now and then.
	if n := testing.AllocsPerRun(50, next); n > 10 {
		t.Errorf("%v allocations in 1000 frames", n)
	}
}

func BenchmarkDay(b *testing.B) {
	s := load(b, "demo-triple")
	b.ReportAllocs()
	var frames int
	for b.Loop() {
		_, err := s.Run(1, func(*frame.Frame) error { frames++; return nil })
		if err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(frames), "ns/frame")
}
