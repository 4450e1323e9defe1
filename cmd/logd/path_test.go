package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/pgn"
)

// inMemory pushes a recording through the pipeline as the logger aboard does,
// frame by frame, and returns results.json.
func inMemory(t testing.TB, r recording, config string) []byte {
	t.Helper()
	cfg, err := configs.Parse(strings.NewReader(config), "boat.yaml")
	if err != nil {
		t.Fatal(err)
	}
	d := day.New(cfg, version, func() []string { return r.buses })
	for i := range r.frames {
		d.Frame(&r.frames[i])
	}
	res, _ := d.Finish(0)
	var b bytes.Buffer
	if err := res.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func compressed(t testing.TB, name string, newWriter func(io.Writer) io.WriteCloser) string {
	t.Helper()
	var b bytes.Buffer
	w := newWriter(&b)
	_, err := w.Write(read(t, name))
	if err := errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	return writeText(t, "capture.packed", b.String()) // known by content, not by name
}

func gzipped(w io.Writer) io.WriteCloser { return gzip.NewWriter(w) }

func zstandard(w io.Writer) io.WriteCloser {
	z, err := zstd.NewWriter(w)
	if err != nil {
		panic(err)
	}
	return z
}

// checkOnePath replays the same frames in every form there is; all must give
// the same results, byte for byte.
func checkOnePath(t *testing.T, log, config string, memory []byte) {
	t.Helper()
	tmp := t.TempDir()
	journal, pcapng, again := filepath.Join(tmp, "journal"), filepath.Join(tmp, "capture.pcapng"), filepath.Join(tmp, "again.log")
	must(t, "import", "--journal", journal, log)
	must(t, "export", "--format", "pcapng", "--out", pcapng, journal)
	must(t, "export", "--format", "canlog", "--out", again, journal)
	if !bytes.Equal(read(t, again), read(t, log)) {
		t.Error("log text is not the same after import to a journal and export")
	}
	want := replayFile(t, config, log)
	if got := read(t, filepath.Join(want.dir, "results.json")); !bytes.Equal(got, memory) {
		t.Error("results of the log text differ from those of the same frames in memory")
	}
	for form, name := range map[string]string{
		"gzip": compressed(t, log, gzipped), "zstd": compressed(t, log, zstandard), "pcapng": pcapng, "journal": journal,
	} {
		got := replayFile(t, config, name)
		for _, file := range []string{"results.json", "sheet.html", "steps.csv", "windows.csv", "timeline.bin"} {
			if !bytes.Equal(read(t, filepath.Join(got.dir, file)), read(t, filepath.Join(want.dir, file))) {
				t.Errorf("%s of %s differs from that of log text", file, form)
			}
		}
		if got.stderr != "" {
			t.Errorf("%s: %s", form, got.stderr)
		}
	}
}

func TestOnePathForEveryForm(t *testing.T) {
	t.Parallel()
	r := short(t)
	checkOnePath(t, r.write(t), string(boatA(t)), inMemory(t, r, string(boatA(t))))
}

// A day in several files is the day; two buses stay two.
func TestSeveralCapturesAreOneDay(t *testing.T) {
	t.Parallel()
	r := short(t)
	r.buses = []string{"can0", "can1"}
	for i := range r.frames {
		if pgn.ParseID(r.frames[i].ID).Source >= 32 {
			r.frames[i].Bus = 1
		}
	}
	first, second := r, r
	first.frames, second.frames = r.frames[:len(r.frames)/3], r.frames[len(r.frames)/3:]
	whole := replayOf(t, r, "")
	parts := replayFile(t, "", first.write(t), second.write(t))
	if !bytes.Equal(read(t, filepath.Join(whole.dir, "results.json")), read(t, filepath.Join(parts.dir, "results.json"))) {
		t.Error("two captures give another day than both in one")
	}
	journal := filepath.Join(t.TempDir(), "journal")
	must(t, "import", "--journal", journal, first.write(t))
	must(t, "import", "--journal", journal, second.write(t))
	if !bytes.Equal(inMemory(t, r, ""), read(t, filepath.Join(replayFile(t, "", journal).dir, "results.json"))) {
		t.Error("a journal filled in two goes gives another day")
	}
	buses := map[string]bool{}
	for _, d := range whole.Devices {
		buses[d.Bus] = true
	}
	if len(buses) != 2 {
		t.Errorf("buses of the devices: %v", buses)
	}
}

func TestReplayTwiceIsTheSame(t *testing.T) {
	t.Parallel()
	log, dir := short(t).write(t), t.TempDir()
	files := []string{"results.json", "sheet.html", "steps.csv", "windows.csv", "timeline.bin"}
	var first [][]byte
	for round := range 2 {
		must(t, "replay", "--out", dir, log)
		for i, f := range files {
			text := read(t, filepath.Join(dir, f))
			if round == 0 {
				first = append(first, text)
			} else if !bytes.Equal(text, first[i]) {
				t.Errorf("%s differs in a second replay to the same place", f)
			}
		}
	}
}

func TestExportedSamples(t *testing.T) {
	t.Parallel()
	r := short(t)
	out := filepath.Join(t.TempDir(), "samples.csv")
	stdout, _ := must(t, "export", "--format", "csv", "--out", out, r.write(t))
	rows, err := csv.NewReader(bytes.NewReader(read(t, out))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	quantities := map[string]int{}
	last := ""
	for _, row := range rows[1:] {
		quantities[row[column["quantity"]]]++
		at := row[column["time_utc"]]
		if at < last || !strings.HasSuffix(at, "Z") {
			t.Fatalf("time %s after %s", at, last)
		}
		last = at
	}
	for _, q := range []pgn.Quantity{pgn.EngineSpeed, pgn.SpeedOverGround, pgn.FuelRate, pgn.Heading} {
		if quantities[q.String()] < 100 {
			t.Errorf("%d samples of %v", quantities[q.String()], q)
		}
	}
	if !strings.Contains(stdout, "samples in "+out) || len(rows) < 10000 {
		t.Errorf("%d rows: %s", len(rows), stdout)
	}
	parquet := filepath.Join(t.TempDir(), "samples.parquet")
	must(t, "export", "--format", "parquet", "--out", parquet, r.write(t))
	if text := read(t, parquet); !bytes.HasPrefix(text, []byte("PAR1")) || !bytes.HasSuffix(text, []byte("PAR1")) {
		t.Error("no Parquet file")
	}
}

// An export or a simulation that fails leaves no half a file.
func TestFailedExportLeavesNoFile(t *testing.T) {
	t.Parallel()
	out := filepath.Join(t.TempDir(), "x.csv")
	if _, _, err := logd("export", "--format", "csv", "--out", out, writeText(t, "garbage.log", "no frame\n")); err == nil {
		t.Error("garbage was exported")
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a file is left behind")
	}
}

func TestBinary(t *testing.T) {
	t.Parallel()
	name := filepath.Join(shared(t), "logd")
	if out, err := exec.Command("go", "build", "-o", name, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	run := func(args ...string) (stdout, stderr string, code int) {
		var out, errs bytes.Buffer
		c := exec.Command(name, args...)
		c.Stdout, c.Stderr = &out, &errs
		err := c.Run()
		if _, exited := err.(*exec.ExitError); err != nil && !exited {
			t.Fatal(err)
		}
		return out.String(), errs.String(), c.ProcessState.ExitCode()
	}
	out := filepath.Join(t.TempDir(), "out")
	stdout, stderr, code := run("replay", "--out", out, short(t).write(t))
	if code != 0 || stderr != "" || !strings.Contains(stdout, "sheet: "+filepath.Join(out, "sheet.html")) {
		t.Errorf("replay: exit %d\n%s\n%s", code, stdout, stderr)
	}
	checkResults(t, out)
	garbage := writeText(t, "garbage.log", "no frame\n")
	faulty := writeText(t, "boat.yaml", "vessel: {length_m: 1}\nfuel: {kind: coal}\n")
	for _, c := range []struct {
		lines int
		args  []string
	}{
		{1, []string{"replay", "--out", out, garbage}},
		{1, []string{"replay", "--out", out, "none.log"}},
		{2, []string{"replay", "--config", faulty, "--out", out, garbage}},
		{1, []string{"replay", "--colour"}},
		{1, []string{"sail"}},
	} {
		stdout, stderr, code := run(c.args...)
		if code != 1 || stdout != "" || strings.Count(stderr, "\n") != c.lines || !strings.HasPrefix(stderr, "logd: ") {
			t.Errorf("%v: exit %d, %d lines\n%s\n%s", c.args, code, strings.Count(stderr, "\n"), stdout, stderr)
		}
		if strings.Contains(stderr, "goroutine") {
			t.Errorf("%v: a panic: %s", c.args, stderr)
		}
	}
	if stdout, _, code := run("--version"); code != 0 || !strings.Contains(stdout, version) {
		t.Errorf("version: exit %d, %q", code, stdout)
	}
	if stdout, _, code := run("--help"); code != 0 || !strings.Contains(stdout, "replay") {
		t.Errorf("help: exit %d, %q", code, stdout)
	}
}
