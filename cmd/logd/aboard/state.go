package aboard

import (
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/socketcan"
)

// surveyState is what the survey of the present session said last.
type surveyState struct {
	clock  ClockState
	frames map[uint32]uint64
	other  uint64
}

// surveys follows a session for what it says of the buses and the clock. It
// also finds out that the trial went on though the pause was too long.
func (d *daemon) surveys(ctx context.Context, s *session, c *cursor) {
	if !c.open(ctx) {
		return
	}
	defer c.in.Close()
	limit := int64(seconds(d.Config.Journal.ResumeH * 3600))
	survey := NewSurvey(&d.Config, c.in.Buses, func(pause int64) {
		if limit > 0 && pause > limit && c.read.Load() >= s.before {
			d.recorder.status.cut.Store(true)
		}
	})
	c.each(ctx, survey.Frame, onceASecond(func() {
		now := surveyState{survey.Clock(), maps.Clone(survey.frames), survey.other}
		d.mu.Lock()
		d.survey = now
		d.mu.Unlock()
	}))
}

func isUDP(name string) bool { return strings.HasPrefix(name, socketcan.UDPPrefix) }

// silent is how long a bus in use may be without a frame: every one carries
// some at 1 Hz or faster (common practice, no source).
const silent = 10 * time.Second

// counted is a source that counts.
type counted interface{ Counts() socketcan.Counts }

// watch looks at the interfaces once a second and tells what changes.
func (d *daemon) watch(ctx context.Context) {
	t := time.NewTicker(lookEvery)
	defer t.Stop()
	bits, at := make(map[*bus]uint64), since()
	dropped := make(map[frame.Source]uint64)
	for {
		now := since()
		for _, b := range d.buses.all() {
			d.watchBus(b, bits, now-at)
		}
		at = now
		for _, src := range d.Sources {
			d.watchSource(src, dropped)
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

// watchBus notes the state of an interface and tells when it changes.
func (d *daemon) watchBus(b *bus, bits map[*bus]uint64, span int64) {
	n := b.bits.Load()
	if before, ok := bits[b]; ok && span > 0 {
		b.load.Store(uint64(float64(n-before) / (float64(span) / 1e9) / socketcan.Bitrate * 1e6))
	}
	bits[b] = n
	link := socketcan.Link{Name: b.name, State: socketcan.Up, ListenOnly: true}
	if slices.Contains(d.Config.Bus.Interfaces, b.name) {
		link = socketcan.Look(b.name)
	}
	trouble := link.Trouble()
	if trouble == "" && since()-b.last.Load() > int64(silent) {
		trouble = "interface " + b.name + " is silent: check that the network has power and that its plug is in"
	}
	b.mu.Lock()
	was, wasOnly := b.trouble, b.link.MaySend()
	b.link, b.trouble = link, trouble
	b.mu.Unlock()
	switch {
	case trouble != "" && trouble != was:
		d.log.Warn("bus in trouble", "interface", b.name, "what", trouble)
	case trouble == "" && was != "":
		d.log.Info("bus well again", "interface", b.name)
	}
	if may := link.MaySend(); may != "" && may != wasOnly {
		d.log.Warn("bus not listen-only", "interface", b.name, "what", may)
	}
}

// watchSource tells what a source lost.
func (d *daemon) watchSource(src frame.Source, dropped map[frame.Source]uint64) {
	c, ok := src.(counted)
	if !ok {
		return
	}
	n := c.Counts()
	if n.Trouble != "" {
		d.log.Error("not listening", "why", n.Trouble)
	}
	if n.Dropped > dropped[src] {
		d.log.Error("the kernel dropped frames: the machine is too busy, or net.core.rmem_max too small",
			"frames", n.Dropped-dropped[src], "buffer_bytes", n.Buffer)
		dropped[src] = n.Dropped
	}
}

// pet tells the service manager that recording goes on, as long as it does.
func (d *daemon) pet(ctx context.Context) {
	if d.Watchdog <= 0 {
		return
	}
	t := time.NewTicker(d.Watchdog / 3)
	defer t.Stop()
	for {
		d.stroke()
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

// stroke tells it once. A recorder that stands still is not covered for.
func (d *daemon) stroke() {
	if since()-d.recorder.status.alive.Load() < int64(d.Watchdog) {
		d.Notify("WATCHDOG=1\nSTATUS=" + d.summary())
	}
}

// summary is one line on how things stand.
func (d *daemon) summary() string {
	if p := d.problems(); len(p) > 0 {
		return p[0]
	}
	if s := d.recorder.status.session.Load(); s != nil {
		return "recording " + s.trial.String()
	}
	return "waiting for the first frame"
}

// problems lists what is not as it should be, the worst first.
func (d *daemon) problems() []string {
	var list []string
	if t := d.recorder.status.troubleText(); t != "" {
		list = append(list, "NOT RECORDING: "+t)
	}
	for _, src := range d.Sources {
		if c, ok := src.(counted); ok && c.Counts().Trouble != "" {
			list = append(list, c.Counts().Trouble)
		}
	}
	for _, b := range d.buses.all() {
		b.mu.Lock()
		if b.trouble != "" {
			list = append(list, b.trouble)
		}
		b.mu.Unlock()
	}
	return list
}
