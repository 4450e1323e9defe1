package logbook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

const (
	amendmentsFile = "amendments.jsonl"

	maxAmendments = 1000    // of one trial
	maxSpans      = 100     // of one amendment
	maxAmendText  = 500     // bytes of the reason
	maxAmendFile  = 4 << 20 // bytes, more than maxAmendments of any sensible size
)

// The actions of an amendment.
const (
	Exclude  = "exclude"
	Merge    = "merge"
	Withdraw = "withdraw"
)

// Amendment is what a person decided of a trial's windows: one line of
// amendments.jsonl. The frames, and what was found in them, are never altered.
type Amendment struct {
	ID     int    `json:"id"`   // from 1, rising
	Time   string `json:"time"` // RFC 3339, by the recorder's clock
	Name   string `json:"name"` // of the person
	Reason string `json:"reason"`
	Action string `json:"action"`
	// Windows are those that Exclude and Merge concern.
	Windows []Span `json:"windows"`
	// Withdraws is the amendment that Withdraw takes back; else 0.
	Withdraws int `json:"withdraws"`
}

// Span names a window by its time, since another version of the program may
// number windows otherwise.
type Span struct {
	Start string `json:"start"` // RFC 3339, UTC as it was known then
	End   string `json:"end"`
	// FromS and ToS are the same in s after the first frame of the trial. They
	// hold when UTC is corrected later; null where the frames may be others.
	FromS *float64 `json:"from_s"`
	ToS   *float64 `json:"to_s"`
}

// Refused is why an amendment is not taken: what is wrong with it, not with the
// disk.
type Refused string

func (r Refused) Error() string { return string(r) }

// String names the span for people.
func (s Span) String() string { return "from " + s.Start + " to " + s.End }

// Amend appends an amendment to the trial's, with the next id and the time by
// the recorder's clock, and returns it as it was kept. It is on the disk when
// Amend returns. An error that is Refused is of what was asked for.
//
// Programs that amend exclude each other by a lock on the file. What a power cut
// left of a line, which nobody was told of as kept, is cut off.
func (t *Trial) Amend(a Amendment, now time.Time) (Amendment, error) {
	path := filepath.Join(t.Dir, amendmentsFile)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return a, fmt.Errorf("logbook: %w", err)
	}
	defer f.Close() // ends the lock; what was written is on the disk by then
	if err := lockFile(f); err != nil {
		return a, fmt.Errorf("logbook: cannot lock %s: %w", path, err)
	}
	before, err := readAmendments(f)
	if err != nil {
		return a, err
	}
	a.ID, a.Time = before.last+1, stamp(now)
	if a.Name, err = line("name", a.Name, maxName); err == nil {
		a.Reason, err = line("reason", a.Reason, maxAmendText)
	}
	if err == nil {
		err = a.check()
	}
	if err == nil && a.Withdraws != 0 && !slices.ContainsFunc(before.list, func(o Amendment) bool { return o.ID == a.Withdraws }) {
		err = fmt.Errorf("there is no amendment %d to withdraw", a.Withdraws)
	}
	if err == nil && len(before.list) >= maxAmendments {
		err = fmt.Errorf("the trial has %d amendments, and no more are kept", maxAmendments)
	}
	if err != nil {
		return a, Refused(err.Error())
	}
	if err := f.Truncate(before.whole); err != nil {
		return a, fmt.Errorf("logbook: %w", err)
	}
	if err := appendLine(f, &a); err != nil {
		return a, fmt.Errorf("logbook: the amendment is not kept: %w", errors.Join(err, f.Truncate(before.whole)))
	}
	return a, syncDir(t.Dir)
}

func appendLine(f *os.File, a *Amendment) error {
	text, err := json.Marshal(a)
	if err != nil {
		return err
	}
	if _, err := f.Write(append(text, '\n')); err != nil {
		return err
	}
	return f.Sync()
}

// Amendments reads the trial's amendments by rising id. Faults tell, one
// sentence each, what of the file could not be read; the rest counts.
func (t *Trial) Amendments() (list []Amendment, faults []string, err error) {
	list, faults, err = ReadAmendments(filepath.Join(t.Dir, amendmentsFile))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil, nil
	}
	return list, faults, err
}

// AmendmentsSize is that of the file in bytes, which tells when it has grown.
func (t *Trial) AmendmentsSize() int64 {
	info, err := os.Stat(filepath.Join(t.Dir, amendmentsFile))
	if err != nil {
		return 0
	}
	return info.Size()
}

// ReadAmendments reads the amendments in a file; see Trial.Amendments.
func ReadAmendments(path string) (list []Amendment, faults []string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, fmt.Errorf("logbook: %w", err)
	}
	defer f.Close()
	p, err := readAmendments(f)
	return p.list, p.faults, err
}

