package simulate

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
)

// values gathers a field of a message of one address over a day, with the time
// in s.
func values(t *testing.T, s *Scenario, address uint8, number uint32, name string) (times, list []float64) {
	t.Helper()
	m := pgn.Lookup(number)
	f := field(m, name)
	first := int64(0)
	if _, err := s.Run(1, func(fr *frame.Frame) error {
		if first == 0 {
			first = fr.Time
		}
		if h := pgn.ParseID(fr.ID); h.PGN == number && h.Source == address && !m.Fast {
			times = append(times, float64(fr.Time-first)/1e9)
			list = append(list, f.SI(fr.Data[:fr.Length]).V)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return times, list
}

func brief(t *testing.T, f FieldFault) *Scenario {
	t.Helper()
	s := load(t, "installation")
	s.Script = s.Script[:3]
	if f.Do != "" {
		s.Faults.Fields = []FieldFault{f}
	}
	return s
}

// Each fault of a field does what it says, in its time, and leaves the rest of
// the day as it was.
func TestFieldFaults(t *testing.T) {
	t.Parallel()
	const headingSensor, attitude = 34, 127257
	_, right := values(t, brief(t, FieldFault{}), headingSensor, attitude, "roll")
	fault := func(f FieldFault) (times, got []float64) {
		f.Device, f.PGN, f.Field = "heading", attitude, "roll"
		times, got = values(t, brief(t, f), headingSensor, attitude, "roll")
		if len(got) != len(right) {
			t.Fatalf("%+v: %d values, %d without", f, len(got), len(right))
		}
		return times, got
	}
	check := func(what string, got []float64, want func(i int) float64) {
		t.Helper()
		for i := range got {
			if w := want(i); math.Abs(got[i]-w) > 1.1e-4 || math.IsNaN(got[i]) != math.IsNaN(w) {
				t.Fatalf("%s: value %d is %g, want %g", what, i, got[i], w)
			}
		}
	}
	_, got := fault(FieldFault{Do: "offset", By: 0.1})
	check("offset", got, func(i int) float64 { return right[i] + 0.1 })
	_, got = fault(FieldFault{Do: "scale", By: -1})
	check("scale", got, func(i int) float64 { return -right[i] })
	_, got = fault(FieldFault{Do: "raw", By: 250})
	check("raw", got, func(int) float64 { return 0.025 })
	_, got = fault(FieldFault{Do: "absent"})
	check("absent", got, func(int) float64 { return math.NaN() })
	times, got := fault(FieldFault{Do: "stuck", AtS: 100, ForS: 50})
	held := math.NaN()
	check("stuck", got, func(i int) float64 {
		if times[i] < 99 || times[i] > 151 {
			return right[i]
		}
		if math.IsNaN(held) && got[i] == right[i] && got[i] == got[i+1] {
			held = right[i]
		}
		if times[i] < 101 || times[i] > 149 {
			return got[i] // the edge is at a message
		}
		return held
	})
	_, got = fault(FieldFault{Do: "spike", By: 0.5, EveryS: 20})
	spikes := 0
	for i := range got {
		if d := got[i] - right[i]; d > 0.4 {
			spikes++
		} else if math.Abs(d) > 1.1e-4 {
			t.Fatalf("spike: value %d is off by %g", i, d)
		}
	}
	if last := times[len(times)-1]; float64(spikes) < last/20/2 || float64(spikes) > last/20*2 {
		t.Errorf("%d spikes in %g s", spikes, last)
	}
}

// Unequal thrust turns the boat away from the side that pushes, and the rudder
// holds it once there is way on.
func TestThrustTurnsTheBoat(t *testing.T) {
	t.Parallel()
	s := load(t, "installation")
	w := newWorld(s, 1)
	for i := range w.running {
		w.running[i] = true
	}
	w.shift(2, 1) // starboard ahead
	for range 200 {
		w.advance()
	}
	if w.yawRate > -0.01 {
		t.Errorf("turns at %g rad/s, not to port", w.yawRate)
	}
	for range 5000 {
		w.throttle(2, 2000)
		w.advance()
	}
	if math.Abs(w.yawRate) > 0.005 || w.actual.rudder < 1*degree {
		t.Errorf("at %.1f m/s it turns at %g rad/s with %.1f degrees of rudder", w.speed, w.yawRate, w.actual.rudder/degree)
	}
}

func TestInstallationRefusals(t *testing.T) {
	for _, text := range []string{
		"faults: {fields: [{device: nobody, pgn: 127257, field: roll, do: offset}]}",
		"faults: {fields: [{device: heading, pgn: 1, field: roll, do: offset}]}",
		"faults: {fields: [{device: heading, pgn: 127257, field: list, do: offset}]}",
		"faults: {fields: [{device: heading, pgn: 127257, field: roll, do: dance}]}",
		"faults: {fields: [{device: heading, pgn: 127257, field: roll, do: spike}]}",
		"faults: {same_address: {device: wind, as: nobody}}",
		"faults: {bus_load: {at_s: 5, for_s: 5, frames_hz: 1e6}}",
		"engines: {instances: [1]}",
		"sensors: {without_pgns: [5]}",
		"sensors: {gnss_hz: 50}",
	} {
		path := filepath.Join(t.TempDir(), "day.yaml")
		if err := os.WriteFile(path, []byte("base: installation\n"+text+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		whole, err := scenarios.Load(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Parse(whole); !errors.Is(err, errScenario) {
			t.Errorf("%s: %v", text, err)
		}
	}
}
