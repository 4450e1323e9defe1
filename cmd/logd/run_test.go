package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/socketcan"

	"trialday.example/logd/cmd/logd/aboard"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/timeline"
)

// live is a capture that stands for a bus: after its end it is silent until it
// is closed.
type live struct {
	*capture.Reader
	n    int           // frames, once done
	done chan struct{} // closed at the end of the capture
	end  chan struct{}
	once sync.Once
}

func (l *live) Next(f *frame.Frame) error {
	err := l.Reader.Next(f)
	if err == nil {
		l.n++
	}
	if errors.Is(err, io.EOF) {
		l.once.Do(func() { close(l.done) })
		<-l.end
	}
	return err
}

func (l *live) Close() error { close(l.end); return nil }

// The figures of a day that is recorded are those of its replay, byte for
// byte, from the journal and from the capture it came from; also where the
// logger was restarted in mid-day.
func TestLiveEqualsReplay(t *testing.T) {
	dir, log := t.TempDir(), short(t).write(t)
	cfg, err := configs.Parse(bytes.NewReader(boatA(t)), "demo")
	if err != nil {
		t.Fatal(err)
	}
	cfg.Journal.Dir = filepath.Join(dir, "trials")
	frames := 0
	for _, part := range halves(t, log) {
		frames = recordLive(t, cfg, part, frames)
	}
	found, err := filepath.Glob(filepath.Join(cfg.Journal.Dir, "*"))
	if err != nil || len(found) != 1 {
		t.Fatalf("trials %v, %v", found, err)
	}
	want := contents(t, found[0])
	if len(want["results.json"]) < 5000 || !bytes.Contains(want["results.json"], []byte(`"speed_kn"`)) {
		t.Fatalf("the results are empty: the test is void\n%s", want["results.json"])
	}
	for name, capture := range map[string]string{"the journal": filepath.Join(found[0], "frames"), "the log": log} {
		out := filepath.Join(dir, name)
		if _, err := replay(cfg, []string{capture}, nil, out, io.Discard); err != nil {
			t.Fatal(err)
		}
		for file, got := range contents(t, out) {
			if !bytes.Equal(got, want[file]) {
				t.Errorf("%s of %s differs from the live one", file, name)
			}
		}
		if !bytes.Equal(read(t, filepath.Join(out, timeline.File)), read(t, filepath.Join(found[0], timeline.File))) {
			t.Errorf("the timeline of %s differs from the live one", name)
		}
	}
}

// halves cuts a log in two.
func halves(t *testing.T, log string) []string {
	t.Helper()
	b, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	cut := len(b)/2 + bytes.IndexByte(b[len(b)/2:], '\n') + 1
	var names []string
	for i, part := range [][]byte{b[:cut], b[cut:]} {
		name := fmt.Sprintf("%s.%d", log, i)
		if err := os.WriteFile(name, part, 0o644); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	return names
}

// recordLive records a capture as if it came from a bus, in a trial that has so
// many frames, and returns how many it has then. It comes faster than from a
// bus, so the figures are waited for.
func recordLive(t *testing.T, cfg configs.Config, path string, before int) int {
	t.Helper()
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t, "tcp"))
	src, stop := begin(t, cfg, path, func() (net.Listener, error) { return net.Listen("tcp", address) })
	defer stop()
	<-src.done
	all := before + src.n
	waitFor(t, "every frame is in the journal and in the figures", func() bool {
		text := metricsAt(address)
		return strings.Contains(text, fmt.Sprintf("\nlogd_journal_frames %v\n", float64(all))) &&
			strings.Contains(text, `logd_reader_lag_frames{reader="figures"} 0`+"\n")
	})
	return all
}

