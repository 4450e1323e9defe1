package aboard

import (
	"context"
	"errors"
	"sync"
	"time"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/page"
	"trialday.example/logd/sink/results"
)

// Amender keeps amendments of trials and derives their results with them.
type Amender struct {
	Config configs.Config
	// Unconfigured tells that Config is of no boat: only trials beside whose frames their
	// configuration is kept can be amended.
	Unconfigured bool
	Version      string
	Write        func(dir string, r *results.Results, line *results.Timeline) error

	mu sync.Mutex // held while one is at work
}

// Amend keeps an amendment of a trial and writes the results with it; those of a
// trial that is being recorded are written by its logger, within a second or
// two. One that cannot be applied is not kept: its error is a page.Refusal.
func (a *Amender) Amend(ctx context.Context, of page.Trial, asked page.Amendment) (any, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	t, err := logbook.At(of.Dir)
	if err != nil {
		return nil, page.Refusal{Text: "the frames of this trial are not here: amend it where it was recorded"}
	}
	if a.Unconfigured && !day.Evaluated(t.Dir) {
		return nil, page.Refusal{Text: t.String() + " has no configuration kept beside its frames, and this page was started without one: start it with --config and the configuration of that boat"}
	}
	kept, r, line, err := day.Amend(ctx, t, a.Config, a.Version, day.Asked{Name: asked.Name, Reason: asked.Reason,
		Action: asked.Action, Windows: asked.WindowIDs, Withdraws: asked.Withdraws}, time.Now())
	if refused, ok := errors.AsType[logbook.Refused](err); ok {
		return nil, page.Refusal{Text: string(refused)}
	}
	if err != nil || t.Busy() {
		return kept, err
	}
	return kept, a.Write(t.Dir, r, line)
}

// amend is the same for a trial of this logger, which may be writing results of
// it meanwhile.
func (d *daemon) amend(ctx context.Context, of page.Trial, asked page.Amendment) (any, error) {
	d.results.Lock()
	defer d.results.Unlock()
	return (&Amender{Config: d.Config, Version: d.Version, Write: d.Write}).Amend(ctx, of, asked)
}
