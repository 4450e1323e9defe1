package aboard

import (
	"testing"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
)

// The journal of a closed trial is packed while another trial is recorded; not
// one frame changes.
func TestTheJournalOfAClosedTrialIsPacked(t *testing.T) {
	c := config(t)
	book, err := logbook.Open(c.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	closed, err := book.New("before", time.Now())
	if err != nil {
		t.Fatal(err)
	}
	w, err := journal.Create(closed.Frames(), journal.Options{BlockFrames: 20})
	if err != nil {
		t.Fatal(err)
	}
	list := ticks(morning, 2000)
	for i := range list {
		if err := w.Append(&list[i], "can0"); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if _, _, err := book.Close(time.Now()); err != nil {
		t.Fatal(err)
	}
	before := closed.Size()
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(ticks(morning, 10))}})
	until(t, "the frames are kept", func() bool { return d.kept() == 10 })
	until(t, "the closed trial is packed", func() bool { return closed.Size() < before/2 })
	stop()
	equal(t, read(t, closed.Frames()), list)
}
