//go:build !race

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"hash/fnv"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/aboard"
	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/cmd/logd/watch"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	sender "trialday.example/logd/sink/influx"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/timeline"
)

// What may be more at the end of the soak than at its beginning, and in a long
// trial than in a short one. What grows with a trial is its course second by
// second, bounded at 18 h, and its windows and manoeuvres. Figures and server hold
// these once each.
const (
	moreHeap       = 6 << 20 // bytes
	moreHeapAnHour = 1 << 20 // of a trial
	moreAtWork     = 4       // goroutines, files: those that are just at work; twice in a long trial, with its packing
)

// soakPlan is how long a soak is. It has short trials at its beginning and its
// end and a long one between, so both a trial that goes on and trials that come
// and go would show what is never given back.
type soakPlan struct {
	parts int
	part  time.Duration // of trial time
	pace  time.Duration // least time that a part takes
}

// plan is two hours of trial time; with TRIALDAY_SOAK=1 a day and night, paced so
// that the refreshing of the long trial's results, every ten minutes of real
// time, falls into it.
func plan() soakPlan {
	if os.Getenv("TRIALDAY_SOAK") == "1" {
		return soakPlan{24, time.Hour, 40 * time.Second}
	}
	return soakPlan{8, 15 * time.Minute, 0}
}

// turns tells whether the trial is closed after a part.
func (p soakPlan) turns(part int) bool { return part < p.parts/6 || part >= p.parts*5/6 }

// longDay is a bus on which one simulated day follows the other. It stops at
// the end of each part until it is told to go on.
type longDay struct {
	scenario *simulate.Scenario
	day      *simulate.Day
	part     int64 // ns
	seed     uint64
	due      int64 // ns since 1970
	last     int64
	frames   uint64
	digest   hash.Hash64 // of all frames
	reached  chan uint64 // frames up to the end of a part
	further  chan struct{}
	end      chan struct{}
}

func newLongDay(t *testing.T, part time.Duration) *longDay {
	t.Helper()
	s, err := loadScenario("demo-triple")
	if err != nil {
		t.Fatal(err)
	}
	s.Clock = simulate.Clock{} // a step would be one more at each repetition
	return &longDay{scenario: s, part: int64(part), due: s.StartUTC.Add(part).UnixNano(), digest: fnv.New64a(),
		reached: make(chan uint64), further: make(chan struct{}), end: make(chan struct{})}
}

func (l *longDay) Buses() []string { return l.scenario.Buses() }

func (l *longDay) Close() error { close(l.end); return nil }

func (l *longDay) Next(f *frame.Frame) error {
	if err := l.simulated(f); err != nil {
		return err
	}
	for f.Time >= l.due {
		select {
		case l.reached <- l.frames:
		case <-l.end:
			return io.EOF
		}
		select {
		case <-l.further:
		case <-l.end:
			return io.EOF
		}
		l.due += l.part
	}
	l.frames++
	l.last = f.Time
	digest(l.digest, f)
	return nil
}

// simulated is the next frame of the present day, or of the next.
func (l *longDay) simulated(f *frame.Frame) error {
	for {
		if l.day == nil {
			l.seed++
			l.day = l.scenario.Start(l.seed)
		}
		err := l.day.Next(f)
		if !errors.Is(err, io.EOF) {
			return err
		}
		l.day, l.scenario.StartUTC = nil, time.Unix(0, l.last).Truncate(time.Second).Add(2*time.Second).UTC()
	}
}

// digest adds a frame as it is in a journal.
func digest(h hash.Hash64, f *frame.Frame) {
	var b [32]byte
	binary.LittleEndian.PutUint64(b[:], uint64(f.Time))
	binary.LittleEndian.PutUint32(b[8:], f.ID)
	b[12], b[13] = f.Length, f.Bus
	if f.IsExtended {
		b[14] |= 1
	}
	if f.IsRemote {
		b[14] |= 2
	}
	if f.IsError {
		b[14] |= 4
	}
	copy(b[16:], f.Data[:])
	h.Write(b[:])
}