// metricsAt is "" as long as nobody answers there.
func metricsAt(address string) string {
	resp, err := http.Get("http://" + address + "/metrics")
	if err != nil {
		return ""
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(resp.Body)
	return string(text)
}

// begin records a capture as if it came from a bus, until it is stopped.
func begin(t *testing.T, cfg configs.Config, path string, listen func() (net.Listener, error)) (src *live, stop func()) {
	t.Helper()
	r, err := capture.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	src = &live{Reader: r, done: make(chan struct{}), end: make(chan struct{})}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		aboard.Run(ctx, aboard.Options{Config: cfg, Version: version, Sources: []frame.Source{src}, Write: writeResults,
			Listen: listen, Log: slog.New(slog.DiscardHandler)})
		close(ended)
	}()
	stop = sync.OnceFunc(func() {
		cancel()
		<-ended
		r.Close()
	})
	t.Cleanup(stop)
	return src, stop
}

// contents reads the results in a directory.
func contents(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	files := make(map[string][]byte)
	for _, name := range []string{"results.json", "sheet.html", "steps.csv", "windows.csv"} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		files[name] = b
	}
	return files
}

// program builds the program itself.
func program(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "logd")
	if out, err := exec.Command("go", "build", "-o", path, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return path
}

// process is the program at work.
type process struct {
	*exec.Cmd
	log bytes.Buffer
}

func start(t testing.TB, path, config string) *process {
	t.Helper()
	p := &process{Cmd: exec.Command(path, "run", "--config", config)}
	p.Stderr = &p.log
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Process.Kill(); p.Wait() })
	return p
}

// talker sends numbered frames to a group until it is stopped.
type talker struct {
	send *socketcan.Transmitter
	next uint32
}

// numbered carries a number in identifier and data, so that a wrong frame would
// be noticed.
func numbered(n uint32) can.Frame {
	return can.Frame{ID: 0x09F80000 | n&0xFFFF, IsExtended: true, Length: 8,
		Data: can.Data{byte(n), byte(n >> 8), byte(n >> 16), byte(n >> 24), ^byte(n), 1, 2, 3}}
}

func (s *talker) some(t *testing.T, n int) {
	t.Helper()
	for range n {
		if err := s.send.TransmitFrame(context.Background(), numbered(s.next)); err != nil {
			t.Fatal(err)
		}
		if s.next++; s.next%16 == 0 {
			time.Sleep(time.Millisecond) // a bus is slower than a loop
		}
	}
}

func newTalker(t *testing.T, group string) *talker {
	t.Helper()
	conn, err := socketcan.Dial("udp", group)
	if err != nil {
		t.Skipf("no multicast here: %v", err)
	}
	t.Cleanup(func() { conn.Close() })
	return &talker{send: socketcan.NewTransmitter(conn)}
}

