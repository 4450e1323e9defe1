//go:build !race

package day

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
)

func busDay(t *testing.T, name string) *simulate.Scenario {
	t.Helper()
	return scenario(t, filepath.Join(incomplete, name+".yaml"))
}

// byAddress configures engines by their addresses on their own bus.
func byAddress(s *simulate.Scenario) configs.Config {
	cfg := configured(s)
	for i, a := range s.EngineBus.Addresses {
		cfg.Engines = append(cfg.Engines, configs.Engine{Name: s.Engines.Names[i], Instance: &[]int{i}[0], Bus: "can1", Address: &a})
	}
	return cfg
}

// On days on which engines are heard on a bus of their own, alone or beside the
// boat's, each engine is one, its figures are those of the truth, and the sheet
// says from where they are.
func TestEngineBusDays(t *testing.T) {
	t.Parallel()
	odd := busDay(t, "engine_bus_odd")
	alone := *odd
	alone.EngineBus = &simulate.EngineBus{Interface: "can1", Addresses: odd.EngineBus.Addresses}
	both := busDay(t, "engine_bus_both")
	for _, c := range []struct {
		name  string
		s     *simulate.Scenario
		cfg   configs.Config
		why   string
		finer bool // the boat's bus gives way
	}{
		{"alone", busDay(t, "engine_bus"), configured(both), "order of address", false},
		{"alone, odd addresses, configured", &alone, byAddress(odd), "configured", false},
		{"both", both, configured(both), "rpm agrees", true},
		{"both, odd addresses", odd, configured(odd), "rpm agrees", true},
		{"both, odd addresses, configured", odd, byAddress(odd), "configured", false}, // in use from the first
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(2) {
				d, truth := drive(t, c.s.Variant(seed), c.cfg, seed)
				r, line := d.Finish(0)
				compareEngines(t, r, truth)
				compareSources(t, r, c.s, c.why, c.finer)
				if seed > 0 {
					continue
				}
				var page bytes.Buffer
				if err := sheet.WriteHTML(&page, r, line); err != nil {
					t.Fatal(err)
				}
				if text := html.UnescapeString(page.String()); !strings.Contains(text, c.why) || !strings.Contains(text, "can1") {
					t.Errorf("the sheet does not say that engines are on can1, %s", c.why)
				}
			}
		})
	}
}

// compareEngines compares each engine's speed and burn in every steady window
// with the truth.
func compareEngines(t *testing.T, r *results.Results, truth *simulate.Truth) {
	t.Helper()
	if len(r.Vessel.Engines) != len(truth.Engines) {
		t.Fatalf("%d engines, want %d", len(r.Vessel.Engines), len(truth.Engines))
	}
	n, within := 0, 0
	for i := range r.Windows {
		w := &r.Windows[i]
		s := stretchAt(truth, w)
		if !w.Accepted || s == nil {
			continue
		}
		for _, name := range truth.Engines {
			rpm, burn := w.RPM[name], w.EngineFuelLPH[name]
			if math.Abs(rpm.Mean-s.RPM[name]) > 2 {
				t.Errorf("%s to %s: %s turns %.1f, want %.1f", w.Start, w.End, name, rpm.Mean, s.RPM[name])
			}
			n++
			if math.Abs(burn.Mean-s.FuelLPH[name]) < 0.01*s.FuelLPH[name]+(burn.Hi95-burn.Lo95)/2 {
				within++
			}
		}
	}
	if n < 15 || float64(within) < 0.95*float64(n) {
		t.Errorf("burn of %d of %d engines in windows is right", within, n)
	}
	ok, steps := 0, 0
	for _, want := range truth.Steps {
		for _, s := range r.Steps {
			if !s.CurrentCorrected || math.Abs(s.RPM/want.RPM-1) > 0.005 {
				continue
			}
			steps++
			if f := s.FuelLPH; f != nil && f.Lo95-0.005*want.FuelLPH <= want.FuelLPH && want.FuelLPH <= f.Hi95+0.005*want.FuelLPH {
				ok++
			}
		}
	}
	if steps < len(truth.Steps)-1 || ok < steps-1 {
		t.Errorf("burn of %d of %d steps in their interval, of %d", ok, steps, len(truth.Steps))
	}
}

// stretchAt is the steady stretch that holds the middle of a window, with its
// ends not far from the window's.
func stretchAt(truth *simulate.Truth, w *results.Window) *simulate.Stretch {
	from, err := time.Parse(time.RFC3339, w.Start)
	to, err2 := time.Parse(time.RFC3339, w.End)
	if err != nil || err2 != nil {
		return nil
	}
	for i := range truth.Stretches {
		s := &truth.Stretches[i]
		near := s.Start.Sub(from).Abs() < 8*time.Second && s.End.Sub(to).Abs() < 8*time.Second
		if s.Steady && near {
			return s
		}
	}
	return nil
}

// compareSources: each engine is that of its address, for the reason given, and
// rpm and burn come from its own bus, pressures from the boat's where it has them.
func compareSources(t *testing.T, r *results.Results, s *simulate.Scenario, why string, finer bool) {
	t.Helper()
	latest := map[string]results.SourceUse{}
	for _, u := range r.Sources {
		latest[u.Quantity] = u
	}
	for i, name := range s.Engines.Names {
		address := i
		if len(s.EngineBus.Addresses) > 0 {
			address = s.EngineBus.Addresses[i]
		}
		u := latest["engine "+name]
		if d := r.Devices[u.Device]; d.Bus != "can1" || !slices.Equal(d.Addresses, []int{address}) || u.Why != why {
			t.Errorf("%s is %s %v, %s", name, d.Bus, d.Addresses, u.Why)
		}
		for _, q := range []string{"engine_speed ", "fuel_rate "} {
			c, changed := latest[q+name]
			if changed && (c.Device != u.Device || c.Why != "finer steps") || !changed && finer {
				t.Errorf("%s%s: %+v", q, name, c)
			}
		}
		if c, changed := latest["oil_pressure "+name]; changed && r.Devices[c.Device].Bus != "can0" {
			t.Errorf("%s: the coarser oil pressure is used: %+v", name, c)
		}
	}
}

// What the boat does not send at first comes from there when it does, and the
// figures go on: gateways that fall silent in mid-day lose nothing.
func TestEngineBusTakesOver(t *testing.T) {
	t.Parallel()
	s := *busDay(t, "engine_bus_odd")
	for k := range 3 {
		s.Faults.Dropouts = append(s.Faults.Dropouts,
			simulate.Dropout{Device: fmt.Sprintf("controller_%d", k+1), AtS: 900, ForS: 1e4},
			simulate.Dropout{Device: fmt.Sprintf("engine_%d", k+1), AtS: 300, ForS: 400})
	}
	r, truth := simulated(t, &s, configured(&s), 1)
	compareEngines(t, r, truth)
	why := []string{}
	for _, u := range r.Sources {
		if u.Quantity == "fuel_rate port" {
			why = append(why, u.Why)
		}
	}
	if !slices.Equal(why, []string{"finer steps", "failover"}) {
		t.Errorf("burn of port: %v", why)
	}
}
