//go:build !race

package day

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"go.yaml.in/yaml/v3"

	"trialday.example/logd/cmd/logd/simulate"
)

const (
	// ordinaryDays is how many days without a fault are simulated, each with
	// another sea, tide, wind, noise, load and compass error.
	ordinaryDays = 60
	// faultyDays is how many variants of each fault's day.
	faultyDays = 3
	// headingNear, headingFar, rad: within the first a compass finding is false,
	// beyond the second its absence is a miss.
	headingNear, headingFar = 2.0, 3.0
)

// installationDay is a day to be judged by its findings.
type installationDay struct {
	name string
	s    *simulate.Scenario
	seed uint64
	got  []string
	dead []int // windows rejected for a frozen value
}

// run gives all days their findings, on all processors.
func runInstallationDays(t *testing.T, days []*installationDay) {
	t.Helper()
	var wg sync.WaitGroup
	next := make(chan *installationDay)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for d := range next {
				r, _ := simulated(t, d.s, configured(d.s), d.seed)
				d.got, d.dead = kinds(r), frozenWindows(r)
			}
		})
	}
	for _, d := range days {
		next <- d
	}
	close(next)
	wg.Wait()
}

var headingKinds = []string{"heading_offset", "magnetic_called_true", "variation_applied_twice"}

// isHeading tells whether a finding is on the compass.
func isHeading(kind string) bool { return slices.Contains(headingKinds, kind) }

// expectedKinds gives the findings that each spoilt day must have.
func expectedKinds(t *testing.T) map[string][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(spoilt, "expected.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string][]string
	if err := yaml.Unmarshal(text, &expected); err != nil {
		t.Fatal(err)
	}
	return expected
}

// Every detector runs on every day; each day must show its own fault and no
// other.
func TestInstallationAccuracyOfEachFault(t *testing.T) {
	t.Parallel()
	expected := expectedKinds(t)
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
				if f.What == "" || f.Meaning == "" || f.Remedy == "" || f.Sure == "" {
					t.Errorf("not complete: %+v", f)
				}
			}
			t.Log(r.Vessel.EngineSides)
		})
	}
}

// On ordinary days no detector may speak, but for a compass that is really off.
func TestInstallationAccuracyFalseAlarms(t *testing.T) {
	var days []*installationDay
	bases := []string{"accuracy", "manoeuvres", "installation"}
	for seed := range uint64(ordinaryDays) {
		name := bases[seed%3]
		days = append(days, &installationDay{name: name, s: scenario(t, name).Variant(seed + 1), seed: seed + 1})
	}
	runInstallationDays(t, days)
	alarms := map[string]int{}
	off, found, misnamed := 0, 0, 0
	for _, d := range days {
		if len(d.dead) > 0 {
			t.Errorf("%s %d: windows %v are called frozen", d.name, d.seed, d.dead)
		}
		truth := math.Abs(d.s.Sensors.HeadingOffsetDeg)
		told := slices.ContainsFunc(d.got, isHeading)
		if truth > headingFar {
			off++
			if told {
				found++
			}
		}
		for _, kind := range d.got {
			switch {
			case !isHeading(kind) || truth < headingNear:
				alarms[kind]++
				t.Logf("%s %d (compass off by %.1f degrees): %v", d.name, d.seed, d.s.Sensors.HeadingOffsetDeg, kind)
			case kind != "heading_offset":
				misnamed++
			}
		}
	}
	t.Logf("false alarms on %d ordinary days: %v; compasses off by more than %g degrees: found %d of %d; %d explained wrongly by the variation",
		len(days), alarms, headingFar, found, off, misnamed)
	for kind, n := range alarms {
		allowed := 1
		if strings.HasPrefix(kind, "fuel_rate") {
			allowed = len(days) / 10 // these compare meters at 95 %
		}
		if n > allowed {
			t.Errorf("%s: %d false alarms on %d days", kind, n, len(days))
		}
	}
	if found < off*8/10 {
		t.Errorf("found %d of %d compasses that are off", found, off)
	}
}

// Each fault is found on other seas and tides too.
func TestInstallationAccuracyDetection(t *testing.T) {
	var days []*installationDay
	var names []string
	files, _ := filepath.Glob(filepath.Join(spoilt, "*.yaml")) // a constant pattern cannot fail
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".yaml")
		if name == "expected" {
			continue
		}
		names = append(names, name)
		base := scenario(t, file)
		for seed := range uint64(faultyDays) {
			s := base.Variant(seed + 100)
			s.Sensors.HeadingOffsetDeg = base.Sensors.HeadingOffsetDeg // a fault of some
			days = append(days, &installationDay{name: name, s: s, seed: seed + 100})
		}
	}
	runInstallationDays(t, days)
	expected := expectedKinds(t)
	lines := []string{"| fault | found | other findings |"}
	for _, name := range names {
		found, others := 0, []string{}
		for _, d := range days {
			if d.name != name {
				continue
			}
			if len(expected[name]) == 0 || slices.ContainsFunc(d.got, func(k string) bool { return slices.Contains(expected[name], k) }) {
				found++
			}
			for _, k := range d.got {
				if !slices.Contains(expected[name], k) {
					others = append(others, k)
				}
			}
		}
		lines = append(lines, fmt.Sprintf("| %s | %d of %d | %v |", name, found, faultyDays, others))
		if found < faultyDays-1 {
			t.Errorf("%s: found on %d of %d days", name, found, faultyDays)
		}
		if len(others) > 1 {
			t.Errorf("%s: other findings: %v", name, others)
		}
	}
	t.Logf("\n%s", strings.Join(lines, "\n"))
}
