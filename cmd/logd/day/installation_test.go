package day

import (
	"cmp"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

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
	return cfg
}

// simulated runs a day through the pipeline.
func simulated(t testing.TB, s *simulate.Scenario, cfg configs.Config, seed uint64) (*results.Results, *simulate.Truth) {
	t.Helper()
	d := New(cfg, "test", s.Buses)
	sim := s.Start(seed)
	if _, err := frame.Each(sim, func(f *frame.Frame) error { d.Frame(f); return nil }); err != nil {
		t.Fatal(err)
	}
	r, _ := d.Finish(0)
	return r, sim.Truth()
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

// Every detector runs on every day; each day must show its own fault and no
// other.
func TestEachFaultIsFoundOnItsOwnDayOnly(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join(spoilt, "expected.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string][]string
	if err := yaml.Unmarshal(text, &expected); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(spoilt, "*.yaml"))
	if err != nil || len(files) != len(expected)+1 {
		t.Fatalf("%d files for %d expectations: %v", len(files), len(expected), err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".yaml")
		if name == "expected" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := scenario(t, file)
			r, _ := simulated(t, s, configured(s), 1)
			if got := kinds(r); !slices.Equal(got, expected[name]) {
				t.Errorf("found %v, want %v", got, expected[name])
			}
			for _, f := range r.Findings {
				t.Logf("%s: %s. %s. Remedy: %s. Sure: %s", f.Kind, f.What, f.Meaning, f.Remedy, f.Sure)
				if cmp.Or(f.What, f.Meaning, f.Remedy, f.Sure) == "" || f.What == "" || f.Meaning == "" || f.Remedy == "" || f.Sure == "" {
					t.Errorf("not complete: %+v", f)
				}
			}
			t.Log(r.Vessel.EngineSides)
		})
	}
}
