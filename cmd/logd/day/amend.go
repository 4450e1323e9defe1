package day

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"trialday.example/logd/calc"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

// Amendments are those of a trial, as they were read.
type Amendments struct {
	List   []logbook.Amendment
	Faults []string // what could not be read, a sentence each
}

// actions of the logbook and of calculation.
var actions = map[string]calc.Action{logbook.Exclude: calc.Exclude, logbook.Merge: calc.Merge, logbook.Withdraw: calc.Withdraw}

// amendments finds the windows that the amendments name.
func (d *document) amendments(edge results.Edge) []calc.Amendment {
	var out []calc.Amendment
	for _, a := range d.Amendments.List {
		c := calc.Amendment{ID: a.ID, Action: actions[a.Action], Withdraws: a.Withdraws}
		for _, s := range a.Windows {
			id := d.find(s, edge)
			if id == 0 {
				c.Unknown = s.String()
			}
			c.Windows = append(c.Windows, id)
		}
		out = append(out, c)
	}
	return out
}

// alike is the part of the time that two spans cover together which both must
// cover to be one window: what is found moves by a second or two from one
// version of the program to the next, and UTC by less when a receiver is heard
// for longer.
const alike = 0.8

// find returns the id of the window that a span names, 0 for none.
func (d *document) find(s logbook.Span, edge results.Edge) int {
	from, to, at := 0.0, 0.0, func(trial int64) float64 { return float64(trial) / 1e9 }
	if s.FromS != nil && s.ToS != nil {
		from, to = *s.FromS, *s.ToS
	} else {
		from, to, at = seconds(s.Start), seconds(s.End), func(trial int64) float64 { return float64(edge.UTC(trial)) / 1e9 }
	}
	best, id := alike, 0
	for i := range d.Calc.Windows {
		w := &d.Calc.Windows[i]
		start, end := at(w.Start), at(w.End)
		common := math.Min(end, to) - math.Max(start, from)
		if part := common / (math.Max(end, to) - math.Min(start, from)); part >= best {
			best, id = part, w.ID
		}
	}
	return id
}

// seconds since 1970 of an RFC 3339 time; NaN, which is like no other, where it
// is none.
func seconds(text string) float64 {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return math.NaN()
	}
	return float64(t.UnixNano()) / 1e9
}

// Name gives the span of a window by its id, for an amendment.
func (e *Evidence) Name(id int) (logbook.Span, error) {
	switch n := len(e.Calc.Windows); {
	case n == 0:
		return logbook.Span{}, errors.New("the trial has no window yet")
	case id < 1 || id > n:
		return logbook.Span{}, fmt.Errorf("there is no window %d: the windows are 1 to %d", id, n)
	}
	w, edge := &e.Calc.Windows[id-1], results.Edge{UTC: e.Clock.UTC}
	from, to := float64(w.Start)/1e9, float64(w.End)/1e9
	return logbook.Span{Start: edge.Stamp(w.Start), End: edge.Stamp(w.End), FromS: &from, ToS: &to}, nil
}

// told says what became of each amendment.
func (d *document) told(of []calc.Amendment, outcomes []calc.Outcome) []results.Amendment {
	var out []results.Amendment
	for i, a := range d.Amendments.List {
		r := results.Amendment{ID: a.ID, Time: a.Time, Name: a.Name, Reason: a.Reason, Action: a.Action,
			Applied: outcomes[i].Applied, Why: outcomes[i].Why}
		if a.Withdraws != 0 {
			r.Withdraws = &a.Withdraws
		}
		for k, s := range a.Windows {
			w := results.AmendedWindow{Start: s.Start, End: s.End}
			if id := of[i].Windows[k]; id != 0 {
				w.ID = &id
			}
			r.Windows = append(r.Windows, w)
		}
		out = append(out, r)
	}
	return out
}

// original fills in the steps without the amendments and the best of them, where
// any changes a window.
func (d *document) original(r *results.Results, amended *calc.Report, edge results.Edge) *calc.Report {
	if !slices.ContainsFunc(amended.Windows, func(w calc.Window) bool { return w.Amended != calc.NotAmended }) {
		return nil
	}
	rep := calc.DeriveSteps(d.Calc, settings(&d.Config), nil)
	var o results.Results
	o.Answers(rep, edge)
	o.AddReadings(d.Readings, rep, edge)
	r.OriginalSteps, r.OriginalBest = o.Steps, &o.Best
	return rep
}

// DamagedAmendments is the kind of the findings that tell of them.
const DamagedAmendments = "amendments_damaged"

// damaged says which amendments could not be read.
func (d *document) damaged() []results.Finding {
	var out []results.Finding
	for _, text := range d.Amendments.Faults {
		out = append(out, results.Finding{
			Kind: DamagedAmendments, Sure: "certain",
			What:    "the amendments are damaged: " + text,
			Meaning: "that amendment is not applied",
			Remedy:  "amend again; the line can be mended or removed by hand",
		})
	}
	return out
}
