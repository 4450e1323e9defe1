package aboard

import (
	"context"
	"io"
	"log/slog"
	"sync"
	"testing"
	"time"

	"go.einride.tech/can"

	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/results"
)

// script is a bus that sends given frames and is then silent until it is
// closed.
type script struct {
	names  []string
	frames []frame.Frame
	next   int
	once   sync.Once
	end    chan struct{}
}

func newScript(frames []frame.Frame, names ...string) *script {
	if len(names) == 0 {
		names = []string{"can0"}
	}
	return &script{names: names, frames: frames, end: make(chan struct{})}
}

func (s *script) Buses() []string { return s.names }

func (s *script) Next(f *frame.Frame) error {
	if s.next == len(s.frames) {
		<-s.end
	}
	select {
	case <-s.end:
		return io.EOF
	default:
	}
	*f = s.frames[s.next]
	s.next++
	return nil
}

func (s *script) Close() error {
	s.once.Do(func() { close(s.end) })
	return nil
}

var morning = time.Date(2031, 5, 4, 7, 30, 0, 0, time.UTC)

// ticks makes n frames a millisecond apart from a time on.
func ticks(from time.Time, n int) []frame.Frame {
	list := make([]frame.Frame, n)
	for i := range list {
		h := pgn.Header{Priority: 2, PGN: 127488, Source: uint8(i % 3), Destination: pgn.Broadcast}
		list[i] = frame.Frame{Time: from.Add(time.Duration(i) * time.Millisecond).UnixNano(),
			Frame: can.Frame{ID: h.ID(), IsExtended: true, Length: 8, Data: can.Data{byte(i), byte(i >> 8), byte(i >> 16), 0, 0, 0xFF, 0xFF, 0xFF}}}
	}
	return list
}

// satellite makes the frames of a receiver that sends the time once a second.
func satellite(recorder, utc time.Time, seconds int) []frame.Frame {
	var list []frame.Frame
	m := pgn.Lookup(126992)
	h := pgn.Header{Priority: m.Priority, PGN: 126992, Source: 7, Destination: pgn.Broadcast}
	for i := range seconds {
		at := utc.Add(time.Duration(i) * time.Second)
		midnight := at.Truncate(24 * time.Hour)
		data := m.New()
		m.Field("date").Put(data, pgn.Value{V: float64(midnight.Unix())})
		m.Field("time").Put(data, pgn.Value{V: at.Sub(midnight).Seconds()})
		m.Field("source").Put(data, pgn.Value{V: 0})
		f := frame.Frame{Time: recorder.Add(time.Duration(i) * time.Second).UnixNano(),
			Frame: can.Frame{ID: h.ID(), IsExtended: true, Length: uint8(len(data))}}
		copy(f.Data[:], data)
		list = append(list, f)
	}
	return list
}

// waiting is the length of the queue in tests.
const waiting = 8192

// config is that of a logger in a directory of the test.
func config(t *testing.T) configs.Config {
	t.Helper()
	c := configs.Default()
	c.Journal.Dir = t.TempDir() + "/trials"
	c.Journal.KeepFreeMB = 0
	c.Journal.SyncS = 0.05
	return c
}

// logs gives what is logged to the test.
func logs(t *testing.T) *slog.Logger {
	return slog.New(slog.NewTextHandler(writer{t}, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

type writer struct{ t *testing.T }

func (w writer) Write(b []byte) (int, error) {
	w.t.Logf("%s", b[:len(b)-1])
	return len(b), nil
}

// until waits for something to become true. It bounds nothing but a test that
// hangs.
func until(t *testing.T, what string, f func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); !f(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain: %s", what)
		}
	}
}

// read reads a whole journal.
func read(t *testing.T, dir string) []frame.Frame {
	t.Helper()
	in, err := journal.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	var list []frame.Frame
	var f frame.Frame
	for {
		if err := in.Next(&f); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		list = append(list, f)
	}
	if lost := in.Recovery().String(); lost != "" {
		t.Errorf("%s: %s", dir, lost)
	}
	return list
}

func equal(t *testing.T, got, want []frame.Frame) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d frames, want %d", len(got), len(want))
	}
	for i := range got {
		if got[i] != want[i] {
			t.Fatalf("frame %d is %+v, want %+v", i, got[i], want[i])
		}
	}
}

// work runs a logger until the test is done with it. Stop ends it as SIGTERM
// does and returns when it has ended.
func work(t *testing.T, o Options) (d *daemon, stop func()) {
	t.Helper()
	if o.Log == nil {
		o.Log = logs(t)
	}
	if o.Write == nil {
		o.Write = func(string, *results.Results, *results.Timeline) error { return nil }
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	d = newDaemon(o, waiting)
	go func() {
		d.run(ctx)
		close(ended)
	}()
	stop = func() { cancel(); <-ended }
	t.Cleanup(stop)
	return d, stop
}
