package day

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"trialday.example/logd/configs"
	"trialday.example/logd/sink/results"
)

// Each fault that can be corrected is gone once its correction is configured as
// its finding says, and the day's figures are those of a right installation.
func TestCorrectionsPutFaultsRight(t *testing.T) {
	t.Parallel()
	s := scenario(t, "installation")
	right, _ := simulated(t, s, configured(s), 1)
	scale := 1 / 1.2
	instance := func(i int) *int { return &i }
	for name, set := range map[string]func(c *configs.Config){
		"roll_zero":            func(c *configs.Config) { c.Corrections.RollDeg = -4.01 },
		"pitch_zero":           func(c *configs.Config) { c.Corrections.PitchDeg = 4.01 },
		"roll_sign":            func(c *configs.Config) { c.Corrections.RollReversed = true },
		"pitch_sign":           func(c *configs.Config) { c.Corrections.PitchReversed = true },
		"heading_offset":       func(c *configs.Config) { c.Corrections.HeadingDeg = -9.4 },
		"magnetic_called_true": func(c *configs.Config) { c.Corrections.HeadingDeg = 6.5 },
		"fuel_rate_scale": func(c *configs.Config) {
			c.Engines = []configs.Engine{{Name: "a", Instance: instance(0)}, {Name: "b", Instance: instance(1), FuelScale: &scale}, {Name: "c", Instance: instance(2)}}
		},
		"engines_swapped": func(c *configs.Config) {
			c.Engines = []configs.Engine{{Name: "a", Instance: instance(2)}, {Name: "b", Instance: instance(1)}, {Name: "c", Instance: instance(0)}}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := scenario(t, filepath.Join(spoilt, name+".yaml"))
			cfg := configured(s)
			set(&cfg)
			r, _ := simulated(t, s, cfg, 1)
			want := []string{"corrected"}
			if name == "engines_swapped" {
				want = []string{} // the order of the engines is the configuration's own
			}
			if got := kinds(r); !slices.Equal(got, want) {
				t.Errorf("findings %v, want %v", got, want)
			}
			compareSteps(t, r, right)
		})
	}
}

// compareSteps compares what corrections bear on.
func compareSteps(t *testing.T, got, want *results.Results) {
	t.Helper()
	if len(got.Steps) != len(want.Steps) {
		t.Fatalf("%d steps, want %d", len(got.Steps), len(want.Steps))
	}
	for i, w := range want.Steps {
		g := got.Steps[i]
		near(t, "speed", g.SpeedKn.Mean, w.SpeedKn.Mean, 0.002)
		near(t, "burn", g.FuelLPH.Mean, w.FuelLPH.Mean, 0.005)
		if math.Abs(*g.PitchDeg-*w.PitchDeg) > 0.05 {
			t.Errorf("pitch %g, want %g", *g.PitchDeg, *w.PitchDeg)
		}
	}
	for i, w := range want.Windows {
		g := got.Windows[i]
		if off := math.Remainder(*g.HeadingDeg-*w.HeadingDeg, 360); math.Abs(off) > 0.2 || math.Abs(*g.RollDeg-*w.RollDeg) > 0.05 {
			t.Errorf("window %d: heading off by %g, roll %g, want %g", w.ID, off, *g.RollDeg, *w.RollDeg)
		}
	}
}

// What is applied is told with the key that does it.
func TestCorrectionsAreTold(t *testing.T) {
	t.Parallel()
	scale := 0.9
	cfg := configs.Default()
	cfg.Engines = []configs.Engine{{Name: "main", FuelScale: &scale}}
	cfg.Corrections = configs.Corrections{HeadingDeg: 2, RollDeg: 1, PitchDeg: -1, RollReversed: true, PitchReversed: true}
	told := corrected(&cfg)
	var keys []string
	for _, f := range told {
		keys = append(keys, f.Remedy)
	}
	all := strings.Join(keys, "\n")
	for _, key := range []string{"corrections.heading_deg", "corrections.roll_deg", "corrections.pitch_deg",
		"corrections.roll_reversed", "corrections.pitch_reversed", "engines[0].fuel_scale"} {
		if !strings.Contains(all, key) {
			t.Errorf("%s is not told", key)
		}
	}
	if len(told) != 6 {
		t.Errorf("%d are told", len(told))
	}
	if plain := configs.Default(); len(corrected(&plain)) != 0 {
		t.Error("told without any")
	}
}
