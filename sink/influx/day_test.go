package influx

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"sync"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/results"
)

// simulated days, made once for all tests of a process.
var simulated sync.Map // name to *dayFrames

type dayFrames struct {
	once   sync.Once
	frames []frame.Frame
	buses  []string
}

// framesOf returns the frames of a scenario's day.
func framesOf(t testing.TB, name string) *dayFrames { return framesAt(t, name, "") }

var startLine = regexp.MustCompile(`(?m)^start: .*$`)

// framesAt is framesOf with another start, in RFC 3339; "" for the scenario's.
func framesAt(t testing.TB, name, start string) *dayFrames {
	t.Helper()
	entry, _ := simulated.LoadOrStore(name+start, &dayFrames{})
	d := entry.(*dayFrames)
	d.once.Do(func() {
		text, err := scenarios.Load(name)
		if err != nil {
			t.Fatal(err)
		}
		if start != "" {
			text = startLine.ReplaceAll(text, []byte("start: "+start))
		}
		s, err := simulate.Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		sim := s.Start(1)
		for {
			var f frame.Frame
			if err := sim.Next(&f); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(err)
			}
			d.frames = append(d.frames, f)
		}
		d.buses = sim.Buses()
	})
	return d
}

// first returns the day's beginning only.
func (d *dayFrames) first(share float64) *dayFrames {
	return &dayFrames{frames: d.frames[:int(share*float64(len(d.frames)))], buses: d.buses}
}

// write makes a journal of the frames.
func (d *dayFrames) write(t testing.TB, dir string) string {
	t.Helper()
	w, err := journal.Create(dir, journal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range d.frames {
		if err := w.Append(&d.frames[i], d.buses[d.frames[i].Bus]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

// results derives the figures by the pipeline itself.
func (d *dayFrames) results(cfg configs.Config) *results.Results {
	one := day.New(cfg, "test", func() []string { return d.buses })
	for i := range d.frames {
		one.Frame(&d.frames[i])
	}
	r, _ := one.Finish(0)
	return r
}

// demoConfig is that of a demo boat, with a server.
func demoConfig(t testing.TB, boat string, s *realServer, url string) configs.Config {
	t.Helper()
	text, err := configs.Demo(boat)
	if err != nil {
		t.Fatal(err)
	}
	cfg, err := configs.Parse(bytes.NewReader(text), "demo")
	if err != nil {
		t.Fatal(err)
	}
	cfg.Influx.URL, cfg.Influx.Bucket = url, s.bucket()
	return cfg
}

func options(cfg configs.Config, journal string) Options {
	return Options{Config: cfg, Version: "test", Journal: journal, Final: func() bool { return true }, Once: true}
}

// run sends a journal and returns the counts.
func run(t testing.TB, o Options) Counts {
	t.Helper()
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s.Stats.Counts()
}

// verify fails the test where journal and server differ.
func verify(t testing.TB, o Options) Verification {
	t.Helper()
	v, err := Verify(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range v.First {
		t.Errorf("differs: %s", d)
	}
	if v.Differences > 0 || v.Values == 0 {
		t.Fatalf("%d differences in %d values", v.Differences, v.Values)
	}
	return v
}

// pointsOf makes all points of a journal.
func pointsOf(t testing.TB, o Options) []Point {
	t.Helper()
	id, err := identify(o.Journal, &o.Config)
	if err != nil {
		t.Fatal(err)
	}
	s, err := openStream(&o, id)
	if err != nil {
		t.Fatal(err)
	}
	defer s.close()
	var all []Point
	for {
		points, err := s.next()
		if errors.Is(err, errEnd) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, points...)
	}
}

// fakeTime passes when somebody sleeps.
type fakeTime struct {
	mu    sync.Mutex
	at    time.Time
	slept []time.Duration
}

func newFakeTime() *fakeTime { return &fakeTime{at: time.Date(2031, 6, 2, 12, 0, 0, 0, time.UTC)} }

func (f *fakeTime) now() time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.at
}

func (f *fakeTime) sleep(ctx context.Context, d time.Duration) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.at = f.at.Add(d)
	f.slept = append(f.slept, d)
	return ctx.Err()
}

func (f *fakeTime) pace() *Pace {
	return &Pace{f.now, f.sleep, func() float64 { return 0.5 }}
}

// logTo gives a logger whose text can be looked at.
func logTo(w io.Writer) *slog.Logger { return slog.New(slog.NewTextHandler(w, nil)) }

func writeText(t testing.TB, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func stampNS(ns int64) string { return strconv.FormatInt(ns, 10) }
