package logbook

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/sys/unix"
)

const (
	format    = 1
	trialFile = "trial.json"
	pulseFile = "pulse.json"
	notesFile = "notes.txt"
	framesDir = "frames"

	maxName = 100  // bytes
	maxNote = 2000 // bytes
)

// Trial is one trial day.
type Trial struct {
	Dir    string
	Number int
	about  about
}

// about is trial.json.
type about struct {
	Format  int    `json:"format"`
	Name    string `json:"name"`
	Begun   string `json:"begun"`   // RFC 3339, by the recorder's clock
	Closed  string `json:"closed"`  // "" while it is open
	Derived bool   `json:"derived"` // the results are those of all frames
}

// Name is what people call the trial; it can be empty.
func (t *Trial) Name() string { return t.about.Name }

// Begun is when the trial was begun, by the recorder's clock.
func (t *Trial) Begun() string { return t.about.Begun }

// Closed reports whether the trial is closed.
func (t *Trial) Closed() bool { return t.about.Closed != "" }

// ClosedAt is when that was, by the recorder's clock; "" while it is open.
func (t *Trial) ClosedAt() string { return t.about.Closed }

// Derived reports whether the results are those of all frames.
func (t *Trial) Derived() bool { return t.about.Derived }

// Frames is the directory of the journal.
func (t *Trial) Frames() string { return filepath.Join(t.Dir, framesDir) }

// String names the trial for people.
func (t *Trial) String() string {
	if t.about.Name == "" {
		return fmt.Sprintf("trial %d", t.Number)
	}
	return fmt.Sprintf("trial %d, %s", t.Number, t.about.Name)
}

// Reload reads trial.json again: another program can have closed the trial.
func (t *Trial) Reload() error { return readJSON(filepath.Join(t.Dir, trialFile), &t.about) }

// SetDerived notes that the results are those of all frames.
func (t *Trial) SetDerived() error {
	if err := t.Reload(); err != nil {
		return err
	}
	t.about.Derived = true
	return t.save()
}

func (t *Trial) save() error { return writeJSON(filepath.Join(t.Dir, trialFile), &t.about) }

// Size is that of the journal in bytes.
func (t *Trial) Size() int64 {
	entries, _ := os.ReadDir(t.Frames())
	var n int64
	for _, e := range entries {
		if info, err := e.Info(); err == nil {
			n += info.Size()
		}
	}
	return n
}

// Busy reports whether a logger is writing frames to the trial. It looks at the
// lock of the journal without keeping it.
func (t *Trial) Busy() bool {
	d, err := os.Open(t.Frames())
	if err != nil {
		return false
	}
	defer d.Close()
	return errors.Is(unix.Flock(int(d.Fd()), unix.LOCK_SH|unix.LOCK_NB), unix.EWOULDBLOCK)
}

// Note appends a line to the notes of the trial, with the time by the
// recorder's clock. It is on the disk when Note returns.
func (t *Trial) Note(text string, now time.Time) error {
	text, err := line("note", text, maxNote)
	if err == nil && text == "" {
		err = errors.New("the note is empty; write some words")
	}
	if err != nil {
		return err
	}
	f, err := os.OpenFile(filepath.Join(t.Dir, notesFile), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return fmt.Errorf("logbook: %w", err)
	}
	_, err = f.WriteString(stamp(now) + " " + text + "\n")
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("logbook: the note is not kept: %w", err)
	}
	return nil
}

// Note is one line of the notes.
type Note struct {
	Time string // RFC 3339, by the recorder's clock
	Text string
}

// Notes reads the notes in the order in which they were made.
func (t *Trial) Notes() ([]Note, error) {
	b, err := os.ReadFile(filepath.Join(t.Dir, notesFile))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("logbook: %w", err)
	}
	var list []Note
	for text := range strings.Lines(string(b)) {
		if when, text, ok := strings.Cut(strings.TrimSuffix(text, "\n"), " "); ok {
			list = append(list, Note{when, text})
		}
	}
	return list, nil
}

// line makes one line of what a person wrote.
func line(what, text string, limit int) (string, error) {
	if !utf8.ValidString(text) {
		return "", fmt.Errorf("the %s is not text in UTF-8", what)
	}
	text = strings.Join(strings.FieldsFunc(text, func(r rune) bool {
		return unicode.IsSpace(r) || unicode.IsControl(r)
	}), " ")
	if len(text) > limit {
		return "", fmt.Errorf("the %s has %d bytes; at most %d are kept: shorten it", what, len(text), limit)
	}
	return text, nil
}

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z07:00") }

// writeJSON replaces a file whole and waits until it is on the disk.
func writeJSON(path string, v any) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	f, err := os.Create(path + ".part")
	if err != nil {
		return fmt.Errorf("logbook: %w", err)
	}
	_, err = f.Write(append(b, '\n'))
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(path+".part", path)
	}
	if err != nil {
		return fmt.Errorf("logbook: %w", err)
	}
	return syncDir(filepath.Dir(path))
}

func readJSON(path string, v any) error {
	b, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("logbook: %w", err)
	}
	if err := json.Unmarshal(b, v); err != nil {
		return fmt.Errorf("logbook: %s: %w", path, err)
	}
	return nil
}
