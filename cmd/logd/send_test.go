package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
)

// Outside of a logbook a journal is whole when nobody writes it; in a logbook
// when its trial is closed, since it can be resumed until then.
func TestJournalIsFinal(t *testing.T) {
	dir := t.TempDir()
	w, err := journal.Create(dir, journal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if isFinal(dir) {
		t.Error("a journal that is being written is final")
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if !isFinal(dir) {
		t.Error("a journal that nobody writes is not final")
	}
	book, err := logbook.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	trial, err := book.New("a day", time.Now())
	if err != nil {
		t.Fatal(err)
	}
	if isFinal(trial.Frames()) {
		t.Error("the journal of an open trial is final")
	}
	if _, _, err := book.Close(time.Now()); err != nil {
		t.Fatal(err)
	}
	if !isFinal(trial.Frames()) {
		t.Error("the journal of a closed trial is not final")
	}
}

// What is missing is told in one line, with what to do.
func TestSendTellsWhatIsMissing(t *testing.T) {
	dir := t.TempDir()
	_, _, err := logd("send", "--journal", dir)
	if err == nil || !strings.Contains(err.Error(), "influx.url") {
		t.Errorf("no server: %v", err)
	}
	config := filepath.Join(dir, "boat.yaml")
	if err := os.WriteFile(config, []byte("influx: {url: 'http://127.0.0.1:1', bucket: b}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{}, {"--verify"}} {
		_, _, err = logd(append([]string{"send", "--journal", dir, "--config", config}, args...)...)
		if err == nil || !strings.Contains(err.Error(), "no frame in the journal") || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v: %v", args, err)
		}
	}
}
