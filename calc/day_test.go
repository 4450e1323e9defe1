package calc

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// helm steers a made-up single-engine boat second by second; the zero value
// lies at the dock out of gear.
type helm struct {
	r       *rand.Rand
	now     float64 // s
	rpm     float64 // 1/s
	speed   float64 // m/s
	heading float64 // rad
	gear    float64
	depth   float64 // m
	mute    bool    // no satellite receiver
	send    func(s sample.Sample)
}

func newHelm(seed uint64, send func(sample.Sample)) *helm {
	return &helm{r: rand.New(rand.NewPCG(seed, 1)), gear: gearNeutral, depth: 30, send: send}
}

// settled is the speed that an engine speed leads to; fuel is its burn.
func settledSpeed(rpm float64) float64 { return 0.3 * rpm }
func burn(rpm float64) float64         { return 4e-9 * rpm * rpm }

// hold runs for seconds with the throttle, turning at rate rad/s; change, if
// not nil, may alter the helm each second.
func (h *helm) hold(seconds int, rpm, rate float64, change func(t int)) {
	for t := range seconds {
		if change != nil {
			change(t)
		}
		h.rpm += (rpm - h.rpm) * 0.6
		want := settledSpeed(h.rpm)
		if h.gear != gearForward {
			want = 0
		}
		for range 5 {
			h.now += 0.2
			h.speed += (want - h.speed) * 0.2 / 5
			h.heading += rate * 0.2
			h.sample()
		}
	}
}

func (h *helm) sample() {
	at := int64(h.now * 1e9)
	put := func(q pgn.Quantity, v float64) { h.send(sample.Sample{Time: at, Quantity: q, Value: v}) }
	put(pgn.EngineSpeed, h.rpm*(1+0.001*h.r.NormFloat64()))
	put(pgn.FuelRate, burn(h.rpm)*(1+0.01*h.r.NormFloat64()))
	put(pgn.EngineLoad, h.rpm/60)
	put(pgn.Gear, h.gear)
	put(pgn.Depth, h.depth)
	put(pgn.Heading, h.heading+0.005*h.r.NormFloat64())
	put(pgn.Pitch, 0.05+0.01*math.Sin(2*math.Pi*h.now/3))
	if !h.mute {
		put(pgn.CourseOverGround, h.heading)
		put(pgn.SpeedOverGround, math.Abs(h.speed+0.03*h.r.NormFloat64()))
	}
}

var testLimits = Limits{MinTicks: 20, Settle: 0.005, Hunting: 0.015, Course: 4 * math.Pi / 180, Length: 10}

func testSettings() Settings {
	return Settings{Limits: testLimits, Step: 0.02,
		Boat: Boat{Length: 10, Usable: 0.5, Mass: math.NaN(), Full: math.NaN(), Fuel: 840, Cruise: 0.8, Planes: true}}
}

// sail runs a day by the given hand and returns the report.
func sail(seed uint64, hand func(h *helm, t *Trial)) *Report {
	t := New(testSettings())
	h := newHelm(seed, func(s sample.Sample) { t.Add(&s) })
	hand(h, t)
	return t.Finish()
}

// leave takes the boat from the dock to a held throttle.
func leave(h *helm) {
	h.hold(60, 10, 0, nil)
	h.gear = gearForward
	h.hold(90, 40, 0, nil)
}

func kinds(r *Report) map[Kind]int64 {
	out := map[Kind]int64{}
	for _, run := range r.Runs {
		out[run.Kind] += run.End - run.Start
	}
	return out
}

func TestDayIsCutIntoRuns(t *testing.T) {
	r := sail(1, func(h *helm, _ *Trial) {
		leave(h)
		h.hold(30, 40, deg(12), nil) // a full circle
		h.hold(60, 40, 0, nil)
		h.gear = gearNeutral
		h.hold(60, 10, 0, nil)
	})
	for i, run := range r.Runs {
		if run.ID != i+1 || run.End <= run.Start {
			t.Errorf("run %d is %+v", i+1, run)
		}
		if i > 0 && run.Start != r.Runs[i-1].End {
			t.Errorf("run %d does not follow on run %d", i+1, i)
		}
	}
	got := kinds(r)
	for kind, want := range map[Kind][2]float64{
		AtRest: {90, 115}, Accelerating: {3, 20}, HeldThrottle: {110, 150}, Turning: {27, 36}, Slowing: {3, 30},
	} {
		if s := float64(got[kind]) / 1e9; s < want[0] || s > want[1] {
			t.Errorf("%s lasts %.0f s, want %.0f to %.0f", kind, s, want[0], want[1])
		}
	}
}

