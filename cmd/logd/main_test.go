package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

var sharedDir = sync.OnceValues(func() (string, error) {
	return os.MkdirTemp("", "logd")
})

// shared is a directory that outlives the test that asks for it.
func shared(t testing.TB) string {
	t.Helper()
	dir, err := sharedDir()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestMain(m *testing.M) {
	code := m.Run()
	if dir, err := sharedDir(); err == nil {
		os.RemoveAll(dir)
	}
	os.Exit(code)
}

// logd runs the command line in process.
func logd(args ...string) (stdout, stderr string, err error) {
	var out, errs bytes.Buffer
	c := command()
	c.SetArgs(args)
	c.SetOut(&out)
	c.SetErr(&errs)
	err = c.Execute()
	return out.String(), errs.String(), err
}

// must runs the command line, which must succeed, and returns what it printed.
func must(t testing.TB, args ...string) (stdout, stderr string) {
	t.Helper()
	stdout, stderr, err := logd(args...)
	if err != nil {
		t.Fatalf("logd %s: %v", strings.Join(args, " "), err)
	}
	return stdout, stderr
}

// recording is a day as the bus carried it.
type recording struct {
	buses  []string
	frames []frame.Frame
	truth  *simulate.Truth
}

func record(s *simulate.Scenario, seed uint64) (recording, error) {
	r := recording{buses: s.Buses()}
	truth, err := s.Run(seed, func(f *frame.Frame) error {
		r.frames = append(r.frames, *f)
		return nil
	})
	r.truth = truth
	return r, err
}

// shortDay is nine minutes of the three-engine boat: three rpm steps of two
// passes each.
var shortDay = sync.OnceValues(func() (recording, error) {
	s, err := loadScenario("accuracy")
	if err != nil {
		return recording{}, err
	}
	s.Captain.HoldS = 40
	s.Script = []simulate.Action{
		{Do: "dock", ForS: 20}, {Do: "harbour", ForS: 20},
		{Do: "step", RPM: 1600, Passes: 2}, {Do: "step", RPM: 2400, Passes: 2}, {Do: "step", RPM: 2650, Passes: 2},
		{Do: "dock", ForS: 20},
	}
	return record(s, 1)
})

// short is a copy of the short day that a test may change.
func short(t testing.TB) recording {
	t.Helper()
	r, err := shortDay()
	if err != nil {
		t.Fatal(err)
	}
	r.frames = slices.Clone(r.frames)
	return r
}

// edit keeps the frames for which change returns true, as change leaves them.
func (r recording) edit(change func(f *frame.Frame, h pgn.Header) bool) recording {
	kept := r.frames[:0]
	for _, f := range r.frames {
		if change(&f, pgn.ParseID(f.ID)) {
			kept = append(kept, f)
		}
	}
	r.frames = kept
	return r
}

// without leaves out the messages of some PGNs.
func (r recording) without(pgns ...uint32) recording {
	return r.edit(func(_ *frame.Frame, h pgn.Header) bool { return !slices.Contains(pgns, h.PGN) })
}

// write writes the recording as log text and returns the file's name.
func (r recording) write(t testing.TB) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "capture.log")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriter(f)
	var line []byte
	for i := range r.frames {
		line = capture.AppendLine(line[:0], &r.frames[i], r.buses[r.frames[i].Bus])
		w.Write(append(line, '\n'))
	}
	if err := errors.Join(w.Flush(), f.Close()); err != nil {
		t.Fatal(err)
	}
	return name
}

// replayed is what a user has after a replay.
type replayed struct {
	*results.Results
	dir, stdout, stderr string
}

// replayOf replays a recording with a configuration, "" for none.
func replayOf(t testing.TB, r recording, config string) replayed {
	t.Helper()
	return replayFile(t, config, r.write(t))
}

func replayFile(t testing.TB, config string, captures ...string) replayed {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "out")
	args := []string{"replay", "--out", dir}
	if config != "" {
		args = append(args, "--config", writeText(t, "boat.yaml", config))
	}
	stdout, stderr := must(t, append(args, captures...)...)
	return replayed{readResults(t, dir), dir, stdout, stderr}
}

func readResults(t testing.TB, dir string) *results.Results {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, "results.json"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := results.ReadJSON(f)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func readTruth(t testing.TB, dir string) *simulate.Truth {
	t.Helper()
	var truth simulate.Truth
	if err := json.Unmarshal(read(t, filepath.Join(dir, "truth.json")), &truth); err != nil {
		t.Fatal(err)
	}
	return &truth
}

func read(t testing.TB, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func writeText(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// missingWhy returns why a figure is missing, "" if it is not.
func (r replayed) missingWhy(figure string) string {
	for _, m := range r.Missing {
		if m.Figure == figure {
			return m.Why
		}
	}
	return ""
}

// wantMissing asks that a figure is named as not derived, in the results and on
// the terminal.
func (r replayed) wantMissing(t *testing.T, figure, why string) {
	t.Helper()
	got := r.missingWhy(figure)
	if got == "" || !strings.Contains(got, why) {
		t.Errorf("%s is missing for %q, want a reason with %q", figure, got, why)
	}
	if !strings.Contains(r.stdout, "not derived: "+figure+": "+got) {
		t.Errorf("the terminal does not say that there is no %s:\n%s", figure, r.stdout)
	}
}
