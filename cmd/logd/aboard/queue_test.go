package aboard

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/decode/frame"
)

func TestQueueKeepsOrderAndWaitsForRoom(t *testing.T) {
	const n = 10000
	q := newQueue(64)
	go func() {
		for i := range n {
			q.put(&frame.Frame{Time: int64(i)})
		}
		q.close()
	}()
	var got []frame.Frame
	for len(got) < n {
		got = q.take(got, 7)
	}
	for i := range got {
		if got[i].Time != int64(i) {
			t.Fatalf("frame %d is %d", i, got[i].Time)
		}
	}
}

func TestQueueEndsWaiting(t *testing.T) {
	q := newQueue(4)
	for range 4 {
		if !q.put(new(frame.Frame)) {
			t.Fatal("refused with room")
		}
	}
	put := make(chan bool)
	go func() { put <- q.put(new(frame.Frame)) }()
	q.close()
	if <-put {
		t.Error("a frame was put into a full queue")
	}
	if got := q.take(nil, 99); len(got) != 4 {
		t.Errorf("%d frames left, want 4", len(got))
	}
}

func TestQueueSignalsWhenAGoodPartIsFilled(t *testing.T) {
	q := newQueue(8)
	q.put(new(frame.Frame))
	select {
	case <-q.filled:
		t.Error("signalled at one of eight")
	default:
	}
	q.put(new(frame.Frame))
	<-q.filled
}

// logAt logs a message as if at a time.
func logAt(h slog.Handler, at time.Time, level slog.Level, msg string, attrs ...slog.Attr) {
	r := slog.NewRecord(at, level, msg, 0)
	r.AddAttrs(attrs...)
	_ = h.Handle(context.Background(), r)
}

func TestRepeatedMessagesAreHeldBack(t *testing.T) {
	var out bytes.Buffer
	h := Quiet(slog.NewTextHandler(&out, nil))
	why := slog.String("why", "no room")
	for i := range 100 {
		logAt(h, morning.Add(time.Duration(i)*time.Second), slog.LevelError, "not recording", why, slog.Int("lost", i))
	}
	logAt(h, morning, slog.LevelError, "not recording", slog.String("why", "read-only"))
	logAt(h, morning, slog.LevelWarn, "not recording", why)
	text := out.String()
	if n := strings.Count(text, "\n"); n != 4 {
		t.Errorf("%d lines, want two in 100 s and two of other kinds:\n%s", n, text)
	}
	if !strings.Contains(text, "held_back=59") {
		t.Errorf("it is not said how often it was held back:\n%s", text)
	}
}

func TestManyMessagesDoNotGrowTheMemory(t *testing.T) {
	q := Quiet(slog.DiscardHandler).(*quiet)
	for i := range 10 * maxSeen {
		logAt(q, morning, slog.LevelInfo, strings.Repeat("x", i%5000))
	}
	if n := len(q.seen.last); n > maxSeen {
		t.Errorf("%d messages remembered", n)
	}
}

func TestAttributesPassThrough(t *testing.T) {
	var out bytes.Buffer
	log := slog.New(Quiet(slog.NewTextHandler(&out, nil))).With("a", 1).WithGroup("g")
	log.Info("x", "b", 2)
	if text := out.String(); !strings.Contains(text, "a=1") || !strings.Contains(text, "g.b=2") {
		t.Errorf("%s", text)
	}
}
