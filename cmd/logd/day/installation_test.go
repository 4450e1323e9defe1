package day

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/results"
)

// scenario reads a scenario, of that name or in that file.
func scenario(t testing.TB, nameOrPath string) *simulate.Scenario {
	t.Helper()
	text, err := scenarios.Load(nameOrPath)
	if err != nil {
		t.Fatal(err)
	}
	s, err := simulate.Parse(text)
	if err != nil {
		t.Fatalf("%s: %v", nameOrPath, err)
	}
	return s
}

// configured is what one would configure of a simulated boat.
func configured(s *simulate.Scenario) configs.Config {
	cfg := configs.Default()
	length, tank, mass, fuel := s.Vessel.LengthM, s.Vessel.TankL, s.Vessel.MassKg, s.Vessel.FuelL
	cfg.Vessel.LengthM, cfg.Fuel.TankL = &length, &tank
	cfg.Vessel.DryMassKg, cfg.Load.FuelL, cfg.Load.People = &mass, &fuel, 0
	if e := s.Electric; e != nil {
		cfg.Battery.UsableKWh = &e.UsableKWh
		for i := range e.Batteries {
			cfg.Battery.Instances = append(cfg.Battery.Instances, e.Instance+i)
		}
	}
	if !s.Burns() {
		cfg.Fuel.Kind, cfg.Fuel.TankL = "none", nil
	}
	return cfg
}

// simulated runs a day through the pipeline.
func simulated(t testing.TB, s *simulate.Scenario, cfg configs.Config, seed uint64) (*results.Results, *simulate.Truth) {
	t.Helper()
	d, truth := drive(t, s, cfg, seed)
	r, _ := d.Finish(0)
	return r, truth
}

// drive feeds a day to the pipeline.
func drive(t testing.TB, s *simulate.Scenario, cfg configs.Config, seed uint64) (*Day, *simulate.Truth) {
	t.Helper()
	d := New(cfg, "test", s.Buses)
	sim := s.Start(seed)
	if _, err := frame.Each(sim, func(f *frame.Frame) error { d.Frame(f); return nil }); err != nil {
		t.Fatal(err)
	}
	return d, sim.Truth()
}

// kinds lists the kinds of the findings, each once, in order.
func kinds(r *results.Results) []string {
	out := []string{}
	for _, f := range r.Findings {
		out = append(out, f.Kind)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

const spoilt = "../../../testdata/installation"

// Where on the globe and in the calendar a day lies changes nothing but its
// places and dates.
func TestEdgesOfGlobeAndCalendar(t *testing.T) {
	t.Parallel()
	s := scenario(t, "installation")
	base, _ := simulated(t, s, configured(s), 1)
	for name, days := range map[string][2]string{
		"date_line": {"2031-06-02", "2031-06-02"}, "equator": {"2031-06-02", "2031-06-02"},
		"leap_day": {"2032-02-28", "2032-02-29"}, "new_year": {"2031-12-31", "2032-01-01"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := scenario(t, filepath.Join(spoilt, name+".yaml"))
			r, _ := simulated(t, s, configured(s), 1)
			if !strings.HasPrefix(r.Trial.Start, days[0]) || !strings.HasPrefix(r.Trial.End, days[1]) {
				t.Errorf("from %s to %s", r.Trial.Start, r.Trial.End)
			}
			if len(r.Steps) != len(base.Steps) || len(r.Turns) != len(base.Turns) || len(r.Stops) != len(base.Stops) || len(r.Runs) != len(base.Runs) {
				t.Fatalf("%d steps, %d turns, %d stops, %d runs; want %d, %d, %d, %d", len(r.Steps), len(r.Turns), len(r.Stops), len(r.Runs),
					len(base.Steps), len(base.Turns), len(base.Stops), len(base.Runs))
			}
			for i := range r.Steps {
				near(t, "speed", r.Steps[i].SpeedKn.Mean, base.Steps[i].SpeedKn.Mean, 0.001)
				near(t, "burn", r.Steps[i].FuelLPH.Mean, base.Steps[i].FuelLPH.Mean, 0.001)
			}
			for i := range r.Turns {
				near(t, "diameter", *r.Turns[i].SteadyDiameterM, *base.Turns[i].SteadyDiameterM, 0.002)
			}
			for i := range r.Stops {
				near(t, "track reach", *r.Stops[i].TrackReachM, *base.Stops[i].TrackReachM, 0.002)
			}
			for i := 1; i < len(r.Runs); i++ {
				if r.Runs[i].Start < r.Runs[i-1].End {
					t.Errorf("run %d starts at %s, before %s", i, r.Runs[i].Start, r.Runs[i-1].End)
				}
			}
		})
	}
}

// near compares to a part of the wanted value.
func near(t *testing.T, what string, got, want, part float64) {
	t.Helper()
	if math.Abs(got-want) > part*math.Abs(want) {
		t.Errorf("%s is %g, want %g", what, got, want)
	}
}

// North and south mean the heading wraps around in every sea.
func TestHeadingsAroundNorth(t *testing.T) {
	t.Parallel()
	s := scenario(t, filepath.Join(spoilt, "north.yaml"))
	r, _ := simulated(t, s, configured(s), 1)
	if len(r.Steps) < 4 {
		t.Fatalf("%d steps", len(r.Steps))
	}
	for _, step := range r.Steps {
		if len(step.Engines) == 3 && !step.CurrentCorrected { // the slow way out and home ran one course
			t.Errorf("step %d is not corrected", step.ID)
		}
	}
	for _, w := range r.Windows {
		if off := math.Abs(math.Remainder(*w.HeadingDeg, 180)); w.Accepted && off > 4 {
			t.Errorf("window %d: heading %g", w.ID, *w.HeadingDeg)
		}
	}
}

// frozenWindows are those rejected for a value that stood still.
func frozenWindows(r *results.Results) (ids []int) {
	for _, w := range r.Windows {
		if strings.HasSuffix(w.Reason, " frozen") {
			ids = append(ids, w.ID)
		}
	}
	return ids
}

// A value that stands still looks steadier than any other: no figure may rest
// on it, and those of the other passes stay.
func TestFrozenValuesAreInNoStep(t *testing.T) {
	t.Parallel()
	for name, reason := range map[string]string{"stuck_speed": "speed frozen", "stuck_heading": "heading frozen", "stuck_rpm": "rpm frozen"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := scenario(t, filepath.Join(spoilt, name+".yaml"))
			r, truth := simulated(t, s, configured(s), 1)
			from := float64(truth.Start.Unix()) + 700
			to := from + 300
			rejected := 0
			for _, w := range r.Windows {
				if within := seconds(w.Start) < to-5 && seconds(w.End) > from+5; within && w.Accepted {
					t.Errorf("window %d from %s to %s is accepted", w.ID, w.Start, w.End)
				} else if !within && w.Reason == reason {
					t.Errorf("window %d from %s to %s is called %s", w.ID, w.Start, w.End, reason)
				}
				if w.Reason == reason {
					rejected++
				}
			}
			if rejected < 2 {
				t.Errorf("%d windows are rejected because of %s", rejected, reason)
			}
			for _, step := range r.Steps {
				for _, want := range truth.Steps {
					// In one direction the current is in it.
					if off := math.Abs(step.SpeedKn.Mean - want.SpeedKn); math.Abs(step.RPM-want.RPM) < 30 && off > 1.5 {
						t.Errorf("step at %.0f rpm: %.2f kn, true %.2f", step.RPM, step.SpeedKn.Mean, want.SpeedKn)
					}
				}
			}
		})
	}
}