// freePort finds a port that is free on this machine.
func freePort(t testing.TB, network string) int {
	t.Helper()
	if network == "udp" {
		c, err := net.ListenPacket("udp4", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		return c.LocalAddr().(*net.UDPAddr).Port
	}
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// whole reads a journal: every frame is one that was sent, in order, and
// nothing in it is damaged.
func whole(t *testing.T, dir string) (numbers []uint32) {
	t.Helper()
	in, err := journal.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	var f frame.Frame
	for in.Next(&f) == nil {
		n := uint32(f.Data[0]) | uint32(f.Data[1])<<8 | uint32(f.Data[2])<<16 | uint32(f.Data[3])<<24
		if f.Frame != numbered(n) || f.IsError {
			t.Fatalf("a wrong frame: %+v", f)
		}
		if len(numbers) > 0 && n <= numbers[len(numbers)-1] {
			t.Fatalf("%d after %d", n, numbers[len(numbers)-1])
		}
		numbers = append(numbers, n)
	}
	return numbers
}

func waitFor(t *testing.T, what string, f func() bool) {
	t.Helper()
	for end := time.Now().Add(5 * time.Minute); !f(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain: %s", what)
		}
	}
}

// The program is killed again and again while frames come. Each time its
// journal opens, holds no wrong frame, and all that was on the disk before.
func TestKilledInTheMiddle(t *testing.T) {
	path, dir := program(t), t.TempDir()
	group := fmt.Sprintf("239.64.142.207:%d", freePort(t, "udp"))
	config := filepath.Join(dir, "c.yaml")
	text := fmt.Sprintf("journal: {dir: %s, sync_s: 0.1, keep_free_mb: 0}\nbus: {interfaces: ['udp:%s']}\npage: {listen: '127.0.0.1:%d'}\n",
		filepath.Join(dir, "trials"), group, freePort(t, "tcp"))
	if err := os.WriteFile(config, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	bus := newTalker(t, group)
	frames := filepath.Join(dir, "trials", "0001", "frames")
	before := 0
	for round := range 3 {
		p := start(t, path, config)
		waitFor(t, "frames are on the disk", func() bool {
			bus.some(t, 50)
			n := 0
			if _, err := os.Stat(filepath.Join(frames, "00000001.seg")); err == nil {
				n = len(whole(t, frames)) // also read while it is written
			}
			return n > before+500
		})
		bus.some(t, 37*round)
		if err := p.Process.Signal(syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
		p.Wait()
		n := len(whole(t, frames))
		if n <= before {
			t.Fatalf("round %d: %d frames, %d before", round, n, before)
		}
		before = n
	}
	p := start(t, path, config)
	waitFor(t, "it records again", func() bool { bus.some(t, 50); return len(whole(t, frames)) > before })
	if err := p.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := p.Wait(); err != nil {
		t.Fatalf("%v\n%s", err, p.log.String())
	}
	if !strings.Contains(p.log.String(), "lost=0") {
		t.Errorf("%s", p.log.String())
	}
	list, err := filepath.Glob(filepath.Join(dir, "trials", "*"))
	if err != nil || len(list) != 1 {
		t.Errorf("trials %v, %v; a restart must go on with the trial", list, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "trials", "0001", "results.json")); err != nil {
		t.Error(err)
	}
}

func TestTrialAndNoteCommands(t *testing.T) {
	dir := t.TempDir()
	config := filepath.Join(dir, "c.yaml")
	if err := os.WriteFile(config, []byte("journal: {dir: "+dir+"/trials}\ntrial: {name: invented}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) (string, error) {
		out, _, err := logd(append(args, "--config", config)...)
		return out, err
	}
	for _, args := range [][]string{{"note", "too early"}, {"trial", "close"}} {
		if _, err := run(args...); err == nil || !strings.Contains(err.Error(), "no trial is open") {
			t.Errorf("%v: %v", args, err)
		}
	}
	for _, args := range [][]string{{"trial", "list"}, {"trial", "new"}, {"trial", "new", "Sunday run"}, {"note", "tabs", "up"}, {"trial", "list"}} {
		out, err := run(args...)
		if err != nil {
			t.Fatalf("%v: %v", args, err)
		}
		if out == "" {
			t.Errorf("%v says nothing", args)
		}
	}
	book, err := logbook.Open(dir + "/trials")
	if err != nil {
		t.Fatal(err)
	}
	x, open, err := book.Current()
	if err != nil || !open || x.Name() != "Sunday run" || filepath.Base(x.Dir) != "0002-sunday-run" {
		t.Fatalf("%+v %v %v", x, open, err)
	}
	if notes, err := x.Notes(); err != nil || len(notes) != 1 || notes[0].Text != "tabs up" {
		t.Errorf("%+v %v", notes, err)
	}

	// A closed trial with frames has its results at once.
	src, err := capture.Open("../../testdata/capture/mixed.log")
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	if _, err := importTo(x.Frames(), src); err != nil {
		t.Fatal(err)
	}
	if out, err := run("trial", "close"); err != nil || !strings.Contains(out, "results in") {
		t.Errorf("%s %v", out, err)
	}
	contents(t, x.Dir)
	if out, err := run("trial", "list"); err != nil || !strings.Contains(out, "closed") || !strings.Contains(out, x.Dir) {
		t.Errorf("%s %v", out, err)
	}
}
