package main

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The sheet from finished results is that of the replay, but for the line of the
// day, which comes from the timeline, and its tables are the same files.
func TestSheetOfFinishedResults(t *testing.T) {
	dir := replayOf(t, short(t), "").dir
	to := filepath.Join(t.TempDir(), "new")
	page := filepath.Join(to, "page.html")
	stdout, _ := must(t, "sheet", "--html", page, "--csv", filepath.Join(to, "c"), "--parquet", filepath.Join(to, "p"), dir)
	for _, name := range []string{"page.html", "c/steps.csv", "c/windows.csv", "c/runs.csv", "p/steps.parquet", "p/windows.parquet", "p/runs.parquet"} {
		path := filepath.Join(to, name)
		if info, err := os.Stat(path); err != nil || info.Size() == 0 || !slices.Contains(strings.Fields(stdout), path) {
			t.Errorf("%s: %v; said:\n%s", name, err, stdout)
		}
	}
	for _, name := range []string{"steps.csv", "windows.csv"} {
		if got, want := readFile(t, filepath.Join(to, "c", name)), readFile(t, filepath.Join(dir, name)); !bytes.Equal(got, want) {
			t.Errorf("%s differs from that of the replay", name)
		}
	}
	got, want := string(readFile(t, page)), string(readFile(t, filepath.Join(dir, "sheet.html")))
	before := func(s string) string { s, _, _ = strings.Cut(s, `<div class="scroll strip">`); return s }
	after := func(s string) string { _, s, _ = strings.Cut(s, `<section class="chapter">`); return s }
	if before(got) != before(want) || after(got) != after(want) || after(got) == "" {
		t.Error("the page differs from that of the replay")
	}
	if n := strings.Count(got, `class="scroll strip"`); n != 1 {
		t.Errorf("the day is drawn in %d strips", n)
	}
	must(t, "sheet", "--units", "us", "--html", page, filepath.Join(dir, "results.json"))
	if !strings.Contains(string(readFile(t, page)), "Burn, US gal/h, against rpm") {
		t.Error("US units do not stand first where asked for")
	}
}

func readFile(t *testing.T, path string) []byte {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// A damaged timeline costs the drawing of the day, nothing else.
func TestSheetWithoutATimeline(t *testing.T) {
	dir := replayOf(t, short(t), "").dir
	line := filepath.Join(dir, "timeline.bin")
	page := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(line, []byte("not a timeline"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, stderr := must(t, "sheet", "--html", page, dir)
	if !strings.Contains(stderr, "timeline.bin") || strings.Count(stderr, "\n") != 1 {
		t.Errorf("said: %q", stderr)
	}
	if err := os.Remove(line); err != nil {
		t.Fatal(err)
	}
	if _, stderr = must(t, "sheet", "--html", page, dir); stderr != "" {
		t.Errorf("said: %q", stderr)
	}
	if !strings.Contains(string(readFile(t, page)), "No timeline lies beside these results") {
		t.Error("the page does not say why the day is not drawn")
	}
}

func TestSheetAsPDF(t *testing.T) {
	dir := replayOf(t, short(t), "").dir
	stdout, _, err := logd("sheet", "--paper", "letter", dir)
	pdf := filepath.Join(dir, "sheet.pdf")
	if err != nil && strings.Contains(err.Error(), "no browser") && os.Getenv("CI") != "true" {
		t.Skip(err)
	}
	if err != nil || strings.TrimSpace(stdout) != pdf || !bytes.HasPrefix(readFile(t, pdf), []byte("%PDF-")) {
		t.Fatalf("%v, %q", err, stdout)
	}
	// A sheet that cannot be printed leaves the one that there is.
	t.Setenv("PATH", t.TempDir())
	if _, _, err := logd("sheet", dir); err == nil || !strings.Contains(err.Error(), "apt-get install chromium") || strings.Contains(err.Error(), "\n") {
		t.Errorf("without a browser: %v", err)
	}
	if left, err := filepath.Glob(filepath.Join(dir, "*.part")); err != nil || len(left) > 0 || !bytes.HasPrefix(readFile(t, pdf), []byte("%PDF-")) {
		t.Errorf("%v, %v", left, err)
	}
}

func TestSheetSaysWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	bad := writeText(t, "results.json", `{"schema":"another/1"}`)
	for want, args := range map[string][]string{
		"allowed: a4, letter":                            {"--paper", "a3", dir},
		"allowed: metric, us":                            {"--units", "imperial", replayOf(t, short(t), "").dir},
		"give a results.json or the directory":           {filepath.Join(dir, "none")},
		`schema "another/1"`:                             {bad},
		"no such file or directory; give a results.json": {dir},
	} {
		if _, _, err := logd(append([]string{"sheet"}, args...)...); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v: %v, want %q", args, err, want)
		}
	}
}
