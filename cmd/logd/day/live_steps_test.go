package day

import (
	"math"
	"path/filepath"
	"testing"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

// A pass that a person excludes is wanted again, at once; taken back, it is not.
func TestAmendmentsCountInTheStepsShown(t *testing.T) {
	list := must(t, shortDay)
	d := New(boatA(t), "test", oneBus)
	for i := range list {
		d.Frame(&list[i])
	}
	wanted := func() (n int) {
		for _, s := range d.Live().Steps {
			if s.NeedsReciprocal {
				n++
			}
		}
		return n
	}
	if steps := d.Live().Steps; len(steps) != 2 || wanted() != 0 || steps[0].Passes != 2 {
		t.Fatalf("%+v", steps)
	}
	var amendments Amendments
	edge := results.Edge{UTC: d.Clock().UTC}
	_, windows := d.Closed()
	for i := range windows {
		if w := &windows[i]; w.Accepted() {
			span := logbook.Span{Start: edge.Stamp(w.Start), End: edge.Stamp(w.End)}
			amendments.List = append(amendments.List, logbook.Amendment{ID: 1, Action: logbook.Exclude, Windows: []logbook.Span{span}})
			break
		}
	}
	d.Amend(amendments)
	if n := wanted(); n != 1 {
		t.Errorf("%d reciprocal passes are wanted after one was excluded", n)
	}
	amendments.List = append(amendments.List, logbook.Amendment{ID: 2, Action: logbook.Withdraw, Withdraws: 1})
	d.Amend(amendments)
	if n := wanted(); n != 0 {
		t.Errorf("%d reciprocal passes are wanted after that was taken back", n)
	}
}

// Windows of a frozen sensor count in no step, neither on the sheet nor before.
func TestFrozenWindowsCountInNoStepShown(t *testing.T) {
	s := scenario(t, filepath.Join(spoilt, "stuck_speed.yaml"))
	d := New(configured(s), "test", s.Buses)
	if _, err := frame.Each(s.Start(1), func(f *frame.Frame) error { d.Frame(f); return nil }); err != nil {
		t.Fatal(err)
	}
	shown := d.Live().Steps
	r, _ := d.Finish(0)
	if len(frozenWindows(r)) == 0 {
		t.Fatal("nothing is frozen on this day")
	}
	if len(shown) != len(r.Steps) {
		t.Fatalf("%d steps are shown, %d stand on the sheet", len(shown), len(r.Steps))
	}
	for i := range shown {
		a, b := &shown[i], &r.Steps[i]
		if a.Passes != b.Passes || a.RPM != b.RPM || math.Abs(a.SpeedKn.Mean-b.SpeedKn.Mean) > 1e-9 {
			t.Errorf("shown %.0f rpm, %d passes, %.3f kn; on the sheet %.0f rpm, %d passes, %.3f kn",
				a.RPM, a.Passes, a.SpeedKn.Mean, b.RPM, b.Passes, b.SpeedKn.Mean)
		}
	}
}