// serverAt starts an InfluxDB that lasts as long as the test.
func serverAt(t *testing.T) (url string) {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(cache, "trialday-influx", "influxd")); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("influxd is not installed; run .ci/influx install")
		}
		t.Skip("influxd is not installed; .ci/influx install does that")
	}
	port := freePort(t, "tcp")
	server := exec.Command("../../.ci/influx", "start", strconv.Itoa(port))
	out, err := server.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var log bytes.Buffer
	server.Stderr = &log
	server.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = syscall.Kill(-server.Process.Pid, syscall.SIGTERM)
		_ = server.Wait()
	})
	if line, err := bufio.NewReader(out).ReadString('\n'); err != nil {
		t.Fatalf("the server does not start: %s %v\n%s", line, err, log.String())
	}
	return fmt.Sprintf("http://127.0.0.1:%d", port)
}

// visit is someone who looks on for a while.
type visit struct {
	seen atomic.Pointer[results.Live]
	stop func() error
}

func visitPage(ctx context.Context, url string) *visit {
	ctx, cancel := context.WithCancel(ctx)
	v, ended := new(visit), make(chan error, 1)
	go func() {
		ended <- watch.Follow(ctx, watch.Options{URL: url}, func(l *results.Live, _ error) {
			if l != nil {
				v.seen.Store(l)
			}
		})
	}()
	v.stop = sync.OnceValue(func() error { cancel(); return <-ended })
	return v
}

// held is what the program holds at a time.
type held struct {
	heap              uint64
	goroutines, files int
}

// holding is the least that is held in some seconds: what is just at work, such
// as deriving the figures of a closed trial, comes and goes; what leaks stays.
func holding(t *testing.T) held {
	t.Helper()
	least := holdingNow(t)
	for range 20 {
		time.Sleep(150 * time.Millisecond)
		h := holdingNow(t)
		least = held{min(least.heap, h.heap), min(least.goroutines, h.goroutines), min(least.files, h.files)}
	}
	return least
}

func holdingNow(t *testing.T) held {
	t.Helper()
	runtime.GC()
	runtime.GC() // a finalizer's memory goes with the second
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	open, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	return held{m.HeapAlloc, runtime.NumGoroutine(), len(open)}
}

func most(list []held) (m held) {
	for _, h := range list {
		m = held{max(m.heap, h.heap), max(m.goroutines, h.goroutines), max(m.files, h.files)}
	}
	return m
}

// A day and a night go through the whole daemon, with the server and people who
// look on and go away again. Nothing grows, every frame is in the journal, and
// those who look on and the server have all of it.
func TestSoak(t *testing.T) {
	cfg, err := configs.Parse(bytes.NewReader(boatA(t)), "demo")
	if err != nil {
		t.Fatal(err)
	}
	p := plan()
	cfg.Influx.URL, cfg.Influx.Bucket, cfg.Influx.CatchUpHz = serverAt(t), "trials/autogen", 0
	cfg.Journal.Dir, cfg.Journal.KeepFreeMB = filepath.Join(t.TempDir(), "trials"), 0
	cfg.Page.Listen = fmt.Sprintf("127.0.0.1:%d", freePort(t, "tcp"))
	url := "http://" + cfg.Page.Listen

	src := newLongDay(t, p.part)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		aboard.Run(ctx, aboard.Options{Config: cfg, Version: version, Sources: []frame.Source{src}, Write: writeResults, Log: slog.New(slog.DiscardHandler),
			Listen: func() (net.Listener, error) { return net.Listen("tcp", cfg.Page.Listen) }})
		close(ended)
	}()
	stop := sync.OnceFunc(func() { cancel(); <-ended })
	t.Cleanup(stop)

	var parts []held
	before := uint64(0) // frames of earlier trials
	for i := range p.parts {
		from := time.Now()
		guest := visitPage(ctx, url)
		all := <-src.reached
		settle(t, url, guest, all-before)
		parts = append(parts, holding(t))
		if err := guest.stop(); err != nil {
			t.Error(err)
		}
		if p.turns(i) {
			closeTrial(t, cfg)
			before = all
		}
		h := parts[i]
		t.Logf("%2d: %9d frames, heap %5.1f MiB, %3d goroutines, %3d files, %.0f s", i+1, all, float64(h.heap)/(1<<20), h.goroutines, h.files, time.Since(from).Seconds())
		time.Sleep(p.pace - time.Since(from))
		if i+1 < p.parts {
			src.further <- struct{}{}
		}
	}
	stop()

	from, to := p.parts/6, p.parts*5/6+1 // of the long trial
	short, long, last := most(parts[:from]), most(parts[from:]), most(parts[to:])
	hours := p.part.Hours() * float64(to-from)
	if long.heap > short.heap+moreHeap+uint64(moreHeapAnHour*hours) || last.heap > short.heap+moreHeap ||
		last.goroutines > short.goroutines+moreAtWork || last.files > short.files+moreAtWork ||
		long.goroutines > short.goroutines+2*moreAtWork || long.files > short.files+2*moreAtWork {
		t.Errorf("held at the most in short trials %+v, in those at the end %+v, ever %+v", short, last, long)
	}
	checkKept(t, cfg, src)
}

