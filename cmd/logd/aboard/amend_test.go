package aboard

import (
	"slices"
	"sync"
	"testing"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

// outcomes keeps how many amendments each writing of results knew of.
type outcomes struct {
	mu    sync.Mutex
	known []int
}

func (o *outcomes) write(_ string, r *results.Results, _ *results.Timeline) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.known = append(o.known, len(r.Amendments))
	return nil
}

func (o *outcomes) last() int {
	o.mu.Lock()
	defer o.mu.Unlock()
	if len(o.known) == 0 {
		return -1
	}
	return o.known[len(o.known)-1]
}

// amend is what another program does meanwhile.
func amend(t *testing.T, x *logbook.Trial) {
	t.Helper()
	if _, err := x.Amend(logbook.Amendment{Name: "A. Person", Reason: "wake", Action: logbook.Exclude,
		Windows: []logbook.Span{{Start: "2031-05-04T07:30:00Z", End: "2031-05-04T07:31:00Z"}}}, morning); err != nil {
		t.Fatal(err)
	}
}

// A trial that is amended while it is recorded has its results written with
// that, soon and at the end; and so after a restart, before any frame comes.
func TestAmendmentsWhileRecording(t *testing.T) {
	c := config(t)
	src := newMore()
	var told outcomes
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src}, Write: told.write})
	src.send(ticks(morning, 100))
	until(t, "the frames are kept", func() bool { return d.kept() == 100 })
	x := d.recorder.status.session.Load().trial
	amend(t, &x)
	until(t, "the results know of the amendment", func() bool { return told.last() == 1 })
	amend(t, &x)
	until(t, "the results know of both", func() bool { return told.last() == 2 })
	stop()
	if told.last() != 2 || !day.Evaluated(x.Dir) {
		t.Errorf("at the end: %d amendments, evidence kept %v", told.last(), day.Evaluated(x.Dir))
	}

	var again outcomes
	_, stop = work(t, Options{Config: c, Sources: []frame.Source{newMore()}, Write: again.write})
	until(t, "the results after a restart", func() bool { return again.last() == 2 })
	stop()
	if slices.Contains(again.known, 0) {
		t.Errorf("amendments known after a restart: %v", again.known)
	}
}
