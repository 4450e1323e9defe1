package manoeuvre

import (
	"encoding/binary"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// helm plays a boat to a watch, sensors ten times a second.
type helm struct {
	w     *Watch
	t     float64
	at    complex128 // m over ground
	heard complex128 // velocity as the receiver filters it
	lag   float64    // s

	ahead   float64 // speed through water, m/s
	heading float64 // rad, not wrapped
	pitch   float64
	roll    float64
	rpm     []float64 // 1/s
	gear    []int8
	flow    complex128
	rudder  float64
	helm    bool // a rudder is heard
	blind   bool // no heading is heard
}

func newHelm(set Settings, engines int) *helm {
	h := &helm{w: New(set), lag: 0.5}
	for range engines {
		h.rpm, h.gear = append(h.rpm, 11), append(h.gear, neutral)
	}
	return h
}

// run goes on for so many seconds; act sets the state for a time from its
// beginning.
func (h *helm) run(seconds float64, act func(s float64)) {
	const fine = 10 // parts of a cell
	for i := range int(math.Round(seconds / dt)) {
		for k := range fine {
			if act != nil {
				act(float64(i)*dt + float64(k)*dt/fine)
			}
			v := cmplx.Rect(h.ahead, h.heading) + h.flow
			h.at += v * complex(dt/fine, 0)
			h.heard += (v - h.heard) * complex(1-math.Exp(-dt/fine/h.lag), 0)
			h.t += dt / fine
		}
		h.send()
	}
}

func (h *helm) send() {
	now := int64(math.Round(h.t * 1e9))
	put := func(q pgn.Quantity, instance int, v float64) {
		h.w.Add(&sample.Sample{Time: now, Quantity: q, Instance: uint8(instance), Value: v})
	}
	wrap := func(a float64) float64 { return math.Mod(math.Mod(a, 2*math.Pi)+2*math.Pi, 2*math.Pi) }
	put(pgn.CourseOverGround, 0, wrap(cmplx.Phase(h.heard)))
	put(pgn.SpeedOverGround, 0, cmplx.Abs(h.heard))
	put(pgn.Latitude, 0, 0.8+real(h.at)/6366000)
	put(pgn.Longitude, 0, imag(h.at)/6366000/math.Cos(0.8))
	if !h.blind {
		put(pgn.Heading, 0, wrap(h.heading))
	}
	put(pgn.Pitch, 0, h.pitch)
	put(pgn.Roll, 0, h.roll)
	if h.helm {
		put(pgn.RudderAngle, 0, h.rudder)
	}
	for e := range h.rpm {
		put(pgn.EngineSpeed, e, h.rpm[e])
		put(pgn.Gear, e, float64(h.gear[e]))
	}
}

func (h *helm) shift(gear int8) {
	for e := range h.gear {
		h.gear[e] = gear
	}
}

// noCurrent tells nothing of the current.
func noCurrent(t int64) Flow { return Flow{Time: t, SE: math.NaN()} }

// still tells that there is no current.
func still(t int64) Flow { return Flow{Time: t, SE: 0.01} }

const (
	mph    = 1609.344 / 3600
	knot   = 1852.0 / 3600
	degree = math.Pi / 180
)

// Trade facts (common practice, no source): a heavy boat planing near 11.6 s
// and passing 20 mph at 13.2 s does both in one smooth acceleration. The bow
// here comes half down at 11.6 s.
func TestPlaningAndTwentyMPHBelongToOneAcceleration(t *testing.T) {
	const top, plane, twenty = 16.0, 11.6, 13.2
	// v = top*(1-exp(-s/tau)) reaches 20 mph at 13.2 s.
	tau := -twenty / math.Log(1-20*mph/top)
	speed := func(s float64) float64 { return top * (1 - math.Exp(-s/tau)) }
	half := speed(plane)
	h := newHelm(Settings{Marks: []Mark{{Speed: 20 * mph, Miles: true}}, Mass: 32500}, 2)
	h.run(70, nil)
	h.shift(forward)
	h.run(3, nil)
	h.run(75, func(s float64) {
		h.ahead = speed(s)
		for e := range h.rpm {
			h.rpm[e] = 11 + 28*(1-math.Exp(-s/1.5))
		}
		// The bow rises to the hump and comes down about a speed of its own.
		up := 1 / (1 + math.Exp((half-3.5-h.ahead)/0.7))
		down := 1 / (1 + math.Exp((half-h.ahead)/0.5))
		h.pitch = (1 + 5*up - 3.5*down) * degree
	})
	r := h.w.Finish(still)
	if len(r.Accelerations) != 1 {
		t.Fatalf("%d accelerations", len(r.Accelerations))
	}
	a := &r.Accelerations[0]
	if len(a.To) != 1 {
		t.Fatalf("marks reached: %+v", a.To)
	}
	near(t, "20 mph, s", a.To[0].Time.Mean, twenty, 0.15)
	near(t, "to plane, s", a.Plane.Mean, plane, 0.3)
	if !(a.Plane.Mean < a.To[0].Time.Mean) {
		t.Errorf("planes at %.1f s, after 20 mph", a.Plane.Mean)
	}
	if a.Froude < 1.3 || a.Froude > 3 {
		t.Errorf("volume Froude number %.2f at planing", a.Froude)
	}
	if !a.FromRest || !a.Current {
		t.Errorf("from rest %v, current taken out %v", a.FromRest, a.Current)
	}
	near(t, "start speed", a.StartSpeed, 0, 0.05)
	near(t, "end speed", a.EndSpeed, speed(60), 0.3)
}

// A boat at rest in a current shows the current as speed over ground; its
// times through water are those of still water. The current here is known from
// the time adrift alone.
func TestAccelerationInCurrent(t *testing.T) {
	h := newHelm(Settings{Marks: []Mark{{Speed: 10 * knot}, {Speed: 20 * knot}}, Mass: math.NaN()}, 1)
	h.flow = complex(0.9, 0.5)
	h.heading = 2
	h.run(120, nil)
	h.shift(forward)
	h.run(3, nil)
	h.run(40, func(s float64) {
		h.ahead = 15 * (1 - math.Exp(-s/7))
		h.rpm[0] = 11 + 30*(1-math.Exp(-s))
	})
	h.run(30, func(float64) { h.rpm[0] = 11; h.ahead *= 0.999 })
	r := h.w.Finish(noCurrent)
	if len(r.Accelerations) != 1 || len(r.Accelerations[0].To) != 2 {
		t.Fatalf("%+v", r.Accelerations)
	}
	a := &r.Accelerations[0]
	near(t, "start speed", a.StartSpeed, 0, 0.05)
	for i, v := range []float64{10 * knot, 20 * knot} {
		want := -7 * math.Log(1-v/15)
		got := a.To[i]
		near(t, "seconds", got.Time.Mean, want, 0.15)
		if lo, hi := got.Time.Interval(); want < lo || want > hi {
			t.Errorf("%.2f s is not in %.2f to %.2f", want, lo, hi)
		}
		near(t, "metres", got.Distance, 15*(want-7*(1-math.Exp(-want/7))), 1)
	}
	if a.CurrentSE < 0.2 {
		t.Errorf("the current by drifting alone has an error of only %.2f m/s", a.CurrentSE)
	}
}

// Trade facts (common practice, no source): 360 degrees in about 35 s within
// about four lengths of 58 ft 10 in means about 12.5 kn along the circle
// (pi*D/T); a first heel of about 18 degrees and a settled one of about 5 are
// plausible for a heavy planing boat.
func TestFourLengthsInThirtyFiveSeconds(t *testing.T) {
	const length = 58*0.3048 + 10*0.0254
	const diameter, period = 4 * length, 35.0
	rate := 2 * math.Pi / period
	along := math.Pi * diameter / period
	near(t, "speed along the circle, kn", along/knot, 12.5, 0.1)
	for _, rudder := range []bool{true, false} {
		h := newHelm(Settings{Length: length, Mass: math.NaN()}, 2)
		h.helm = rudder
		h.flow = complex(-0.6, 0.4)
		h.shift(forward)
		h.heading = 1
		entry := 2.8 * along
		h.ahead = entry
		for e := range h.rpm {
			h.rpm[e] = 30
		}
		h.run(40, nil)
		rollRate, yaw, settled, peak := 0.0, 0.0, 0.0, 0.0
		start := h.t
		h.run(60, func(s float64) {
			const step = dt / 10
			yaw += (rate - yaw) * step / 0.6
			h.rudder = 0.3 * (1 - math.Exp(-s/0.5))
			h.heading += yaw * step
			h.ahead = along + (entry-along)*math.Exp(-s/5)
			lean := 0.75 * math.Atan(h.ahead*yaw/gravity)
			rollRate += (1.5*1.5*(lean-h.roll) - 2*0.1*1.5*rollRate) * step
			h.roll += rollRate * step
			peak = math.Max(peak, h.roll)
			settled = lean
		})
		h.run(20, func(float64) { h.rudder = 0 })
		r := h.w.Finish(noCurrent)
		if len(r.Turns) != 1 {
			t.Fatalf("%d turns", len(r.Turns))
		}
		turn := &r.Turns[0]
		near(t, "start, s", float64(turn.Start)/1e9, start, 0.25)
		near(t, "diameter in lengths", turn.Lengths.Mean, 4, 0.05)
		near(t, "steady speed, kn", turn.SteadySpeed.Mean/knot, 12.5, 0.2)
		near(t, "entry speed, kn", turn.EntrySpeed.Mean/knot, entry/knot, 0.2)
		near(t, "360 degrees, s", turn.Time360.Mean, period, 1)
		near(t, "first heel, degrees", turn.HeelPeak.Mean/degree, peak/degree, 0.5)
		near(t, "settled heel, degrees", turn.HeelSteady.Mean/degree, settled/degree, 0.3)
		near(t, "settled heel near 5", turn.HeelSteady.Mean/degree, 5, 1)
		near(t, "first heel near 18", turn.HeelPeak.Mean/degree, 18, 2)
		near(t, "current, north", real(turn.Current), -0.6, 0.03)
		near(t, "current, east", imag(turn.Current), 0.4, 0.03)
		if !turn.Starboard || turn.OrderFromHeading == rudder {
			t.Errorf("starboard %v, order from heading %v", turn.Starboard, turn.OrderFromHeading)
		}
	}
}

// Without a compass the course over ground stands for the heading; its lag is
// taken out.
func TestCircleWithoutACompass(t *testing.T) {
	h := newHelm(Settings{Length: 12, Mass: math.NaN()}, 1)
	h.blind = true
	h.shift(forward)
	h.ahead, h.rpm[0] = 8, 30
	h.run(40, nil)
	h.run(10, func(s float64) { h.ahead = 8 + s/2 }) // tells the filter's lag
	h.run(30, nil)
	entry, yaw := h.ahead, 0.0
	start := h.t
	h.run(40, func(float64) {
		const step = dt / 10
		yaw += (0.25 - yaw) * step / 0.5
		h.heading += yaw * step
	})
	h.run(20, nil)
	r := h.w.Finish(noCurrent)
	if len(r.Turns) != 1 {
		t.Fatalf("%d turns", len(r.Turns))
	}
	turn := &r.Turns[0]
	// The receiver here has no latency, so that 0.1 s too much is taken off.
	near(t, "start, s", float64(turn.Start)/1e9+0.1, start, 0.3)
	near(t, "360 degrees, s", turn.Time360.Mean, 2*math.Pi/0.25+0.5, 0.5)
	near(t, "diameter", turn.Steady.Mean, 2*entry/0.25, 1)
	if !turn.OrderFromHeading {
		t.Error("a rudder was heard")
	}
	for _, f := range []stat.Estimate{turn.Advance, turn.Transfer, turn.Tactical, turn.Time90, turn.Time180, turn.Time360, turn.Rate, turn.Steady, turn.EntrySpeed, turn.SteadySpeed} {
		if !(f.SE > 0) || math.IsInf(f.SE, 0) {
			t.Errorf("%+v", f)
		}
	}
}

func TestHalfATurnIsNoCircle(t *testing.T) {
	h := newHelm(Settings{Mass: math.NaN()}, 1)
	h.shift(forward)
	h.ahead, h.rpm[0] = 8, 30
	h.run(20, nil)
	h.run(20, func(float64) { h.heading -= 0.17 * dt / 10 })
	h.run(20, nil)
	if r := h.w.Finish(noCurrent); len(r.Turns) != 0 {
		t.Errorf("%+v", r.Turns)
	}
}

func TestCrashStop(t *testing.T) {
	h := newHelm(Settings{Mass: math.NaN()}, 1)
	h.flow = complex(0.5, 0)
	h.shift(forward)
	h.ahead, h.rpm[0] = 12, 40
	h.run(40, nil)
	start := h.t
	h.run(2, func(s float64) { h.rpm[0] = 11 + 29*math.Exp(-s/0.8); h.ahead = 12 - s })
	h.shift(reverse)
	h.run(5, func(s float64) { h.ahead = 10 - 2*s; h.rpm[0] = 25 })
	h.shift(neutral)
	h.run(25, func(float64) { h.ahead, h.rpm[0] = 0, 11 })
	r := h.w.Finish(func(at int64) Flow { return Flow{Time: at, Velocity: 0.5, SE: 0.02} })
	if len(r.Stops) != 1 {
		t.Fatalf("%d stops", len(r.Stops))
	}
	s := &r.Stops[0]
	near(t, "start, s", float64(s.Start)/1e9, start, 0.1)
	near(t, "entry", s.EntrySpeed.Mean, 12, 0.05)
	near(t, "seconds", s.Time.Mean, 7, 0.25)
	// 12 m/s to 10 in 2 s, then to 0 in 5: 22 m and 25 m.
	near(t, "head reach", s.HeadReach.Mean, 47, 1.4)
	near(t, "track reach", s.TrackReach.Mean, 47, 1.4)
	near(t, "over ground", s.GroundPath.Mean, 47+7*0.5, 1.5)
	near(t, "astern", s.Astern.Mean, 2, 0.2)
}

// For a filter of first order the estimate is exact whatever the motion.
func TestLagOfAFirstOrderFilter(t *testing.T) {
	for _, tau := range []float64{0.2, 0.5, 1} {
		h := newHelm(Settings{Mass: math.NaN()}, 1)
		h.lag = tau
		h.run(60, func(s float64) { h.ahead = 8 + 5*math.Sin(s/3); h.heading = 0.5 * math.Sin(s/4) })
		lag := h.w.lag.lag(0.1, stat.Estimate{})
		// The sampled velocity is integrated by trapezoids.
		near(t, "lag", lag.Filter.Mean, tau, 0.01)
		if !lag.Measured {
			t.Error("not measured")
		}
	}
	if lag := (&lagWatch{}).lag(0.1, stat.Estimate{}); lag.Measured || lag.Filter.Mean != lagPrior {
		t.Errorf("without data: %+v", lag)
	}
}

// On a triple the centre engine engages last and disengages first (common
// practice, no source).
func TestOrderOfEngagement(t *testing.T) {
	h := newHelm(Settings{Mass: math.NaN()}, 3)
	h.run(5, nil)
	for _, e := range []int{2, 0, 1} {
		h.gear[e] = forward
		h.run(0.7, nil)
	}
	h.run(20, func(float64) { h.ahead = 3 })
	for _, e := range []int{1, 0, 2} {
		h.gear[e] = neutral
		h.run(0.5, nil)
	}
	r := h.w.Finish(noCurrent)
	if len(r.Gears) != 6 || len(r.Engagements) != 2 {
		t.Fatalf("%d shifts, %+v", len(r.Gears), r.Engagements)
	}
	in, out := r.Engagements[0], r.Engagements[1]
	if !in.Engaged || !slices.Equal(in.Engines, []int{2, 0, 1}) {
		t.Errorf("engaged: %+v", in)
	}
	if out.Engaged || !slices.Equal(out.Engines, []int{1, 0, 2}) {
		t.Errorf("disengaged: %+v", out)
	}
	near(t, "delay of the last in", in.Delays[2], 1.4, 0.11)
	near(t, "delay of the last out", out.Delays[2], 1, 0.11)
	if g := r.Gears[0]; g.Engine != 2 || g.From != neutral || g.To != forward || math.Abs(g.RPM-11) > 0.01 {
		t.Errorf("first shift: %+v", g)
	}
}

func TestShiftsInOneMessagePeriodAreSorted(t *testing.T) {
	// Engine 1 reports later in its period but shifted within a second.
	var g gearWatch
	g.init()
	r := &Report{}
	put := func(at float64, e int, q pgn.Quantity, v float64) {
		g.add(&sample.Sample{Time: int64(at * 1e9), Quantity: q, Instance: uint8(e), Value: v}, r)
	}
	for e := range 2 {
		put(0, e, pgn.EngineSpeed, 11)
		put(0.8*float64(e), e, pgn.Gear, float64(neutral))
	}
	put(1.8, 1, pgn.Gear, float64(forward)) // shifted between 0.8 and 1.8
	put(2, 0, pgn.Gear, float64(forward))   // shifted between 0 and 2
	if len(r.Engagements) != 1 || !slices.Equal(r.Engagements[0].Engines, []int{0, 1}) {
		t.Errorf("%+v", r.Engagements)
	}
	if d := r.Engagements[0].Delays; d[0] != 0 || math.Abs(d[1]-0.3) > 1e-6 {
		t.Errorf("delays %v", d)
	}
}

func TestEngineOut(t *testing.T) {
	h := newHelm(Settings{Mass: math.NaN()}, 2)
	h.shift(forward)
	h.ahead, h.rpm[0], h.rpm[1] = 8, 30, 30
	h.run(30, nil)
	h.gear[1], h.rpm[1] = neutral, 11
	h.run(40, nil)
	h.rpm[1] = 0
	h.run(30, nil)
	h.gear[1], h.rpm[1] = forward, 30
	h.run(30, nil)
	r := h.w.Finish(noCurrent)
	if len(r.EngineOut) != 2 {
		t.Fatalf("%+v", r.EngineOut)
	}
	a, b := r.EngineOut[0], r.EngineOut[1]
	if a.Driving != 1 || a.Idle != 2 || a.Stopped != 0 || b.Driving != 1 || b.Idle != 0 || b.Stopped != 2 {
		t.Errorf("%+v", r.EngineOut)
	}
	near(t, "start", float64(a.Start)/1e9, 30, 0.3)
	near(t, "change", float64(b.Start)/1e9, 70, 0.3)
	near(t, "end", float64(b.End)/1e9, 100, 0.3)
	near(t, "speed", a.Speed, 8, 0.05)
}

func TestSlowSpeed(t *testing.T) {
	h := newHelm(Settings{Mass: math.NaN()}, 2)
	h.run(20, nil)
	h.shift(forward)
	h.run(40, func(s float64) { h.ahead = 3 * (1 - math.Exp(-s/2)) })
	h.run(30, func(float64) { h.heading += 0.1 * dt / 10 })
	h.shift(neutral)
	h.run(20, func(float64) { h.ahead = 0 })
	h.gear[0] = reverse
	h.run(30, func(s float64) { h.ahead = -1.5 * (1 - math.Exp(-s/2)) })
	r := h.w.Finish(noCurrent)
	if len(r.Slow) != 2 {
		t.Fatalf("%+v", r.Slow)
	}
	a, b := r.Slow[0], r.Slow[1]
	if a.Engines != 3 || a.Astern || b.Engines != 1 || !b.Astern {
		t.Errorf("%+v", r.Slow)
	}
	near(t, "rate", a.Rate, 0.1, 0.002)
	near(t, "astern", b.Speed, 1.5, 0.05)
	near(t, "seconds", a.Seconds, 70, 0.5)
}

// Whatever comes is taken, and memory stays bounded.
func TestListsAreBounded(t *testing.T) {
	h := newHelm(Settings{Mass: math.NaN()}, 1)
	for range maxOfKind + 3 {
		h.shift(neutral)
		h.run(8, func(float64) { h.ahead, h.rpm[0] = 0, 11 })
		h.shift(forward)
		h.run(3, nil)
		h.run(20, func(s float64) { h.ahead = 10 * (1 - math.Exp(-s/2)); h.rpm[0] = 11 + 30*(1-math.Exp(-s)) })
	}
	r := h.w.Finish(noCurrent)
	if len(r.Accelerations) != maxOfKind || r.More != 3 {
		t.Errorf("%d accelerations listed, %d not", len(r.Accelerations), r.More)
	}
}

func TestNoSamples(t *testing.T) {
	r := New(Settings{}).Finish(noCurrent)
	if len(r.Accelerations)+len(r.Turns)+len(r.Stops)+len(r.Gears) != 0 {
		t.Errorf("%+v", r)
	}
}

// FuzzWatch: no sequence of samples makes it panic.
func FuzzWatch(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12})
	f.Fuzz(func(t *testing.T, data []byte) {
		w := New(Settings{Marks: []Mark{{Speed: 5}}, Length: 10, Mass: 1000})
		now := int64(0)
		for ; len(data) >= 6; data = data[6:] {
			now += int64(binary.LittleEndian.Uint16(data)) * 1e6
			w.Add(&sample.Sample{
				Time: now, Quantity: pgn.Quantity(data[2] % uint8(pgn.NumQuantities)), Instance: data[3] % 10,
				Source: uint16(data[3] >> 7), Value: float64(int8(data[4])) / 8, State: pgn.State(data[5] % 4),
			})
		}
		w.Finish(still)
	})
}

