// Package logbook keeps one directory for each trial day.
//
//	0007-sea-trial/
//	    trial.json    name, when it was begun and closed
//	    pulse.json    when a frame was last kept
//	    notes.txt     what people noted, one line each
//	    amendments.jsonl
//	                  which windows people excluded or merged, and why
//	    frames/       the journal
//	    evidence.gob.zst
//	                  what figures are derived again from; may be deleted
//	    results.json, sheet.html, steps.csv, windows.csv
//
// # Invariants
//
//   - Numbers count up and never depend on a clock.
//   - At most one trial is open: the one of the highest number, unless it is
//     closed. Beginning another closes it. A closed trial is never opened again.
//   - A directory under its final name has a whole trial.json. Files are
//     replaced whole or not at all.
//   - Only whole trials are ever deleted, only closed ones, and only when
//     FreeOldest is called.
//   - Notes and amendments are only ever added to.
//
// Programs that begin and close trials exclude each other by a lock on the
// directory; who writes frames is excluded by the journal's own.
//
// # Times
//
// All times of day here are by the recorder's clock, which can be wrong, and
// are for people to read. What the program decides by them is said at Fresh.
package logbook

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Logbook is the directory of all trials.
type Logbook struct{ dir string }

// Open opens the logbook in dir, which is made if there is none.
func Open(dir string) (*Logbook, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("logbook: %w; check journal.dir and its rights", err)
	}
	return &Logbook{dir}, nil
}

// Dir is the directory of the logbook.
func (l *Logbook) Dir() string { return l.dir }

// Trials lists the trials by number. A directory whose trial.json cannot be
// read is not a trial.
func (l *Logbook) Trials() ([]Trial, error) {
	entries, err := os.ReadDir(l.dir)
	if err != nil {
		return nil, fmt.Errorf("logbook: %w", err)
	}
	var list []Trial
	for _, e := range entries {
		n, ok := number(e.Name())
		if !ok || !e.IsDir() {
			continue
		}
		t := Trial{Dir: filepath.Join(l.dir, e.Name()), Number: n}
		if readJSON(filepath.Join(t.Dir, trialFile), &t.about) == nil {
			list = append(list, t)
		}
	}
	slices.SortFunc(list, func(a, b Trial) int { return cmp.Compare(a.Number, b.Number) })
	return list, nil
}

// Current is the open trial; ok is false if there is none.
func (l *Logbook) Current() (t Trial, ok bool, err error) {
	list, err := l.Trials()
	if err != nil || len(list) == 0 {
		return Trial{}, false, err
	}
	t = list[len(list)-1]
	return t, !t.Closed(), nil
}

// New begins a trial and closes the one that is open. Name may be empty.
func (l *Logbook) New(name string, now time.Time) (Trial, error) {
	name, err := line("name of a trial", name, maxName)
	if err != nil {
		return Trial{}, err
	}
	unlock, err := l.lock()
	if err != nil {
		return Trial{}, err
	}
	defer unlock()
	if _, _, err := l.close(now); err != nil {
		return Trial{}, err
	}
	n, err := l.next()
	if err != nil {
		return Trial{}, err
	}
	t := Trial{Number: n, about: about{Format: format, Name: name, Begun: stamp(now)}}
	t.Dir = filepath.Join(l.dir, fmt.Sprintf("%04d", n)+slug(name))
	return t, l.create(&t)
}

// create makes the directory of a trial under another name first.
func (l *Logbook) create(t *Trial) error {
	making := filepath.Join(l.dir, "making")
	if err := os.RemoveAll(making); err != nil {
		return fmt.Errorf("logbook: %w", err)
	}
	if err := os.MkdirAll(filepath.Join(making, framesDir), 0o755); err != nil {
		return fmt.Errorf("logbook: %w; check journal.dir and its rights", err)
	}
	if err := writeJSON(filepath.Join(making, trialFile), &t.about); err != nil {
		return err
	}
	if err := os.Rename(making, t.Dir); err != nil {
		return fmt.Errorf("logbook: %w", err)
	}
	return syncDir(l.dir)
}

// next is the number after the highest used, by a trial or anything else.
func (l *Logbook) next() (int, error) {
	entries, err := os.ReadDir(l.dir)
	if err != nil {
		return 0, fmt.Errorf("logbook: %w", err)
	}
	highest := 0
	for _, e := range entries {
		if n, ok := number(e.Name()); ok {
			highest = max(highest, n)
		}
	}
	return highest + 1, nil
}

// Close closes the open trial; ok is false if none was open.
func (l *Logbook) Close(now time.Time) (t Trial, ok bool, err error) {
	unlock, err := l.lock()
	if err != nil {
		return Trial{}, false, err
	}
	defer unlock()
	return l.close(now)
}

func (l *Logbook) close(now time.Time) (Trial, bool, error) {
	t, open, err := l.Current()
	if err != nil || !open {
		return t, false, err
	}
	t.about.Closed = stamp(now)
	return t, true, t.save()
}

// FreeOldest deletes the oldest closed trial; ok is false if there is none.
func (l *Logbook) FreeOldest() (t Trial, ok bool, err error) {
	unlock, err := l.lock()
	if err != nil {
		return Trial{}, false, err
	}
	defer unlock()
	list, err := l.Trials()
	if err != nil || len(list) == 0 || !list[0].Closed() {
		return Trial{}, false, err
	}
	t = list[0]
	if err := l.remove(&t, len(list) == 1); err != nil {
		return t, false, fmt.Errorf("logbook: %w", err)
	}
	return t, true, nil
}

// remove deletes a trial, under another name: one that is half deleted when the
// power goes is no trial any more, and is deleted wholly the next time. The last
// trial leaves an empty directory, so that its number is not given again.
func (l *Logbook) remove(t *Trial, last bool) error {
	going := filepath.Join(l.dir, "deleting")
	if err := os.RemoveAll(going); err != nil {
		return err
	}
	if err := os.Rename(t.Dir, going); err != nil {
		return err
	}
	if last {
		if err := os.Mkdir(t.Dir, 0o755); err != nil {
			return err
		}
	}
	return os.RemoveAll(going)
}

// lock keeps other programs from changing the list of trials; it waits for
// those that are at it, which takes them a moment.
func (l *Logbook) lock() (unlock func(), err error) {
	d, err := os.Open(l.dir)
	if err != nil {
		return nil, fmt.Errorf("logbook: %w", err)
	}
	if err := lockFile(d); err != nil {
		d.Close()
		return nil, fmt.Errorf("logbook: cannot lock %s: %w", l.dir, err)
	}
	return func() { d.Close() }, nil
}

// number reads the number in the name of a trial's directory.
func number(name string) (int, bool) {
	digits, _, _ := strings.Cut(name, "-")
	n, err := strconv.Atoi(digits)
	return n, err == nil && n > 0 && len(digits) >= 4 && !strings.ContainsAny(digits, "+_ ")
}

// slug is what of a trial's name can stand in a file name.
func slug(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= 40 {
			break
		}
	}
	s := strings.Trim(b.String(), "-")
	if s == "" {
		return ""
	}
	return "-" + s
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("logbook: %w", err)
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, fs.ErrInvalid) {
		return fmt.Errorf("logbook: %w", err)
	}
	return nil
}
