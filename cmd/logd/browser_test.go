package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/aboard"
	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/page"
)

// checks are programs that look at the page in Chromium.
const checks = "../../sink/page/web/test"

// inBrowser runs a check against the page at an address. Where the check asks
// for something, the action of that name is taken.
func inBrowser(t *testing.T, check, url string, actions map[string]func() error) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "node", filepath.Join(checks, check), url)
	var notes bytes.Buffer
	cmd.Stderr = &notes
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		what, ok := strings.CutPrefix(lines.Text(), "do: ")
		if !ok {
			t.Log(lines.Text())
			continue
		}
		answer := "done"
		if action := actions[what]; action == nil {
			answer = "nobody knows how"
		} else if err := action(); err != nil {
			answer = err.Error()
		}
		fmt.Fprintln(in, answer)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%s: %v\n%s", check, err, notes.Bytes())
	}
}

// browserReady skips a test where the browser or what drives it is not there,
// except in CI.
func browserReady(t *testing.T) {
	t.Helper()
	missing := ""
	for _, program := range []string{"node", "chromium"} {
		if _, err := exec.LookPath(program); err != nil {
			missing = program
		}
	}
	if _, err := os.Stat(filepath.Join(checks, "../node_modules/playwright-core")); err != nil {
		missing = "playwright-core"
	}
	if missing == "" {
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing: run .ci/browser install", missing)
	}
	t.Skipf("%s is missing", missing)
}

// quick is how many times faster than the day its frames come. The page is told
// of the day once a second, so that a pass must last for some of them.
const quick = 10

// heldDay is a day of two rpm steps, each held for long in both directions.
func heldDay(t *testing.T) recording {
	t.Helper()
	s, err := loadScenario("accuracy")
	if err != nil {
		t.Fatal(err)
	}
	s.Captain.HoldS = 90
	s.Script = []simulate.Action{
		{Do: "dock", ForS: 20}, {Do: "harbour", ForS: 20},
		{Do: "step", RPM: 1600, Passes: 2}, {Do: "step", RPM: 2400, Passes: 2}, {Do: "dock", ForS: 20},
	}
	r, err := record(s, 1)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// paced is a bus on which a capture is heard, quick times as fast as it was,
// from when it may.
type paced struct {
	*live
	may   <-chan struct{}
	first int64
	began time.Time
}

func (p *paced) Next(f *frame.Frame) error {
	if p.began.IsZero() {
		select {
		case <-p.may:
		case <-p.end:
			return io.EOF
		}
		p.began = time.Now()
	}
	err := p.live.Next(f)
	if err != nil {
		return err
	}
	if p.first == 0 {
		p.first = f.Time
	}
	wait := time.NewTimer(time.Until(p.began.Add(time.Duration(f.Time-p.first) / quick)))
	defer wait.Stop()
	select {
	case <-wait.C:
		return nil
	case <-p.end:
		return io.EOF
	}
}

// boat is a logger at work, with its page, on a bus that a test sets going.
type boat struct {
	cfg  configs.Config
	in   *capture.Reader // what the bus has still to say
	play chan struct{}
	bus  *live
	stop func()
}

// sail starts the logger.
func (b *boat) sail() error {
	b.bus = &live{Reader: b.in, done: make(chan struct{}), end: make(chan struct{})}
	listener, err := net.Listen("tcp", b.cfg.Page.Listen)
	if err != nil {
		return err
	}
	b.cfg.Page.Listen = listener.Addr().String() // the same after a restart
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	source := &paced{live: b.bus, may: b.play}
	go func() {
		defer close(ended)
		aboard.Run(ctx, aboard.Options{Config: b.cfg, Version: version, Sources: []frame.Source{source}, Write: writeResults,
			Log: slog.New(slog.DiscardHandler), Listen: func() (net.Listener, error) { return listener, nil }})
	}()
	b.stop = sync.OnceFunc(func() {
		cancel()
		<-ended
	})
	return nil
}

// finished waits until the whole capture was heard.
func (b *boat) finished() error {
	select {
	case <-b.bus.done:
		return nil
	case <-time.After(10 * time.Minute):
		return errors.New("the day does not end")
	}
}

// The page of a day that is recorded: live, through a restart, afterwards in
// every view, and amended by keyboard with the results of a replay.
func TestPageInBrowser(t *testing.T) {
	browserReady(t)
	cfg, err := configs.Parse(bytes.NewReader(boatA(t)), "demo")
	if err != nil {
		t.Fatal(err)
	}
	cfg.Journal.Dir = filepath.Join(t.TempDir(), "trials")
	cfg.Journal.SyncS = 0.1
	cfg.Bus.Interfaces = nil // the frames come from a capture
	cfg.Page.Listen = "127.0.0.1:0"
	in, err := capture.Open(heldDay(t).write(t))
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	b := &boat{cfg: cfg, in: in, play: make(chan struct{})}
	if err := b.sail(); err != nil {
		t.Fatal(err)
	}
	defer func() { b.stop() }()
	url := "http://" + b.cfg.Page.Listen

	ok := t.Run("live", func(t *testing.T) {
		inBrowser(t, "live.mjs", url, map[string]func() error{
			"play":   func() error { close(b.play); return nil },
			"stop":   func() error { b.stop(); return nil },
			"start":  b.sail,
			"finish": b.finished,
		})
	})
	if !ok {
		return
	}
	t.Run("views", func(t *testing.T) { inBrowser(t, "views.mjs", url, nil) })
	// The figures of the whole day are written when the logger is stopped.
	b.stop()
	t.Run("amend", func(t *testing.T) {
		inBrowser(t, "amend.mjs", evening(t, cfg), map[string]func() error{"compare": func() error { return sameAsReplay(t, cfg) }})
	})
	t.Run("login", func(t *testing.T) {
		const password = "a long day at sea"
		hash, err := page.HashPassword(password)
		if err != nil {
			t.Fatal(err)
		}
		cfg := cfg
		cfg.Page.PasswordFile = filepath.Join(t.TempDir(), "password")
		if err := os.WriteFile(cfg.Page.PasswordFile, []byte(hash+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		t.Setenv("PASSWORD", password)
		inBrowser(t, "login.mjs", evening(t, cfg), nil)
	})
}

// sameAsReplay compares a trial's results with those of its replay.
func sameAsReplay(t *testing.T, cfg configs.Config) error {
	trials, err := filepath.Glob(filepath.Join(cfg.Journal.Dir, "0*"))
	if err != nil || len(trials) != 1 {
		return fmt.Errorf("trials %v, %v", trials, err)
	}
	out := t.TempDir()
	if _, err := replay(cfg, []string{filepath.Join(trials[0], "frames")}, nil, out, io.Discard); err != nil {
		return err
	}
	want, got := contents(t, out), contents(t, trials[0])
	for name := range want {
		if !bytes.Equal(want[name], got[name]) {
			return fmt.Errorf("%s is not that of a replay: %s", name, difference(got[name], want[name]))
		}
	}
	return nil
}

// difference shows where two texts part.
func difference(a, b []byte) string {
	n := 0
	for n < min(len(a), len(b)) && a[n] == b[n] {
		n++
	}
	part := func(text []byte) []byte { return text[max(0, n-80):min(len(text), n+80)] }
	return fmt.Sprintf("%q, not %q", part(a), part(b))
}
