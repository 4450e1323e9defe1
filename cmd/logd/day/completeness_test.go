//go:build !race

package day

import (
	"bytes"
	"html"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
)

const incomplete = "../../../testdata/completeness"

// Whatever a boat lacks, its day gives a finished sheet, the speeds that can be
// had are right, and each figure that cannot be had is named with the sensor that
// would give it.
func TestAccuracyOfIncompleteBoats(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join(incomplete, "expected.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string]struct{ Findings, Missing []string }
	if err := yaml.Unmarshal(text, &expected); err != nil {
		t.Fatal(err)
	}
	for name, want := range expected {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := scenario(t, filepath.Join(incomplete, name+".yaml"))
			cfg := configured(s)
			d, truth := drive(t, s, cfg, 1)
			r, line := d.Finish(0)
			slices.Sort(want.Findings)
			if got := kinds(r); !slices.Equal(got, want.Findings) {
				t.Errorf("findings %v, want %v", got, want.Findings)
			}
			compareMissing(t, r, want.Missing)
			everyDashIsNamed(t, r)
			compareSpeeds(t, r, truth, 0.12)
			if len(r.Accelerations) == 0 {
				t.Error("no acceleration")
			}
			var page bytes.Buffer
			if err := sheet.WriteHTML(&page, r, line); err != nil {
				t.Fatal(err)
			}
			plain := html.UnescapeString(page.String())
			for _, m := range r.Missing {
				if why, _, _ := strings.Cut(m.Why, ";"); !strings.Contains(strings.ToLower(plain), strings.ToLower(why)) {
					t.Errorf("the sheet does not say: %s", m.Why)
				}
			}
			for _, f := range r.Findings {
				for _, part := range []string{f.What, f.Meaning, f.Remedy, f.Sure} {
					if !strings.Contains(strings.ToLower(plain), strings.ToLower(part)) {
						t.Errorf("the sheet does not say: %s", part)
					}
				}
			}
			if err := r.WriteJSON(&page); err != nil {
				t.Fatal(err)
			}
		})
	}
}

// ofTheDay are figures that hang on what was driven or configured.
var ofTheDay = []string{"propeller slip", "engine power", "turning circle", "fuel meter check"}

// compareMissing compares those of the figures not derived that name a message.
func compareMissing(t *testing.T, r *results.Results, want []string) {
	t.Helper()
	var got []string
	for _, m := range r.Missing {
		if strings.Contains(m.Why, "PGN") && !slices.Contains(ofTheDay, m.Figure) {
			got = append(got, m.Figure)
		}
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("not derived %v, want %v", got, want)
	}
}

// everyDashIsNamed goes through the figures of the sheet: what no step, window or
// manoeuvre has must be among the figures named as missing.
func everyDashIsNamed(t *testing.T, r *results.Results) {
	t.Helper()
	has := map[string]bool{"crash stop": len(r.Stops) > 0, "gear timeline": len(r.GearEvents) > 0}
	note := func(there map[string]bool) {
		for figure := range there {
			has[figure] = has[figure] || there[figure]
		}
	}
	for i := range r.Steps {
		s := &r.Steps[i]
		note(map[string]bool{"burn": s.FuelLPH != nil, "economy": s.EconomyNMPerL != nil, "range": s.RangeNM != nil,
			"load": s.LoadPct != nil, "trim angle": s.PitchDeg != nil})
	}
	for i := range r.Windows {
		w := &r.Windows[i]
		note(map[string]bool{"heading": w.HeadingDeg != nil, "paddle wheel": w.STWKn != nil, "wind": w.WindKn != nil,
			"shallow water": w.DepthM != nil, "heel": w.RollDeg != nil, "wave period": w.WavePeriodS != nil})
	}
	for i := range r.Turns {
		note(map[string]bool{"rudder angle": r.Turns[i].RudderDeg != nil})
	}
	for i := range r.Accelerations {
		note(map[string]bool{"time to plane": r.Accelerations[i].ToPlaneS != nil})
	}
	for i := range r.SlowSpeed {
		note(map[string]bool{"rate of turn at idle": r.SlowSpeed[i].MaxRateDegPS != nil})
	}
	for i := range r.PerNM.Steps {
		note(map[string]bool{"CO2": r.PerNM.Steps[i].CO2Kg != nil})
	}
	ofFuel := []string{"burn", "economy", "range", "CO2"}
	for figure, there := range has {
		if r.Vessel.FuelKind == "none" && slices.Contains(ofFuel, figure) {
			continue
		}
		if !there && !slices.ContainsFunc(r.Missing, func(m results.MissingFigure) bool { return strings.Contains(m.Figure, figure) }) {
			t.Errorf("no %s, and nothing says why", figure)
		}
	}
}

// compareSpeeds compares each step driven both ways with the truth's nearest, to
// kn beyond the interval.
func compareSpeeds(t *testing.T, r *results.Results, truth *simulate.Truth, kn float64) {
	t.Helper()
	n := 0
	for _, want := range truth.Steps {
		for _, s := range r.Steps {
			if !s.CurrentCorrected || math.Abs(s.RPM/want.RPM-1) > 0.005 {
				continue
			}
			n++
			if s.SpeedKn.Lo95-kn > want.SpeedKn || s.SpeedKn.Hi95+kn < want.SpeedKn {
				t.Errorf("at %.0f rpm %+v kn, want %.3f", s.RPM, s.SpeedKn, want.SpeedKn)
			}
		}
	}
	if n != len(truth.Steps) {
		t.Errorf("%d of %d steps", n, len(truth.Steps))
	}
}

// The day's burn without meters is within its interval of the truth, by the tank
// and by a top-up.
func TestAccuracyOfTheDayBurn(t *testing.T) {
	t.Parallel()
	s := scenario(t, filepath.Join(incomplete, "no_fuel_rate.yaml"))
	for seed := range uint64(6) {
		cfg := configured(s)
		d, truth := drive(t, s.Variant(seed), cfg, seed)
		d.Close()
		filled := truth.FuelUsedL + 0.3 // the marks are half a litre apart
		d.cfg.Fuel.TopUpL = &filled
		r, _ := d.Results(0)
		b := r.DayBurn
		if b == nil || b.TankL == nil || b.TopUpL == nil || b.LPerNM == nil {
			t.Fatalf("day %d: %+v", seed, b)
		}
		for what, i := range map[string]*results.Interval{"tank": b.TankL, "top-up": b.TopUpL} {
			if i.Lo95 > truth.FuelUsedL || i.Hi95 < truth.FuelUsedL {
				t.Errorf("day %d: %s %+v L, want %.2f", seed, what, i, truth.FuelUsedL)
			}
		}
		if b.TopUpL.Hi95-b.TopUpL.Lo95 >= b.TankL.Hi95-b.TankL.Lo95 {
			t.Error("a top-up is no better than the tank's sender")
		}
	}
}