func accepted(r *Report) (n int, seconds float64) {
	for i := range r.Windows {
		if w := &r.Windows[i]; w.Accepted() {
			n++
			seconds += float64(w.End-w.Start) / 1e9
		}
	}
	return n, seconds
}

func hasReason(r *Report, why Reason) bool {
	for i := range r.Windows {
		if r.Windows[i].Reason == why {
			return true
		}
	}
	return false
}

func TestSteadyWindowFiguresAreRight(t *testing.T) {
	r := sail(2, func(h *helm, _ *Trial) { leave(h) })
	if n, s := accepted(r); n != 1 || s < 55 || s > 75 {
		t.Fatalf("%d windows of %.0f s, want one of about 65 s: %+v", n, s, r.Windows)
	}
	for i := range r.Windows {
		w := &r.Windows[i]
		if !w.Accepted() {
			continue
		}
		for _, f := range []struct {
			what      string
			got, want float64
			ratio     float64
		}{
			{"rpm", w.RPM[0].Mean, 40, 0.001},
			{"speed", w.SOG.Mean, 12, 0.003},
			{"fuel", w.Total.Mean, burn(40), 0.003},
			{"load", w.Load.Mean, 40. / 60, 0.003},
			{"pitch", w.Pitch.Mean, 0.05, 0.02},
			{"wave period", w.Wave, 3, 0.03},
		} {
			if math.Abs(f.got/f.want-1) > f.ratio {
				t.Errorf("%s is %g, want %g", f.what, f.got, f.want)
			}
		}
		if w.Engines != 1 {
			t.Errorf("driving engines %b", w.Engines)
		}
	}
}

func TestEveryRejectionHasItsReason(t *testing.T) {
	for _, c := range []struct {
		name string
		why  Reason
		hand func(h *helm, tr *Trial)
	}{
		{"hunting", RPMHunting, func(h *helm, _ *Trial) {
			// The lever leaves 0.4 of it.
			h.hold(80, 40, 0, func(t int) { h.rpm = 40 * (1 + 0.08*math.Sin(2*math.Pi*float64(t)/14)) })
		}},
		{"settling tail", StillAccelerating, func(h *helm, _ *Trial) {}},
		{"slow creep", StillAccelerating, func(h *helm, _ *Trial) {
			h.hold(40, 40, 0, func(t int) { h.speed += 0.02 })
		}},
		{"course", CourseChange, func(h *helm, _ *Trial) { h.hold(60, 40, deg(0.25), nil) }},
		{"shallow", ShallowWater, func(h *helm, _ *Trial) {
			h.depth = 5 // depth Froude number 12/sqrt(9.8*5) = 1.7: above it
			h.hold(30, 20, 0, nil)
			h.depth = 4 // 6/sqrt(9.8*4) = 0.96
			h.hold(40, 20, 0, nil)
		}},
		{"gap", DataGap, func(h *helm, _ *Trial) {
			h.mute = true
			h.hold(15, 40, 0, nil)
			h.mute = false
			h.hold(30, 40, 0, nil)
		}},
		{"source", SourceChange, func(h *helm, tr *Trial) {
			h.hold(30, 40, 0, func(t int) {
				if t == 10 {
					tr.SourceChanged(int64(h.now * 1e9))
				}
			})
		}},
		{"short", TooShort, func(h *helm, _ *Trial) {
			h.hold(14, 44, 0, nil)
			h.hold(40, 40, 0, nil)
		}},
	} {
		r := sail(3, func(h *helm, tr *Trial) {
			leave(h)
			c.hand(h, tr)
			h.gear = gearNeutral
			h.hold(40, 10, 0, nil)
		})
		if !hasReason(r, c.why) {
			t.Errorf("%s: no stretch was rejected for %q", c.name, c.why)
			for i := range r.Windows {
				w := &r.Windows[i]
				t.Logf("    %5.0f to %5.0f %q", float64(w.Start)/1e9, float64(w.End)/1e9, w.Reason)
			}
		}
		if _, s := accepted(r); s < 30 {
			t.Errorf("%s: the good part is lost too, %.0f s are left", c.name, s)
		}
	}
}

