package aboard

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

// follow waits for a state, from one to the next as it is told of them.
func follow(t *testing.T, d *daemon, what string, is func(*results.Live) bool) *results.Live {
	t.Helper()
	patience := time.After(time.Minute)
	for {
		state, next := d.live.Live()
		if is(state) {
			return state
		}
		select {
		case <-next:
		case <-patience:
			text, _ := json.Marshal(state)
			t.Fatalf("waited in vain: %s; %s", what, text)
		}
	}
}

func lamp(l *results.Live, name string) (out results.Lamp) {
	for _, p := range l.Lamps {
		if p.Name == name {
			out = p
		}
	}
	return out
}

// Whoever looks on is told of each trial from its first frame, of silence, and
// of the next trial.
func TestTheStateIsPublished(t *testing.T) {
	c := config(t)
	src := newMore()
	d, stop := work(t, Options{Config: c, Version: "v", Sources: []frame.Source{src}})
	first := follow(t, d, "the state before the first frame", func(l *results.Live) bool { return len(l.Lamps) > 0 })
	if first.Trial != nil || first.Hold.State != results.HoldFree || first.Version != "v" || lamp(first, "server").State != results.LampOff {
		t.Errorf("%+v", first)
	}
	list := append(satellite(morning, morning, 5), ticks(morning.Add(5*time.Second), 5000)...)
	src.send(list)
	seen := follow(t, d, "the first trial", func(l *results.Live) bool {
		return l.Trial != nil && l.ClockKnown && lamp(l, "engines").State == results.LampGood && l.Recording.Frames == uint64(len(list))
	})
	if seen.Trial.Number != 1 || !strings.HasPrefix(seen.Trial.Start, "2031-05-04T07:30:0") || !seen.Recording.OK || lamp(seen, "journal").State == results.LampBad {
		t.Errorf("%+v", seen)
	}
	now := d.live.derived.Load() // what is published may be the silence already
	if len(now.state.Now.Engines) != 8 || now.state.Now.Engines[0].RPM == nil {
		t.Errorf("%+v", now.state.Now)
	}
	if now.course.View(0, 4e9, 100).Channels["rpm_engine 1"].Mean == nil {
		t.Error("the day so far is not drawn")
	}
	hushed := follow(t, d, "the silence", func(l *results.Live) bool { return l.Hold.Why == "nothing is heard from the boat" })
	if hushed.Now.Engines != nil || hushed.Run != nil || hushed.Trial == nil || hushed.Time == "" {
		t.Errorf("%+v", hushed)
	}
	book, err := logbook.Open(c.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := book.New("second", time.Now()); err != nil {
		t.Fatal(err)
	}
	until(t, "the first is left", func() bool { return d.recorder.status.session.Load() == nil })
	src.send(ticks(morning.Add(time.Hour), 1500))
	seen = follow(t, d, "the second trial", func(l *results.Live) bool { return l.Trial != nil && l.Trial.Number == 2 && l.Time != "" })
	if seen.ClockKnown || seen.Trial.Name != "second" || !strings.HasPrefix(seen.Time, "2031-05-04T08:30:0") {
		t.Errorf("%+v", seen.Trial)
	}
	stop()
}

// What hinders recording is told with what to do.
func TestLampsOfTheRecorder(t *testing.T) {
	c := config(t)
	d := newDaemon(Options{Config: c, Log: logs(t)}, waiting)
	if l := d.standing(); lamp(l, "bus").State != results.LampBad || !l.Recording.OK {
		t.Errorf("%+v", l)
	}
	d.buses.number("can0")
	d.buses.number("can1")
	d.recorder.status.free.Store(10 << 30)
	if l := d.standing(); lamp(l, "bus").State != results.LampGood || lamp(l, "journal").State != results.LampGood {
		t.Errorf("%+v", l)
	}
	d.buses.all()[1].trouble = "interface can1 is down: pull it up"
	d.recorder.status.lost.Store(7)
	if l := d.standing(); lamp(l, "bus").State != results.LampBad || !strings.Contains(lamp(l, "bus").Text, "can1 is down") ||
		lamp(l, "journal").State != results.LampWarn || l.Recording.Lost != 7 || !slices.Contains(l.Recording.Problems, "interface can1 is down: pull it up") {
		t.Errorf("%+v", l)
	}
	text := "the disk is full; make room"
	d.recorder.status.trouble.Store(&text)
	if l := d.standing(); l.Recording.OK || lamp(l, "journal").State != results.LampBad || !strings.Contains(lamp(l, "journal").Text, text) {
		t.Errorf("%+v", l)
	}
	d.recorder.status.trouble.Store(nil)
	d.recorder.status.lost.Store(0)
	d.recorder.status.free.Store(1 << 20)
	if p := lamp(d.standing(), "journal"); p.State != results.LampWarn || !strings.Contains(p.Text, "make room") {
		t.Errorf("%+v", p)
	}
	d.buses.all()[1].trouble = ""
	d.buses.all()[0].frames.Store(1000)
	d.buses.all()[0].errors.Store(50)
	if p := lamp(d.standing(), "bus"); p.State != results.LampWarn || !strings.Contains(p.Text, "termination") {
		t.Errorf("%+v", p)
	}
}