// FuzzHelm: nor does any handling of the boat.
func FuzzHelm(f *testing.F) {
	f.Add([]byte{60, 11, 0, 0, 0, 30, 40, 20, 0, 0, 60, 30, 12, 20, 3, 20, 30, 0, 0, 2})
	f.Fuzz(handle)
}

func TestRandomHandling(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 60 {
		data := make([]byte, 100)
		for i := range data {
			data[i] = byte(r.Uint32())
		}
		handle(t, data)
	}
}

// handle lets bytes steer the boat: five a command.
func handle(t *testing.T, data []byte) {
	h := newHelm(Settings{Marks: []Mark{{Speed: 5}, {Speed: 9, Miles: true}}, Length: 10, Mass: 4000}, 2)
	for ; len(data) >= 5 && h.t < 1000; data = data[5:] {
		rpm, ahead, rate := float64(data[1]), float64(int8(data[2]))/4, float64(int8(data[3]))/200
		h.shift(int8(data[4]%4) - 1)
		h.run(float64(data[0]%64)/2, func(float64) {
			h.rpm[0] += (rpm - h.rpm[0]) * 0.01
			h.rpm[1] = h.rpm[0]
			h.ahead += (ahead - h.ahead) * 0.005
			h.heading += rate * dt / 10
		})
		if data[4]&0x40 != 0 { // a hole in all that is heard
			h.t += 4
		}
	}
	r := h.w.Finish(still)
	for i := range r.Accelerations {
		for _, to := range r.Accelerations[i].To {
			if !(to.Time.Mean >= 0) || !(to.Time.SE > 0) {
				t.Errorf("%+v", to)
			}
		}
	}
	for i := range r.Turns {
		if !(r.Turns[i].Time360.Mean > 0) && r.Turns[i].Changed > 6.4 {
			t.Errorf("%+v", r.Turns[i])
		}
	}
}
