package day

import (
	"testing"

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
