//go:build !race

package influx

import (
	"path/filepath"
	"testing"

	"trialday.example/logd/sink/results"
)

// The steps of boats with batteries have power, energy per mile and range on a real
// server as in results.json, and those of other boats have none.
func TestEnergyOfSteps(t *testing.T) {
	s := influxDB(t)
	usable := 20.0
	for name, batteries := range map[string][]int{"electric": {1, 2}, "hybrid": {1}, "single": nil} {
		t.Run(name, func(t *testing.T) {
			cfg := demoConfig(t, "single", s, s.url)
			cfg.Vessel.Name, cfg.Battery.Instances = "boat "+name, batteries
			if batteries != nil {
				cfg.Battery.UsableKWh = &usable
			}
			if name == "electric" {
				cfg.Fuel.Kind, cfg.Fuel.TankL = "none", nil
			}
			frames := framesOf(t, filepath.Join("../../testdata/completeness", name+".yaml"))
			run(t, options(cfg, frames.write(t, t.TempDir())))
			a := &asked{t, s, cfg, frames.results(cfg)}
			for i, r := range a.rows("economy-range", "", len(a.want.Steps)) {
				a.electric(r, &a.want.Steps[i])
			}
			day := a.rows("day-overview", "", 1)[0]
			if e := a.want.Electric; e != nil {
				best := stepOf(a.want, e.Best.EnergyStep)
				a.near("least energy", day["best_battery_energy_wh_per_nm"], e.Of(best.ID).WhPerNM.Mean, 1e-12)
				a.near("used", day["battery_used_kwh"], *e.UsedKWh, 1e-12)
			} else if day["battery_used_kwh"] != nil {
				t.Errorf("%v", day)
			}
		})
	}
}

// electric compares the batteries' part of a step.
func (a *asked) electric(row map[string]any, s *results.Step) {
	a.t.Helper()
	e := new(results.ElectricStep)
	if a.want.Electric != nil {
		e = a.want.Electric.Of(s.ID)
		a.same("driven by", row["driven_by"], e.Source)
	}
	for key, want := range map[string]*results.Interval{"battery_power_kw": e.PowerKW, "battery_energy_wh_per_nm": e.WhPerNM,
		"battery_economy_nm_per_kwh": e.NMPerKWh, "battery_range_nm": e.RangeNM} {
		switch {
		case want != nil:
			a.near(key, row[key], want.Mean, 1e-12)
			a.near(key, row[key+"_lo95"], want.Lo95, 1e-12)
			a.near(key, row[key+"_hi95"], want.Hi95, 1e-12)
		case row[key] != nil:
			a.t.Errorf("step %d: %s is %v", s.ID, key, row[key])
		}
	}
}
