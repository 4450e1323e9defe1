package aboard

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/timeline"
)

// hush is how long the buses may be silent before what was heard last is no
// longer shown as the present.
const hush = 3 * time.Second

// live holds the newest state for all who look on. Its parts come from two
// sides: what the figures cursor derives, and what the recorder knows.
type live struct {
	derived atomic.Pointer[derivedLive]
	fresh   chan struct{} // has an element when derived is new

	mu    sync.Mutex
	state *results.Live
	next  chan struct{} // closed when there is another state
}

// derivedLive is what the figures of a session tell.
type derivedLive struct {
	of     *session
	state  *results.Live
	course *timeline.Timeline // of the day so far; it grows
}

func newLive() *live {
	return &live{fresh: make(chan struct{}, 1), state: new(results.Live), next: make(chan struct{})}
}

// Live returns the present state, which must not be changed, and a channel
// that is closed when there is another.
func (l *live) Live() (*results.Live, <-chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.state, l.next
}

func (l *live) publish(state *results.Live) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.state = state
	close(l.next)
	l.next = make(chan struct{})
}

// derive puts in what the figures of a session tell.
func (l *live) derive(now derivedLive) {
	l.derived.Store(&now)
	select {
	case l.fresh <- struct{}{}:
	default:
	}
}

// lookOn returns what the figures cursor does when it has no frames for now: it
// derives the present state. A fault in that costs the state and nothing else.
func (d *daemon) lookOn(s *session, figures *day.Day) func() {
	return d.apart(func() { d.live.derive(derivedLive{s, figures.Live(), figures.Timeline()}) })
}

// publishLive publishes the state whenever the figures have another, and once
// in a while without them.
func (d *daemon) publishLive(ctx context.Context) {
	t := time.NewTicker(2 * lookEvery)
	defer t.Stop()
	for {
		d.live.publish(d.standing())
		select {
		case <-ctx.Done():
			return
		case <-d.live.fresh:
			t.Reset(2 * lookEvery)
		case <-t.C:
		}
	}
}

// standing puts the state together.
func (d *daemon) standing() *results.Live {
	l := results.Live{Version: d.Version, Hold: results.Hold{State: results.HoldFree, Why: "no frame has come yet"}}
	s := d.recorder.status.session.Load()
	if now := d.live.derived.Load(); now != nil && now.of == s {
		l = *now.state
		l.Lamps = slices.Clone(l.Lamps)
		if d.hushed() {
			l.Run, l.Now = nil, results.Now{}
			l.Hold = results.Hold{State: results.HoldFree, NeedS: l.Hold.NeedS, MoreS: l.Hold.NeedS, Why: "nothing is heard from the boat"}
		}
	} else if s != nil {
		l.Hold.Why = "what was recorded before is being read again"
	}
	if s != nil {
		start := s.trial.Begun()
		if l.Trial != nil {
			start = l.Trial.Start
		}
		l.Trial = &results.Session{Number: s.trial.Number, Name: s.trial.Name(), Start: start}
		l.Recording.Frames = s.written.Load()
	}
	l.Recording.Lost = d.recorder.status.lost.Load()
	l.Recording.OK = d.recorder.status.troubleText() == ""
	l.Recording.Problems = d.problems()
	l.Lamps = append(l.Lamps, d.busLamp(), d.journalLamp(), d.serverLamp())
	return &l
}

// hushed tells whether no bus was heard lately.
func (d *daemon) hushed() bool {
	for _, b := range d.buses.all() {
		if last := b.last.Load(); last != 0 && since()-last < int64(hush) {
			return false
		}
	}
	return true
}

func (d *daemon) busLamp() results.Lamp {
	l := results.Lamp{Name: "bus", State: results.LampGood}
	for _, b := range d.buses.all() {
		b.mu.Lock()
		trouble := b.trouble
		b.mu.Unlock()
		// In steps of ten, so that it does not change all the time.
		text := fmt.Sprintf("%s is heard, about %d %% of it in use", b.name, (b.load.Load()+50e3)/100e3*10)
		if trouble != "" {
			l.State, text = results.LampBad, trouble
		} else if n := b.errors.Load(); n*1000 > b.frames.Load() {
			l.State = worse(l.State, results.LampWarn)
			text = fmt.Sprintf("%s: %d of %d frames are error frames: check termination, connectors and bit rate", b.name, n, b.frames.Load())
		}
		if l.Text != "" {
			l.Text += "; "
		}
		l.Text += text
	}
	if l.Text == "" {
		l.State, l.Text = results.LampBad, "no bus is listened to: set bus.interfaces"
	}
	return l
}

// worse returns the state that is worse.
func worse(a, b string) string {
	order := []string{results.LampOff, results.LampGood, results.LampWarn, results.LampBad}
	return order[max(slices.Index(order, a), slices.Index(order, b))]
}

// scarce, bytes: with less room than this the disk may fill within a day; two
// full buses make some 60 MB an hour.
const scarce = 1 << 30

func (d *daemon) journalLamp() results.Lamp {
	l := results.Lamp{Name: "journal", State: results.LampGood}
	st := &d.recorder.status
	free := max(st.free.Load()-int64(d.Config.Journal.KeepFreeMB)<<20, 0)
	l.Text = fmt.Sprintf("every frame is kept; room for %.1f GB more", float64(free)/1e9)
	switch lost := st.lost.Load(); {
	case st.troubleText() != "":
		l.State, l.Text = results.LampBad, "NOT RECORDING: "+st.troubleText()
	case lost > 0:
		l.State, l.Text = results.LampWarn, fmt.Sprintf("%d frames could not be kept since the start; all are kept now", lost)
	case free < scarce:
		l.State = results.LampWarn
		l.Text += "; make room: delete old trials, or set journal.free_oldest"
	}
	return l
}

func (d *daemon) serverLamp() results.Lamp {
	l := results.Lamp{Name: "server", State: results.LampOff, Text: "none is configured (influx.url)"}
	if d.Config.Influx.URL == "" {
		return l
	}
	d.mu.Lock()
	sender := d.sender
	d.mu.Unlock()
	l.Text = "there is nothing to send yet"
	if sender == nil {
		return l
	}
	switch c := sender.Stats.Counts(); {
	case c.LastError != "":
		l.State, l.Text = results.LampWarn, "not reached; all is kept and sent later: "+c.LastError
	case c.Rejected > 0:
		l.State, l.Text = results.LampWarn, fmt.Sprintf("%d points were not taken by the server; they are in the journal", c.Rejected)
	case c.Behind:
		l.State, l.Text = results.LampGood, "reached, catching up"
	default:
		l.State, l.Text = results.LampGood, "reached, nothing is waiting"
	}
	return l
}
