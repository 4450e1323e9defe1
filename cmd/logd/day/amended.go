package day

import (
	"context"
	"fmt"
	"slices"
	"time"

	"trialday.example/logd/calc"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

// Recall gives the evidence of a trial and what its results were made of last
// besides: what was kept or, where that is doubtful, by a replay of its
// frames, whose evidence is kept then. Of a trial that is being recorded it is
// that of the day so far, as it was kept last.
//
// G is for a trial of which nothing was kept. What was kept is read in about a
// thousandth of the time that a replay takes.
func Recall(ctx context.Context, t logbook.Trial, g Given) (*Evidence, Given, error) {
	busy := t.Busy()
	n, err := journal.Count(t.Frames())
	if err != nil {
		return nil, g, err
	}
	key, read, done := kept(t.Dir)
	defer done()
	if key != nil {
		if g, err = key.given(g); err != nil {
			return nil, g, fmt.Errorf("%s: what was kept of its configuration cannot be read: %w; remove %s", t.String(), err, evidenceFile)
		}
		if sum, err := program(); err == nil && key.Program == sum && key.covers(n, busy) {
			if e := read(); e != nil {
				return e, g, nil
			}
		}
	}
	e, n, err := Replay(ctx, t.Frames(), g.Config, g.Version)
	if err != nil {
		return nil, g, err
	}
	// What cannot be kept costs a replay the next time, and nothing else.
	_ = e.Keep(t.Dir, g, n, !busy && !t.Busy())
	return e, g, nil
}

// Replay gives the evidence of the frames in a journal, of all that there are
// when it comes to the end, and their number.
func Replay(ctx context.Context, frames string, cfg configs.Config, version string) (*Evidence, uint64, error) {
	in, err := journal.Open(frames)
	if err != nil {
		return nil, 0, err
	}
	defer in.Close()
	d := New(cfg, version, in.Buses)
	n := 0
	_, err = frame.Each(in, func(f *frame.Frame) error {
		d.Frame(f)
		if n++; n%4096 == 0 {
			return ctx.Err()
		}
		return nil
	})
	if err != nil {
		return nil, 0, err
	}
	d.Close()
	return d.Evidence(int64(len(in.Recovery().Losses))), in.Position().Frame, nil
}

// ReadAmendments reads those of a trial.
func ReadAmendments(t logbook.Trial) (Amendments, error) {
	list, faults, err := t.Amendments()
	return Amendments{list, faults}, err
}

// Amended derives the results of a trial again, with its amendments, and with the
// configuration and the hand readings that they were derived with last; cfg is
// for a trial without any. It writes nothing but the evidence.
func Amended(ctx context.Context, t logbook.Trial, cfg configs.Config, version string) (*results.Results, *results.Timeline, error) {
	e, given, err := Recall(ctx, t, Given{Config: cfg, Version: version})
	if err != nil {
		return nil, nil, err
	}
	if given.Amendments, err = ReadAmendments(t); err != nil {
		return nil, nil, err
	}
	r, line := e.Results(given)
	return r, line, nil
}

// Asked is what a person asks for.
type Asked struct {
	Name, Reason string
	Action       string // exclude, merge, withdraw
	Windows      []int  // ids
	Withdraws    int    // id of an amendment
}

// Amend keeps an amendment of a trial and derives the results with it. One that
// could not be applied is not kept: the error is then logbook.Refused and says
// why. It writes the amendment, and nothing else. Of cfg see Amended.
func Amend(ctx context.Context, t logbook.Trial, cfg configs.Config, version string, asked Asked, now time.Time) (*results.Amendment, *results.Results, *results.Timeline, error) {
	e, given, err := Recall(ctx, t, Given{Config: cfg, Version: version})
	if err != nil {
		return nil, nil, nil, err
	}
	a := logbook.Amendment{Name: asked.Name, Reason: asked.Reason, Action: asked.Action, Withdraws: asked.Withdraws}
	for _, id := range asked.Windows {
		s, err := e.Name(id)
		if err != nil {
			return nil, nil, nil, logbook.Refused(err.Error())
		}
		a.Windows = append(a.Windows, s)
	}
	if given.Amendments, err = ReadAmendments(t); err != nil {
		return nil, nil, nil, err
	}
	if err := e.applies(given, a); err != nil {
		return nil, nil, nil, err
	}
	if a, err = t.Amend(a, now); err != nil {
		return nil, nil, nil, err
	}
	if given.Amendments, err = ReadAmendments(t); err != nil {
		return nil, nil, nil, err
	}
	r, line := e.Results(given)
	for i := range r.Amendments {
		if r.Amendments[i].ID == a.ID {
			return &r.Amendments[i], r, line, nil
		}
	}
	return nil, nil, nil, fmt.Errorf("the amendment %d cannot be read again", a.ID)
}

// applies tells why an amendment would not be applied.
func (e *Evidence) applies(given Given, a logbook.Amendment) error {
	a.ID = 1
	for _, o := range given.Amendments.List {
		a.ID = max(a.ID, o.ID+1)
	}
	d := &document{e, given}
	d.Amendments.List = append(slices.Clone(d.Amendments.List), a)
	rep := calc.DeriveSteps(e.Calc, settings(&d.Config), d.amendments(results.Edge{UTC: e.Clock.UTC}))
	if o := rep.Outcomes[len(rep.Outcomes)-1]; !o.Applied {
		return logbook.Refused("the amendment cannot be applied: " + o.Why)
	}
	return nil
}
