package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestCompareCommand(t *testing.T) {
	day := replayOf(t, short(t), "")
	dir := t.TempDir()
	out := filepath.Join(dir, "both")
	stdout, _ := must(t, "compare", "--out", out, day.dir, filepath.Join(day.dir, "results.json"))
	rows := 0
	for _, line := range strings.Split(stdout, "\n") {
		if !strings.Contains(line, "±") {
			continue
		}
		rows++
		if strings.Contains(line, "*") {
			t.Errorf("a day differs from itself: %s", line)
		}
	}
	if rows != len(day.Steps) {
		t.Errorf("%d of %d steps are compared:\n%s", rows, len(day.Steps), stdout)
	}
	for _, name := range []string{"compare.html", "compare.csv"} {
		if text, err := os.ReadFile(filepath.Join(out, name)); err != nil || len(text) == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := logd("compare", dir, day.dir); err == nil || !strings.Contains(err.Error(), "directory that replay wrote") {
		t.Errorf("a directory without results: %v", err)
	}
	csv := filepath.Join(out, "compare.csv")
	if _, _, err := logd("compare", day.dir, csv); err == nil || !strings.Contains(err.Error(), csv) {
		t.Errorf("a file that is no results: %v", err)
	}
}

func TestReplayWithReadings(t *testing.T) {
	capture := short(t).write(t)
	notes := writeText(t, "notes.csv", "rpm,sound_dba,comment\n2400,80,helm\n2400,82,helm\n4000,99,\n")
	dir := t.TempDir()
	stdout, _ := must(t, "replay", "--readings", notes, "--out", filepath.Join(dir, "out"), capture)
	if !strings.Contains(stdout, "hand readings on line 4") {
		t.Errorf("the reading at 4000 rpm is not told:\n%s", stdout)
	}
	r := readResults(t, filepath.Join(dir, "out"))
	if len(r.Readings) != 3 || r.Readings[0].Step == nil {
		t.Fatalf("%+v", r.Readings)
	}
	// 80 and 82 dB: 10*lg((1e8+1.585e8)/2) = 81.11 dB.
	if got := r.Steps[*r.Readings[0].Step-1].SoundDBA; got == nil || *got < 81.10 || *got > 81.13 {
		t.Errorf("sound %v", got)
	}
	for _, s := range r.Steps {
		if want := map[bool]string{true: "helm"}[s.ID == *r.Readings[0].Step]; s.Note != want {
			t.Errorf("note of step %d: %q, want %q", s.ID, s.Note, want)
		}
	}
	bad := writeText(t, "notes.csv", "rpm,sound_dba\n2400,loud\n")
	if _, _, err := logd("replay", "--readings", bad, "--out", filepath.Join(dir, "no"), capture); err == nil || !strings.Contains(err.Error(), "notes.csv:2:") {
		t.Errorf("a bad file of readings: %v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, "no")); err == nil {
		t.Error("results were written in spite of a bad file of readings")
	}
}
