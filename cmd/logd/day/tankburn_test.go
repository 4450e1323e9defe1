//go:build !race

package day

import (
	"bytes"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
)

// On other seas, loads and instruments, the true burn lies in the interval by the
// tank's slope as often as it says, where it is shown and where it is not; the
// same of economy. The simulated tank is even, and is told to be so.
func TestAccuracyOfBurnFromTheTank(t *testing.T) {
	t.Parallel()
	base := scenario(t, filepath.Join(incomplete, "tank_slope.yaml"))
	shown, burnIn, economyIn, figures := 0.0, 0.0, 0.0, 0
	for seed := range uint64(24) {
		s := base.Variant(seed + 1)
		cfg := configured(s)
		cfg.Fuel.TankSectionPct = 0
		r, truth := simulated(t, s, cfg, seed+1)
		for i := range r.Steps {
			step := &r.Steps[i]
			figures++
			if step.FuelLPH == nil {
				continue
			}
			if step.FuelFrom != results.FromTankLevel || step.RangeNM == nil || step.EngineFuelLPH == nil {
				t.Fatalf("%+v", step)
			}
			for _, want := range truth.Steps {
				if math.Abs(step.RPM/want.RPM-1) > 0.005 {
					continue
				}
				shown++
				economy := want.SpeedKn / want.FuelLPH
				if f := step.FuelLPH; f.Lo95 <= want.FuelLPH && want.FuelLPH <= f.Hi95 {
					burnIn++
				} else {
					t.Logf("day %d, %.0f rpm: %+v L/h, truth %.1f", seed+1, want.RPM, *f, want.FuelLPH)
				}
				if e := step.EconomyNMPerL; e.Lo95 <= economy && economy <= e.Hi95 {
					economyIn++
				}
			}
		}
	}
	t.Logf("shown %.0f of %d; in the interval: burn %.1f %%, economy %.1f %%", shown, figures, 100*burnIn/shown, 100*economyIn/shown)
	if shown < 36 {
		t.Errorf("only %.0f figures are shown", shown)
	}
	for what, part := range map[string]float64{"burn": burnIn / shown, "economy": economyIn / shown} {
		if part < 0.9 {
			t.Errorf("the true %s is in the interval in %.1f %%", what, 100*part)
		}
	}
}

// Wherever a burn by the tank's level is shown, it is named so.
func TestBurnFromTheTankIsNamed(t *testing.T) {
	t.Parallel()
	s := scenario(t, filepath.Join(incomplete, "tank_slope.yaml"))
	d, _ := drive(t, s, configured(s), 1)
	r, line := d.Finish(0)
	var page, steps, written bytes.Buffer
	if err := sheet.WriteHTML(&page, r, line); err != nil {
		t.Fatal(err)
	}
	if err := sheet.WriteStepsCSV(&steps, r); err != nil {
		t.Fatal(err)
	}
	if err := r.WriteJSON(&written); err != nil {
		t.Fatal(err)
	}
	for what, text := range map[string]string{
		"step": "burn from tank level", "answer": `class="caveat">Burn from tank level`, "plot": "Range, nm, against speed, from tank level",
		"rule": "a third of the burn",
	} {
		if !strings.Contains(page.String(), text) {
			t.Errorf("%s: the sheet has no %q", what, text)
		}
	}
	if rows := strings.Count(steps.String(), ",tank level,"); rows != 3 || !strings.Contains(steps.String(), "fuel_from") {
		t.Errorf("%d rows:\n%s", rows, steps.String())
	}
	if n := strings.Count(written.String(), `"fuel_from": "tank level"`); n != 3 {
		t.Errorf("%d in results.json", n)
	}
}

// Tanks that are not all tanks tell no burn.
func TestNoBurnFromSomeOfTheTanks(t *testing.T) {
	t.Parallel()
	s := scenario(t, filepath.Join(incomplete, "tank_slope.yaml"))
	cfg := configured(s)
	twice := 2 * s.Vessel.TankL
	cfg.Fuel.TankL = &twice
	r, _ := simulated(t, s, cfg, 1)
	if r.FromTank() {
		t.Error("a burn by half of the tanks is shown")
	}
	for _, m := range r.Missing {
		if m.Figure == "fuel burn" && strings.Contains(m.Why, "hold 1500 L, not the 3000 L of fuel.tank_l") {
			return
		}
	}
	t.Errorf("%+v", r.Missing)
}