// parsed is what an amendments.jsonl holds.
type parsed struct {
	list   []Amendment
	faults []string
	last   int   // highest id
	whole  int64 // bytes up to the end of the last whole line
}

func readAmendments(f *os.File) (parsed, error) {
	text, err := io.ReadAll(io.LimitReader(f, maxAmendFile+1))
	if err != nil {
		return parsed{}, fmt.Errorf("logbook: %w", err)
	}
	if len(text) > maxAmendFile {
		return parsed{}, fmt.Errorf("logbook: %s has more than %d MB: it is not a file of amendments", f.Name(), maxAmendFile>>20)
	}
	return parseAmendments(text, filepath.Base(f.Name())), nil
}

// parseAmendments takes what it can. A line without its end was being written
// when the power went.
func parseAmendments(text []byte, file string) parsed {
	var p parsed
	for n := 1; len(text) > 0; n++ {
		end := bytes.IndexByte(text, '\n')
		if end < 0 {
			p.faults = append(p.faults, fmt.Sprintf("line %d of %s is cut off", n, file))
			break
		}
		a, err := parseAmendment(text[:end], p.last)
		switch {
		case err != nil:
			p.faults = append(p.faults, fmt.Sprintf("line %d of %s: %v", n, file, err))
		case len(p.list) == maxAmendments:
			p.faults = append(p.faults, fmt.Sprintf("line %d of %s and what follows is not read: only %d amendments are", n, file, maxAmendments))
			return p
		default:
			p.list = append(p.list, a)
		}
		p.last = max(p.last, a.ID)
		p.whole += int64(end) + 1
		text = text[end+1:]
	}
	return p
}

func parseAmendment(text []byte, last int) (a Amendment, err error) {
	if err := json.Unmarshal(text, &a); err != nil {
		return Amendment{}, errors.New("it is no amendment in JSON")
	}
	if a.ID <= last || a.ID > maxID {
		return Amendment{}, fmt.Errorf("its id %d does not follow on %d", a.ID, last)
	}
	if _, err := time.Parse(time.RFC3339, a.Time); err != nil {
		return Amendment{}, errors.New("its time is not in RFC 3339")
	}
	return a, a.check()
}

// maxID keeps a mistaken id from making all later ones impossible.
const maxID = 1 << 30

// check tells what is wrong with an amendment, beside its id and time.
func (a *Amendment) check() error {
	for _, text := range []struct {
		what, is string
		limit    int
	}{{"name", a.Name, maxName}, {"reason", a.Reason, maxAmendText}} {
		plain, err := line(text.what, text.is, text.limit)
		switch {
		case err != nil:
			return err
		case plain == "":
			return fmt.Errorf("the %s is missing", text.what)
		case plain != text.is || strings.ContainsAny(plain, turning):
			return fmt.Errorf("the %s has characters that are not shown", text.what)
		}
	}
	least := map[string]int{Exclude: 1, Merge: 2, Withdraw: 0}
	n, ok := least[a.Action]
	switch {
	case !ok:
		return fmt.Errorf("the action %.20q is not exclude, merge or withdraw", a.Action)
	case a.Action == Withdraw && (len(a.Windows) > 0 || a.Withdraws < 1 || a.Withdraws >= a.ID):
		return errors.New("a withdrawal names one earlier amendment, and no windows")
	case a.Action != Withdraw && a.Withdraws != 0:
		return fmt.Errorf("only a withdrawal takes an amendment back")
	case len(a.Windows) < n || len(a.Windows) > maxSpans:
		return fmt.Errorf("it names %d windows; %s takes %d to %d", len(a.Windows), a.Action, n, maxSpans)
	}
	for _, s := range a.Windows {
		if err := s.check(); err != nil {
			return err
		}
	}
	return nil
}

// turning are the characters that change the direction of what follows, by
// which a text can be shown as another (Unicode Standard Annex 9).
const turning = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"

func (s *Span) check() error {
	from, err := time.Parse(time.RFC3339, s.Start)
	if err != nil {
		return fmt.Errorf("the start %.40q of a window is not in RFC 3339", s.Start)
	}
	to, err := time.Parse(time.RFC3339, s.End)
	if err != nil {
		return fmt.Errorf("the end %.40q of a window is not in RFC 3339", s.End)
	}
	if !from.Before(to) || (s.FromS == nil) != (s.ToS == nil) || s.FromS != nil && !(*s.FromS < *s.ToS) {
		return errors.New("a window ends before it starts")
	}
	return nil
}

// lockFile waits for other programs, which takes them a moment.
func lockFile(f *os.File) error {
	for {
		if err := unix.Flock(int(f.Fd()), unix.LOCK_EX); err != unix.EINTR {
			return err
		}
	}
}
