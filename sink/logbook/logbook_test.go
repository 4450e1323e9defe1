package logbook

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"golang.org/x/sys/unix"
)

var day = time.Date(2031, 5, 4, 7, 30, 0, 0, time.UTC)

func book(t *testing.T) *Logbook {
	t.Helper()
	l, err := Open(filepath.Join(t.TempDir(), "trials"))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func begin(t *testing.T, l *Logbook, name string) Trial {
	t.Helper()
	x, err := l.New(name, day)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func TestANewTrialClosesTheOneBefore(t *testing.T) {
	l := book(t)
	if _, open, err := l.Current(); open || err != nil {
		t.Fatalf("a trial is open in an empty logbook: %v", err)
	}
	begin(t, l, "first")
	second := begin(t, l, "Second, äöü / run!")
	list, err := l.Trials()
	if err != nil || len(list) != 2 || !list[0].Closed() || list[1].Closed() {
		t.Fatalf("%+v, %v", list, err)
	}
	now, open, err := l.Current()
	if err != nil || !open || now.Number != 2 || now.Name() != "Second, äöü / run!" || now.Dir != second.Dir {
		t.Errorf("%+v, %v", now, err)
	}
	if got := filepath.Base(now.Dir); got != "0002-second-run" {
		t.Errorf("directory %s", got)
	}
	if now.Begun() != "2031-05-04T07:30:00.000Z" || now.Derived() {
		t.Errorf("%+v", now)
	}
}

func TestNumbersAreNeverGivenTwice(t *testing.T) {
	l := book(t)
	begin(t, l, "")
	if _, ok, err := l.Close(day); !ok || err != nil {
		t.Fatal(err)
	}
	if x, ok, err := l.FreeOldest(); !ok || err != nil || x.Number != 1 {
		t.Fatalf("%+v %v %v", x, ok, err)
	}
	if list, _ := l.Trials(); len(list) != 0 {
		t.Errorf("still there: %+v", list)
	}
	if x := begin(t, l, ""); x.Number != 2 {
		t.Errorf("number %d after a deleted one", x.Number)
	}
}

func TestOnlyClosedTrialsAreFreedOldestFirst(t *testing.T) {
	l := book(t)
	for range 3 {
		begin(t, l, "")
	}
	var freed []int
	for {
		x, ok, err := l.FreeOldest()
		if err != nil {
			t.Fatal(err)
		}
		if !ok {
			break
		}
		freed = append(freed, x.Number)
	}
	if fmt.Sprint(freed) != "[1 2]" {
		t.Errorf("freed %v, want the two closed ones", freed)
	}
	if x, open, _ := l.Current(); !open || x.Number != 3 {
		t.Error("the open trial is gone")
	}
}

func TestClosingNothingIsNoError(t *testing.T) {
	l := book(t)
	if _, ok, err := l.Close(day); ok || err != nil {
		t.Errorf("%v, %v", ok, err)
	}
	begin(t, l, "")
	if x, ok, err := l.Close(day); !ok || err != nil || !x.Closed() {
		t.Errorf("%v, %v", ok, err)
	}
	if _, ok, _ := l.Close(day); ok {
		t.Error("closed twice")
	}
}

func TestWhatIsNoTrialIsPassedOver(t *testing.T) {
	l := book(t)
	begin(t, l, "")
	for _, name := range []string{"making", "0007-unfinished", "12", "notes", "0000"} {
		if err := os.MkdirAll(filepath.Join(l.Dir(), name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(l.Dir(), "0009"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(l.Dir(), "0007-unfinished", trialFile), []byte("{"), 0o644); err != nil {
		t.Fatal(err)
	}
	if list, err := l.Trials(); err != nil || len(list) != 1 {
		t.Errorf("%+v, %v", list, err)
	}
	if x := begin(t, l, ""); x.Number != 10 {
		t.Errorf("number %d would meet what is there", x.Number)
	}
}

func TestManyProgramsBeginTrials(t *testing.T) {
	l := book(t)
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			if _, err := l.New("x", day); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	list, err := l.Trials()
	if err != nil || len(list) != 20 {
		t.Fatalf("%d trials, %v", len(list), err)
	}
	for i, x := range list {
		if x.Number != i+1 || x.Closed() != (i < 19) {
			t.Errorf("trial %d: number %d, closed %v", i, x.Number, x.Closed())
		}
	}
}

func TestNamesAndNotesAreOneLine(t *testing.T) {
	l := book(t)
	x := begin(t, l, "two\nlines\tand \x00 more")
	if x.Name() != "two lines and more" {
		t.Errorf("name %q", x.Name())
	}
	if _, err := l.New(strings.Repeat("n", maxName+1), day); err == nil {
		t.Error("an endless name was taken")
	}
	for _, text := range []string{"trim tabs half down", "second\nline", " wind 12 kn "} {
		if err := x.Note(text, day); err != nil {
			t.Fatal(err)
		}
	}
	for _, text := range []string{"", " \n ", "\xff", strings.Repeat("n", maxNote+1)} {
		if x.Note(text, day) == nil {
			t.Errorf("note %.10q was taken", text)
		}
	}
	notes, err := x.Notes()
	if err != nil || len(notes) != 3 || notes[1] != (Note{"2031-05-04T07:30:00.000Z", "second line"}) || notes[2].Text != "wind 12 kn" {
		t.Errorf("%+v, %v", notes, err)
	}
	if none, err := (&Trial{Dir: t.TempDir()}).Notes(); none != nil || err != nil {
		t.Errorf("%v, %v", none, err)
	}
}

func FuzzName(f *testing.F) {
	f.Add("Sea trial, 2nd day")
	f.Add("../../etc\x00")
	f.Fuzz(func(t *testing.T, name string) {
		text, err := line("name", name, maxName)
		if err != nil {
			return
		}
		s := slug(text)
		if strings.ContainsAny(s, "/.\x00 \n") || len(s) > 60 || !utf8.ValidString(s) {
			t.Errorf("%q gives %q", name, s)
		}
		if n, ok := number("0012" + s); !ok || n != 12 {
			t.Errorf("%q: the number is not found again", s)
		}
	})
}

// A pause is judged by the uptime where it is the same run of the machine,
// whatever the clock did; else by the clock, unless that is behind.
func TestFreshness(t *testing.T) {
	const limit = 6 * time.Hour
	at := func(boot string, up time.Duration, wall time.Time) Moment { return Moment{boot, up, wall} }
	last := at("a", 10*time.Hour, day)
	epoch := time.Unix(30, 0).UTC()
	for name, c := range map[string]struct {
		now   Moment
		want  Freshness
		pause time.Duration
	}{
		"restarted program":                      {at("a", 10*time.Hour+time.Minute, day.Add(time.Minute)), Fresh, time.Minute},
		"restarted program, clock set a year on": {at("a", 10*time.Hour+time.Minute, day.AddDate(1, 0, 0)), Fresh, time.Minute},
		"restarted program, clock set to 1970":   {at("a", 10*time.Hour+time.Minute, epoch), Fresh, time.Minute},
		"machine was on all night":               {at("a", 24*time.Hour, day.Add(14*time.Hour)), Stale, 14 * time.Hour},
		"machine was on, clock did not move":     {at("a", 24*time.Hour, day), Stale, 14 * time.Hour},
		"machine restarted":                      {at("b", time.Minute, day.Add(10*time.Minute)), Fresh, 10 * time.Minute},
		"machine restarted the next day":         {at("b", time.Minute, day.Add(24*time.Hour)), Stale, 24 * time.Hour},
		"machine restarted in 1970":              {at("b", time.Minute, epoch), Unclear, 0},
		"at the limit":                           {at("b", time.Minute, day.Add(limit)), Fresh, limit},
		"no name of the run":                     {at("", time.Minute, day.Add(time.Hour)), Fresh, time.Hour},
	} {
		x := Trial{Dir: t.TempDir()}
		if err := x.Beat(Pulse{Moment: last, Frames: 5}); err != nil {
			t.Fatal(err)
		}
		if got, pause := x.Fresh(c.now, limit); got != c.want || pause != c.pause {
			t.Errorf("%s: %s after %v, want %s after %v", name, got, pause, c.want, c.pause)
		}
	}
	x := Trial{Dir: t.TempDir()}
	if got, _ := x.Fresh(last, limit); got != Unclear {
		t.Errorf("without a sign of life: %s", got)
	}
}

func TestNowOnThisMachine(t *testing.T) {
	a := Now()
	b := Now()
	if a.Boot == "" || a.Boot != b.Boot || b.Uptime < a.Uptime || a.Uptime == 0 || a.Wall.IsZero() {
		t.Errorf("%+v, %+v", a, b)
	}
}

func TestPulseComesBack(t *testing.T) {
	x := Trial{Dir: t.TempDir()}
	if _, ok := x.Pulse(); ok {
		t.Error("a pulse from nowhere")
	}
	want := Pulse{Now(), 77}
	if err := x.Beat(want); err != nil {
		t.Fatal(err)
	}
	if got, ok := x.Pulse(); !ok || got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	// What a power cut can leave of a file must not be taken for a pulse.
	if err := os.WriteFile(filepath.Join(x.Dir, pulseFile), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, ok := x.Pulse(); ok {
		t.Error("an empty file was taken for a pulse")
	}
}

func TestDerivedIsKeptAndClosingToo(t *testing.T) {
	l := book(t)
	x := begin(t, l, "")
	if _, _, err := l.Close(day.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := x.SetDerived(); err != nil {
		t.Fatal(err)
	}
	list, _ := l.Trials()
	if !list[0].Derived() || list[0].ClosedAt() != "2031-05-04T08:30:00.000Z" {
		t.Errorf("%+v", list[0])
	}
	var raw map[string]any
	b, err := os.ReadFile(filepath.Join(x.Dir, trialFile))
	if err != nil || json.Unmarshal(b, &raw) != nil || raw["format"] != 1.0 {
		t.Errorf("%s, %v", b, err)
	}
}

func TestBusyTellsTheWriter(t *testing.T) {
	l := book(t)
	x := begin(t, l, "")
	if x.Busy() {
		t.Error("busy without a writer")
	}
	d, err := os.Open(x.Frames())
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.Flock(int(d.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		t.Fatal(err)
	}
	if !x.Busy() {
		t.Error("the writer was not noticed")
	}
	d.Close()
	if x.Busy() {
		t.Error("busy after the writer")
	}
	if (&Trial{Dir: "/nonexistent"}).Busy() {
		t.Error("busy without a directory")
	}
}

func TestErrorsNameTheKey(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(filepath.Join(file, "trials")); err == nil || !strings.Contains(err.Error(), "journal.dir") {
		t.Errorf("%v", err)
	}
}