// settle waits until the daemon's readers, the server and a guest have what was
// heard of the present trial. The server has it up to the last run that ended.
func settle(t *testing.T, url string, guest *visit, frames uint64) {
	t.Helper()
	waitFor(t, "the guest is shown all frames", func() bool {
		l := guest.seen.Load()
		return l != nil && l.Recording.Frames == frames && l.Trial != nil && l.ClockKnown
	})
	if l := guest.seen.Load(); !l.Recording.OK || l.Recording.Lost != 0 {
		t.Errorf("%+v", l.Recording)
	}
	lag := func(reader string) uint64 {
		_, after, found := strings.Cut(fetched(t, url+"/metrics"), fmt.Sprintf("\nlogd_reader_lag_frames{reader=%q} ", reader))
		value, _, _ := strings.Cut(after, "\n")
		n, err := strconv.ParseFloat(value, 64)
		if !found || err != nil {
			return frames
		}
		return uint64(n)
	}
	waitFor(t, "the readers have read all", func() bool { return lag("figures") == 0 && lag("survey") == 0 })
	waitFor(t, "the server is not far behind", func() bool { return lag("server") <= frames/2 })
	var course timeline.View
	number := guest.seen.Load().Trial.Number
	if err := json.Unmarshal([]byte(fetched(t, fmt.Sprintf("%s/api/trials/%d/timeline?points=200", url, number))), &course); err != nil || len(course.Time) == 0 {
		t.Errorf("the course: %v", err)
	}
}

// closeTrial closes the present trial and waits for its results, here and at the
// server.
func closeTrial(t *testing.T, cfg configs.Config) {
	t.Helper()
	book, err := logbook.Open(cfg.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	closed, open, err := book.Close(time.Now())
	if err != nil || !open {
		t.Fatalf("no trial is open: %v", err)
	}
	waitFor(t, "the results are there", func() bool { return closed.Reload() == nil && closed.Derived() })
	waitFor(t, "the server has all of the trial", func() bool {
		var cursor struct{ Done bool }
		text, err := os.ReadFile(filepath.Join(closed.Dir, "influx.json"))
		return err == nil && json.Unmarshal(text, &cursor) == nil && cursor.Done
	})
}

// checkKept compares the journals with what was heard, and the server with the
// journals.
func checkKept(t *testing.T, cfg configs.Config, src *longDay) {
	t.Helper()
	book, err := logbook.Open(cfg.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	trials, err := book.Trials()
	if err != nil {
		t.Fatal(err)
	}
	cfg.Influx.TimeoutS = 600 // of a long trial the server adds up for a while
	frames, sum, points, bytes := uint64(0), fnv.New64a(), int64(0), int64(0)
	for _, trial := range trials {
		in, err := journal.Open(trial.Frames())
		if err != nil {
			t.Fatal(err)
		}
		n, err := frame.Each(in, func(f *frame.Frame) error { digest(sum, f); return nil })
		if err != nil {
			t.Fatal(err)
		}
		in.Close()
		frames += uint64(n)
		bytes += trial.Size()
		v, err := sender.Verify(t.Context(), sender.Options{Config: cfg, Version: version, Journal: trial.Frames(), Final: func() bool { return true }})
		if err != nil {
			t.Fatal(err)
		}
		if v.Differences != 0 || v.Points == 0 {
			t.Errorf("%s: %d of %d values differ at the server: %v", trial.String(), v.Differences, v.Values, v.First)
		}
		points += v.Points
	}
	if frames != src.frames || sum.Sum64() != src.digest.Sum64() {
		t.Errorf("%d frames are kept, digest %x; %d were heard, digest %x", frames, sum.Sum64(), src.frames, src.digest.Sum64())
	}
	t.Logf("%d trials, %d frames, %.2f bytes a frame, %d points at the server", len(trials), frames, float64(bytes)/float64(frames), points)
}
