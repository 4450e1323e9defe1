package aboard

import (
	"context"
	"time"

	"trialday.example/logd/sink/influx"
	"trialday.example/logd/sink/logbook"
)

// sendAgain is how long after a failure that waiting does not mend, and between
// looks for closed trials that are not sent, the server is tried again.
const sendAgain = 30 * time.Second

// send sends the trial of a session to the server while it is recorded, until
// the trial is closed and all of it is confirmed, or ctx ends. What is not
// confirmed then is sent by the next start, from the cursor beside the journal.
func (d *daemon) send(ctx context.Context, t logbook.Trial) {
	for ctx.Err() == nil && !d.sendTrial(ctx, t, false) {
		sleep(ctx, sendAgain)
	}
}

// sendBacklog sends the closed trials that no session of this process sends,
// oldest first, so that what is recorded now does not wait for them.
func (d *daemon) sendBacklog(ctx context.Context) {
	if d.Config.Influx.URL == "" {
		return
	}
	sent := make(map[int]bool)
	for ; ctx.Err() == nil; sleep(ctx, sendAgain) {
		book, err := logbook.Open(d.Config.Journal.Dir)
		if err != nil {
			continue
		}
		list, _ := book.Trials()
		for _, t := range list {
			if t.Closed() && !sent[t.Number] && !d.isOurs(t.Number) && ctx.Err() == nil {
				sent[t.Number] = d.sendTrial(ctx, t, true)
			}
		}
	}
}

// sendTrial sends one trial and reports whether all of it is confirmed.
func (d *daemon) sendTrial(ctx context.Context, t logbook.Trial, once bool) bool {
	s, err := influx.New(influx.Options{
		Config: d.Config, Version: d.Version, Journal: t.Frames(), Once: once, Log: d.log,
		Limit: d.Config.Influx.CatchUpHz, After: d.present(once),
		Final: func() bool { return t.Reload() == nil && t.Closed() },
	})
	if err != nil {
		d.log.Warn("nothing is sent to the server", "why", err.Error())
		return false
	}
	defer s.Close()
	d.mu.Lock()
	if !once {
		d.sender = s
	}
	d.mu.Unlock()
	if err := s.Run(ctx); err != nil {
		if ctx.Err() == nil {
			d.log.Warn("the server does not have all of a trial", "trial", t.String(), "why", err.Error())
		}
		return false
	}
	return true
}

// present is how the present trial's sender does, for one of the backlog to
// stay behind; nil where there is none, or for the present trial itself.
func (d *daemon) present(backlog bool) *influx.Stats {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !backlog || d.sender == nil {
		return nil
	}
	return &d.sender.Stats
}
