package day

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

// recorded makes a closed trial of a simulated day.
func recorded(t testing.TB, s *simulate.Scenario) logbook.Trial {
	t.Helper()
	book, err := logbook.Open(filepath.Join(t.TempDir(), "trials"))
	if err != nil {
		t.Fatal(err)
	}
	x, err := book.New("", evening)
	if err != nil {
		t.Fatal(err)
	}
	record(t, x, s, 1)
	if _, _, err := book.Close(evening); err != nil {
		t.Fatal(err)
	}
	return x
}

// record appends a simulated day to a trial's frames.
func record(t testing.TB, x logbook.Trial, s *simulate.Scenario, seed uint64) {
	t.Helper()
	w, err := journal.Create(x.Frames(), journal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Run(seed, func(f *frame.Frame) error { return w.Append(f, "can0") }); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

var evening = time.Date(2031, 5, 14, 19, 0, 0, 0, time.UTC)

// written is results.json and the timeline of a trial.
func written(t testing.TB, r *results.Results, line *results.Timeline) string {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	for _, v := range line.SpeedKn {
		b.WriteString(time.Duration(v * 1e9).String())
	}
	return b.String()
}

// replayed derives a trial's results from its frames.
func replayed(t testing.TB, x logbook.Trial, cfg configs.Config) string {
	t.Helper()
	e, _, err := Replay(t.Context(), x.Frames(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	a, err := ReadAmendments(x)
	if err != nil {
		t.Fatal(err)
	}
	r, line := e.Results(Given{Config: cfg, Version: "test", Amendments: a})
	return written(t, r, line)
}

func recalled(t testing.TB, x logbook.Trial, cfg configs.Config) string {
	t.Helper()
	r, line, err := Amended(t.Context(), x, cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	return written(t, r, line)
}

// stepOf returns the first step of a trial with so many windows.
func stepOf(t testing.TB, x logbook.Trial, cfg configs.Config, least int) *results.Step {
	t.Helper()
	r, _, err := Amended(t.Context(), x, cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	for i := range r.Steps {
		if len(r.Steps[i].Windows) >= least {
			return &r.Steps[i]
		}
	}
	t.Fatalf("no step has %d windows", least)
	return nil
}

func exclude(t testing.TB, x logbook.Trial, cfg configs.Config, ids ...int) *results.Amendment {
	t.Helper()
	a, _, _, err := Amend(t.Context(), x, cfg, "test", Asked{Name: "a captain", Reason: "wash of a ferry", Action: logbook.Exclude, Windows: ids}, evening)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// What was kept gives the results of a replay, byte for byte, with and without
// amendments: on the day with everything in it, and on one of manoeuvres.
func TestKeptEvidenceEqualsAReplay(t *testing.T) {
	for _, name := range []string{"demo-triple", "manoeuvres"} {
		t.Run(name, func(t *testing.T) {
			cfg := boatA(t)
			x := recorded(t, scenario(t, name))
			original := replayed(t, x, cfg)
			for range 2 { // by a replay, then by what that kept
				if recalled(t, x, cfg) != original {
					t.Fatal("not the results of a replay")
				}
			}
			s := stepOf(t, x, cfg, 1)
			exclude(t, x, cfg, s.Windows[0])
			amended := recalled(t, x, cfg)
			if amended == original || amended != replayed(t, x, cfg) {
				t.Error("amended: not the results of a replay")
			}
			if _, _, _, err := Amend(t.Context(), x, cfg, "test", Asked{Name: "a captain", Reason: "it was the other one", Action: logbook.Withdraw, Withdraws: 1}, evening); err != nil {
				t.Fatal(err)
			}
			withdrawn := recalled(t, x, cfg)
			if withdrawn != replayed(t, x, cfg) {
				t.Error("withdrawn: not the results of a replay")
			}
			if _, before, _ := strings.Cut(original, `"current": {`); !strings.HasSuffix(withdrawn, before) {
				t.Error("withdrawn: the figures are not the original ones")
			}
		})
	}
}

// shortTrial is a step of four passes and one of two.
func shortTrial(t testing.TB) (logbook.Trial, configs.Config) {
	t.Helper()
	s, err := scripted(simulate.Action{Do: "step", RPM: 1600, Passes: 4}, simulate.Action{Do: "step", RPM: 2400, Passes: 2})
	if err != nil {
		t.Fatal(err)
	}
	return recorded(t, s), boatA(t)
}

func TestAmendingATrial(t *testing.T) {
	x, cfg := shortTrial(t)
	step := stepOf(t, x, cfg, 4)
	first, second, third := step.Windows[0], step.Windows[1], step.Windows[2]
	ask := func(action string, withdraws int, ids ...int) (*results.Amendment, *results.Results, error) {
		a, r, _, err := Amend(t.Context(), x, cfg, "test", Asked{Name: "a captain", Reason: "wash", Action: action, Windows: ids, Withdraws: withdraws}, evening)
		return a, r, err
	}
	for why, of := range map[string]func() error{
		"there is no window 99":    func() error { _, _, err := ask(logbook.Exclude, 0, 99); return err },
		"degrees apart":            func() error { _, _, err := ask(logbook.Merge, 0, first, second); return err },
		"no amendment 5":           func() error { _, _, err := ask(logbook.Withdraw, 5); return err },
		"is not exclude, merge or": func() error { _, _, err := ask("forget", 0, first); return err },
	} {
		if refused, ok := errors.AsType[logbook.Refused](of()); !ok || !strings.Contains(string(refused), why) {
			t.Errorf("%q, want %q", refused, why)
		}
	}
	a, r, err := ask(logbook.Exclude, 0, first)
	if err != nil || a.ID != 1 || !a.Applied || *a.Windows[0].ID != first {
		t.Fatalf("%+v, %v", a, err)
	}
	w := &r.Windows[first-1]
	if w.Amended != "excluded" || !w.Accepted || w.Step != nil || r.Steps[step.ID-1].Passes != step.Passes-1 {
		t.Errorf("%+v, %d passes", w, r.Steps[step.ID-1].Passes)
	}
	if len(r.OriginalSteps) != len(r.Steps) || r.OriginalSteps[step.ID-1].Passes != step.Passes {
		t.Errorf("original steps %+v", r.OriginalSteps)
	}
	a, r, err = ask(logbook.Withdraw, 1)
	if err != nil || !a.Applied || r.Amendments[0].Applied || r.Amendments[0].Why != "withdrawn by amendment 2" || r.Windows[first-1].Amended != "" {
		t.Errorf("%+v, %v", r.Amendments, err)
	}
	a, r, err = ask(logbook.Merge, 0, first, third)
	if err != nil || !a.Applied || r.Windows[third-1].Amended != "merged" || r.Steps[step.ID-1].Passes != step.Passes-1 {
		t.Errorf("%+v, %v", a, err)
	}
}

func TestAmendingATrialWithoutFrames(t *testing.T) {
	book, err := logbook.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	x, err := book.New("", evening)
	if err != nil {
		t.Fatal(err)
	}
	asked := Asked{Name: "a captain", Reason: "wash", Action: logbook.Exclude, Windows: []int{1}}
	if _, _, _, err := Amend(t.Context(), x, boatA(t), "test", asked, evening); err == nil || err.Error() != "the trial has no window yet" {
		t.Error(err)
	}
}

// Amendments find their windows again when the clock was corrected since, and
// by UTC alone where the frames are others.
func TestAmendmentsFindTheirWindowsByTime(t *testing.T) {
	x, cfg := shortTrial(t)
	exclude(t, x, cfg, stepOf(t, x, cfg, 2).Windows[0])
	e, _, err := Recall(t.Context(), x, Given{Config: cfg, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	applied := func(change func(*logbook.Span)) results.Amendment {
		a, err := ReadAmendments(x)
		if err != nil {
			t.Fatal(err)
		}
		change(&a.List[0].Windows[0])
		r, _ := e.Results(Given{Config: cfg, Version: "test", Amendments: a})
		return r.Amendments[0]
	}
	if a := applied(func(s *logbook.Span) { s.Start, s.End = "1970-01-01T00:10:00Z", "1970-01-01T00:11:00Z" }); !a.Applied {
		t.Errorf("dated by a clock that was wrong: %+v", a)
	}
	if a := applied(func(s *logbook.Span) { s.FromS, s.ToS = nil, nil }); !a.Applied {
		t.Errorf("by UTC alone: %+v", a)
	}
	a := applied(func(s *logbook.Span) { s.FromS, s.ToS, s.Start = nil, nil, "2031-01-01T00:00:00Z" })
	if a.Applied || !strings.Contains(a.Why, "no window was found from 2031-01-01T00:00:00Z") || a.Windows[0].ID != nil {
		t.Errorf("another time: %+v", a)
	}
}

// found tells whether what was kept would be used.
func found(t *testing.T, x logbook.Trial, soFar bool) bool {
	t.Helper()
	n, err := journal.Count(x.Frames())
	if err != nil {
		t.Fatal(err)
	}
	key, read, done := kept(x.Dir)
	defer done()
	return key != nil && key.covers(n, soFar) && read() != nil
}

// Doubt about what was kept costs a replay, never a figure.
func TestDoubtfulEvidenceIsNotUsed(t *testing.T) {
	x, cfg := shortTrial(t)
	want := recalled(t, x, cfg)
	if !found(t, x, false) {
		t.Fatal("nothing was kept")
	}
	path := filepath.Join(x.Dir, evidenceFile)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; at < len(whole); at += 1 + len(whole)/60 {
		damaged := bytes.Clone(whole)
		damaged[at] ^= 0x10
		if at%2 == 0 {
			damaged = whole[:at]
		}
		if err := os.WriteFile(path, damaged, 0o644); err != nil {
			t.Fatal(err)
		}
		if found(t, x, false) {
			t.Fatalf("used with damage at %d of %d", at, len(whole))
		}
	}
	if recalled(t, x, cfg) != want || !found(t, x, false) {
		t.Error("after damage: other results, or nothing kept again")
	}
	record(t, x, scenario(t, "accuracy"), 2)
	if found(t, x, false) {
		t.Error("used although frames came")
	}
	if !found(t, x, true) {
		t.Error("the day so far is not found")
	}
}

// A trial keeps the configuration that its results were derived with: amending
// last week's trial does not turn its boat into today's.
func TestAmendingKeepsTheConfiguration(t *testing.T) {
	x, cfg := shortTrial(t)
	if Evaluated(x.Dir) {
		t.Error("evaluated before anybody asked")
	}
	zero := 0.0
	cfg.Vessel.Name, cfg.Load.WaterL, cfg.Steady.MinS = "Demo boat A (invented)", &zero, 25
	want := recalled(t, x, cfg)
	if !Evaluated(x.Dir) {
		t.Error("not evaluated")
	}
	other := configs.Default()
	other.Vessel.Name = "Demo boat B (invented)"
	if recalled(t, x, other) != want {
		t.Error("another configuration gave other results")
	}
	// Nor does another program, which has to replay the frames.
	e, n, err := Replay(t.Context(), x.Frames(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Keep(x.Dir, Given{Config: cfg}, n-1, true); err != nil {
		t.Fatal(err)
	}
	if recalled(t, x, other) != want {
		t.Error("replayed with another configuration")
	}
}
