package calc

import (
	"math"
	"math/cmplx"
	"testing"

	"trialday.example/logd/calc/stat"
)

const (
	usGallon = 3.785411784e-3 // m³, 231 in³ (NIST SP 811)
	mile     = 1852.0         // nautical, m
	hour     = 3600.0
)

// TestTradeFacts: 31.1 kn at 97.3 US gal/h is 0.320 nm/gal and 22.5 kn at
// 71.7 US gal/h is 0.314 nm/gal, level within 2 %; 300 nm need 939 to 956 US
// gal. Common practice, no source.
func TestTradeFacts(t *testing.T) {
	economy := func(kn, gph float64) stat.Estimate {
		return Economy(stat.Estimate{Mean: kn * mile / hour, SE: 0.01, DOF: 10},
			stat.Estimate{Mean: gph * usGallon / hour, SE: 1e-7, DOF: 10}, stat.Estimate{SE: 1e-3, DOF: 10})
	}
	fast, slow := economy(31.1, 97.3), economy(22.5, 71.7)
	perGallon := usGallon / mile
	within(t, "nm/gal at 31.1 kn", fast.Mean*perGallon, 0.320, 0.0005)
	within(t, "nm/gal at 22.5 kn", slow.Mean*perGallon, 0.314, 0.0005)
	if !Level(fast, slow) {
		t.Error("0.320 and 0.314 nm/gal are not taken as level")
	}
	within(t, "gal for 300 nm at 31.1 kn", 300/(fast.Mean*perGallon), 939, 0.5)
	within(t, "gal for 300 nm at 22.5 kn", 300/(slow.Mean*perGallon), 956, 0.5)
	if r := fast.Scale(945*usGallon).Mean / mile; r <= 300 {
		t.Errorf("range %.1f nm at 31.1 kn on 945 gal, want just above 300", r)
	}
	if r := slow.Scale(945*usGallon).Mean / mile; r >= 300 {
		t.Errorf("range %.1f nm at 22.5 kn on 945 gal, want just below 300", r)
	}
}

func steady(rpm, speed, fuel, load float64, engines EngineSet) Step {
	s := Step{RPM: rpm, Speed: stat.Estimate{Mean: speed, SE: 0.01, DOF: 20}, Corrected: true,
		Fuel: stat.Estimate{Mean: fuel, SE: fuel * 1e-3, DOF: 20}, Load: load, Engines: engines, Mass: 8000}
	s.Economy = Economy(s.Speed, s.Fuel, stat.Estimate{SE: 1e-3, DOF: 20})
	s.Range = s.Economy.Scale(1)
	return s
}

func number(steps []Step) []Step {
	for i := range steps {
		steps[i].ID = i + 1
	}
	return steps
}

func TestBestAndCruise(t *testing.T) {
	steps := number([]Step{
		steady(10, 3, 1e-6, 0.10, 7),
		steady(25, 8, 12e-6, 0.60, 7),
		steady(35, 13, 18e-6, 0.70, 7),
		steady(45, 16, 25e-6, 0.90, 7),
		steady(48, 17, 30e-6, 1.00, 7),
		steady(50, 19, 10e-6, 1.00, 3), // one engine off: not a candidate
	})
	b := FindBest(steps, Boat{Cruise: 0.8, Planes: true, Length: 12, Usable: 1})
	if b.TopSpeed != 5 || b.Economy != 1 || b.PlaningEconomy != 3 {
		t.Errorf("top %d, economy %d, planing economy %d; want 5, 1, 3", b.TopSpeed, b.Economy, b.PlaningEconomy)
	}
	if b.CruiseStep != 0 {
		t.Errorf("cruise step %d: no step is within 5 points of 80 %%", b.CruiseStep)
	}
	// Half way between 70 and 90 %.
	within(t, "cruise rpm", b.Cruise.RPM, 40, 1e-9)
	within(t, "cruise speed", b.Cruise.Speed, 14.5, 1e-9)
	within(t, "cruise economy", b.Cruise.Economy, 14.5/21.5e-6, 1)
}

func TestNothingKnownGivesNoBest(t *testing.T) {
	s := steady(30, 10, math.NaN(), math.NaN(), 1)
	s.Mass = math.NaN()
	b := FindBest(number([]Step{s}), Boat{Cruise: 0.8, Planes: true, Length: math.NaN()})
	if b.TopSpeed != 1 || b.Economy != 0 || b.PlaningEconomy != 0 || b.CruiseStep != 0 || !math.IsNaN(b.Cruise.Load) {
		t.Errorf("got %+v, want a top speed only", b)
	}
}

func TestStepsByRPMAndEngines(t *testing.T) {
	window := func(id, run int, rpm, heading float64, set EngineSet) Window {
		w := Window{ID: id, Run: run, Engines: set, Heading: stat.Estimate{Mean: heading}, Ground: cmplx.Rect(rpm/4, heading),
			Start: int64(id) * 100 * second, End: int64(id)*100*second + 60*second}
		w.SOG = stat.Estimate{Mean: rpm / 4, SE: 0.02, DOF: 10}
		w.Total = stat.Estimate{Mean: rpm * 1e-6, SE: 1e-7, DOF: 10}
		w.Ratio = stat.Estimate{SE: 1e-3, DOF: 10}
		for e := range w.RPM {
			w.RPM[e].Mean = math.NaN()
			if set.Has(e) {
				w.RPM[e].Mean = rpm
			}
		}
		return w
	}
	ws := []Window{
		window(1, 1, 40, 0, 3), window(2, 3, 40.5, math.Pi, 3),
		window(3, 5, 30, 0, 3), window(4, 5, 30.4, 0, 3), window(5, 7, 30.2, math.Pi, 3),
		window(6, 9, 30.2, 0, 1),
	}
	ws = append(ws, window(7, 11, 50, 0, 3))
	ws[6].Reason = RPMHunting
	steps := Steps(ws, 0.02, Boat{Mass: math.NaN(), Usable: math.NaN()})
	if len(steps) != 3 {
		t.Fatalf("%d steps, want 3: %+v", len(steps), steps)
	}
	for _, s := range steps {
		switch {
		case s.Engines == 1:
			if s.Corrected || s.Passes != 1 {
				t.Errorf("one-engine step: %+v", s)
			}
		case s.RPM < 35:
			if s.Passes != 2 || len(s.Windows) != 3 || !s.Corrected {
				t.Errorf("two windows of one run are one pass: %+v", s)
			}
			within(t, "rpm", s.RPM, 30.2, 1e-9)
		default:
			within(t, "rpm", s.RPM, 40.25, 1e-9)
		}
	}
	if ws[6].Step != 0 || ws[0].Step == 0 {
		t.Error("windows do not know their steps")
	}
}