// TestSourceChangeSplitsAWindow: two sources are never mixed inside one window.
func TestSourceChangeSplitsAWindow(t *testing.T) {
	var at int64
	r := sail(4, func(h *helm, tr *Trial) {
		leave(h)
		h.hold(60, 40, 0, func(t int) {
			if t == 20 {
				at = int64(h.now * 1e9)
				tr.SourceChanged(at)
			}
		})
	})
	if n, _ := accepted(r); n != 2 {
		t.Errorf("%d windows, want one before and one after the change", n)
	}
	for i := range r.Windows {
		if w := &r.Windows[i]; w.Accepted() && w.Start < at && w.End > at {
			t.Errorf("window %d lies across the change of source", w.ID)
		}
	}
}

// TestThrottleCorrectionSplitsAWindow: a small correction of the lever makes
// two levels, each steady.
func TestThrottleCorrectionSplitsAWindow(t *testing.T) {
	r := sail(5, func(h *helm, _ *Trial) {
		leave(h)
		h.hold(80, 40.8, 0, nil)
	})
	if n, s := accepted(r); n != 2 || s < 100 {
		t.Errorf("%d windows of %.0f s together, want two of about 130 s", n, s)
	}
}

func TestMemoryIsBoundedByARun(t *testing.T) {
	tr := New(testSettings())
	h := newHelm(6, func(s sample.Sample) { tr.Add(&s) })
	leave(h)
	h.hold(5*maxRunTicks/2, 40, 0, nil)
	if n := len(tr.cutter.ticks); n > maxRunTicks+confirm+2*side+1 {
		t.Errorf("%d ticks are kept, want at most %d", n, maxRunTicks)
	}
	if n := len(tr.found.Line.Points); n > linePoints {
		t.Errorf("%d points in the line, want at most %d", n, linePoints)
	}
	if n, _ := accepted(tr.Finish()); n < 3 {
		t.Errorf("%d windows in a passage of %d ticks, want one a run", n, 5*maxRunTicks/2)
	}
}

func TestAbsentDataIsNotZero(t *testing.T) {
	tr := New(testSettings())
	h := newHelm(7, func(s sample.Sample) {
		switch s.Quantity {
		case pgn.FuelRate, pgn.EngineLoad, pgn.Heading, pgn.Pitch:
			s.State = pgn.NotAvailable
			s.Value = math.NaN()
		case pgn.Depth:
			return
		}
		tr.Add(&s)
	})
	leave(h)
	h.hold(30, 40, deg(6), nil)
	h.hold(90, 40, 0, nil)
	r := tr.Finish()
	if r.HasFuel || r.HasLoad || r.HasHeading {
		t.Errorf("heard fuel %v, load %v, heading %v", r.HasFuel, r.HasLoad, r.HasHeading)
	}
	if len(r.Steps) != 1 {
		t.Fatalf("%d steps, want 1", len(r.Steps))
	}
	s := r.Steps[0]
	for what, v := range map[string]float64{
		"fuel": s.Fuel.Mean, "economy": s.Economy.Mean, "range": s.Range.Mean, "load": s.Load, "pitch": s.Pitch,
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s is %g without any data", what, v)
		}
	}
	// The courses over ground stand for the headings.
	within(t, "speed", s.Speed.Mean, 12, 0.05)
	if !s.Corrected {
		t.Error("two opposite passes without a compass were not corrected")
	}
}

func TestTrueWind(t *testing.T) {
	// 10 m/s from 90 degrees, met by a boat that makes 12 m/s on 30 degrees.
	from, ground := cmplx.Rect(10, deg(90)), cmplx.Rect(12, deg(30))
	apparent := (from + ground) / cmplx.Rect(1, deg(30))
	k := tick{}
	for v := range k.vec {
		k.vec[v] = cmplx.NaN()
	}
	k.vec[vecGround], k.vec[vecHeading], k.vec[vecApparent] = ground, cmplx.Rect(1, deg(30)), apparent
	mean, speed := trueWind([]tick{k})
	within(t, "speed", speed.Mean, 10, 1e-9)
	within(t, "from, deg", cmplx.Phase(mean)*180/math.Pi, 90, 1e-9)
}
