package aboard

import (
	"context"
	"slices"
	"time"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
)

// refreshEvery is the time after which the results of a trial that goes on are
// written again, so that a power cut leaves recent ones, and the finished part of
// its journal is made small; restFactor times as long as that took is waited too.
const (
	refreshEvery = 10 * time.Minute
	restFactor   = 20
)

// figures follows a session from its first frame and writes the results when
// it ends.
func (d *daemon) figures(ctx context.Context, s *session, c *cursor) {
	if !c.open(ctx) {
		return
	}
	defer c.in.Close()
	live := day.New(d.Config, d.Version, c.in.Buses)
	look, refresh := d.lookOn(s, live), d.refresh(s, live, c.in, refreshEvery)
	if !c.each(ctx, live.Frame, onceASecond(func() { look(); refresh() })) {
		d.log.Warn("the figures were not finished in time; they are derived at the next start", "trial", s.trial.String())
		return
	}
	if c.read.Load() == 0 {
		return
	}
	live.Close()
	d.results.Lock()
	defer d.results.Unlock()
	if err := d.write(s.trial, live, c.in, true); err != nil {
		d.log.Error("the results are not written", "trial", s.trial.String(), "why", err.Error())
		return
	}
	d.log.Info("results written", "dir", s.trial.Dir)
	d.derived(s.trial)
}

// onceASecond returns f for those who call more often than it is worth.
func onceASecond(f func()) func() {
	last := int64(0)
	return func() {
		if since()-last >= int64(lookEvery) {
			last = since()
			f()
		}
	}
}

// refresh returns what the figures cursor does when it has no frames for now: when
// the trial was amended, by whomever, or the last results are as old as that, the
// results so far are written. What is just going on is not among them.
func (d *daemon) refresh(s *session, live *day.Day, in *journal.Reader, old time.Duration) func() {
	seen, last := int64(0), since()
	write := d.apart(func() {
		d.results.Lock()
		defer d.results.Unlock()
		if err := d.write(s.trial, live, in, false); err != nil {
			d.log.Warn("the results so far are not written", "why", err.Error())
		}
	})
	return func() {
		if size := s.trial.AmendmentsSize(); size != seen || since()-last >= int64(old) {
			seen = size
			write()
			last = since()
		}
	}
}

// write writes the results of a trial as it stands in a day, with its
// amendments, and keeps the evidence. Whole tells that the day is that of all
// frames, all on the disk. Results are held meanwhile.
func (d *daemon) write(t logbook.Trial, of *day.Day, in *journal.Reader, whole bool) error {
	amendments, err := day.ReadAmendments(t)
	if err != nil {
		amendments.Faults = append(amendments.Faults, err.Error()) // stands in the results
	}
	of.Amend(amendments)
	bad := int64(len(in.Recovery().Losses))
	r, line := of.Results(bad)
	if err := d.Write(t.Dir, r, line); err != nil {
		return err
	}
	if err := of.Evidence(bad).Keep(t.Dir, day.Given{Config: d.Config}, in.Position().Frame, whole); err != nil {
		d.log.Warn("amending the trial will take a replay", "trial", t.String(), "why", err.Error())
	}
	return nil
}

// derived marks a closed trial whose results are those of all frames.
func (d *daemon) derived(t logbook.Trial) {
	err := t.Reload()
	if err == nil && t.Closed() {
		err = t.SetDerived()
	}
	if err != nil {
		d.log.Warn("the trial is not marked as evaluated", "why", err.Error())
	}
}

// shrink packs the journal of a session every now and then.
func (d *daemon) shrink(ctx context.Context, s *session) {
	wait := refreshEvery
	for {
		select {
		case <-ctx.Done():
			return
		case <-s.ended:
			return
		case <-time.After(wait):
		}
		from := time.Now()
		d.pack(ctx, s.trial)
		wait = max(refreshEvery, restFactor*time.Since(from))
	}
}

// pack makes the finished part of a trial's journal small. For a moment that
// takes room, half a segment at the most with a logger's blocks, and recording
// goes first.
func (d *daemon) pack(ctx context.Context, t logbook.Trial) {
	free, err := FreeFor(t.Dir, d.Config.Journal.KeepFreeMB)
	if err != nil || free < int64(d.Config.Journal.SegmentMB)<<20/2 {
		return
	}
	if err := journal.Pack(ctx, t.Frames()); err != nil && ctx.Err() == nil {
		d.log.Warn("the journal takes more room than it has to", "trial", t.String(), "why", err.Error())
	}
}

// derive replays a closed trial and writes the results.
func (d *daemon) derive(ctx context.Context, t logbook.Trial) error {
	in, err := journal.Open(t.Frames())
	if err != nil {
		return err
	}
	defer in.Close()
	again := day.New(d.Config, d.Version, in.Buses)
	n, err := frame.Each(in, func(f *frame.Frame) error {
		again.Frame(f)
		return ctx.Err()
	})
	if err != nil || n == 0 {
		return err
	}
	again.Close()
	d.results.Lock()
	defer d.results.Unlock()
	return d.write(t, again, in, true)
}

// catchUp derives the results of closed trials that have none: the power was
// cut before they could be written. And it packs their journals. Each is tried
// once.
func (d *daemon) catchUp(ctx context.Context) {
	tried, packed := make(map[int]bool), make(map[int]bool)
	for ; ; sleep(ctx, 5*lookEvery) {
		if ctx.Err() != nil {
			return
		}
		for _, t := range d.closed() {
			if !packed[t.Number] {
				packed[t.Number] = true
				d.pack(ctx, t)
			}
		}
		for _, t := range d.unfinished() {
			if tried[t.Number] || d.isOurs(t.Number) {
				continue
			}
			tried[t.Number] = true
			d.log.Info("deriving the results of a closed trial", "trial", t.String())
			err := d.derive(ctx, t)
			if ctx.Err() != nil {
				return
			}
			if err != nil {
				d.log.Warn("no results of a closed trial", "trial", t.String(), "why", err.Error())
				continue
			}
			d.derived(t)
		}
	}
}

// unfinished lists the closed trials whose results are not those of all frames.
func (d *daemon) unfinished() []logbook.Trial {
	return slices.DeleteFunc(d.closed(), func(t logbook.Trial) bool { return t.Derived() })
}

func (d *daemon) closed() []logbook.Trial {
	book, err := logbook.Open(d.Config.Journal.Dir)
	if err != nil {
		return nil
	}
	list, _ := book.Trials()
	return slices.DeleteFunc(list, func(t logbook.Trial) bool { return !t.Closed() })
}

// sleep waits, or less if ctx ends.
func sleep(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}
