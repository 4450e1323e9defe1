//go:build !race

package day

import (
	"errors"
	"fmt"
	"io"
	"math"
	"testing"

	"trialday.example/logd/calc"
	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/results"
)

// liveDays is how many simulated days the guidance is tested on.
const liveDays = 6

// moment is what was shown in one second.
type moment struct {
	at    int64 // trial time, end of the last whole second
	hold  calc.Hold
	known int // windows so far
	shown *results.Live
}

// eachSecond runs a day and looks on once a second of trial time.
func eachSecond(t *testing.T, d *Day, next func(*frame.Frame) error, look func()) {
	t.Helper()
	var f frame.Frame
	last := int64(-1)
	for {
		if err := next(&f); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatal(err)
		}
		d.Frame(&f)
		if now := d.decoder.Now() / 1e9; now != last {
			last = now
			look()
		}
	}
}

// variant is a day of the accuracy scenario.
func variant(t *testing.T, seed uint64) *simulate.Scenario {
	t.Helper()
	s, err := accuracyScenario()
	if err != nil {
		t.Fatal(err)
	}
	return s.Variant(seed)
}

// agreement counts how the guidance compares with the windows found at the end,
// where a stretch is to be held for need seconds.
type agreement struct {
	need              float64
	enough, covered   int // seconds of "enough", and those with a window that covers the stretch
	times, kept       int // times that "enough" was first said, and those with such a window
	windows, foretold int // windows long enough, and those for which "enough" was said
	late              float64
	back              int // "enough" taken back while throttle and course were held
}

// edge, ns: by how much the ends of a stretch and of a window may differ.
const edge = 5e9

func (a *agreement) says(h *calc.Hold) bool {
	return h.Held && h.Reason == calc.Accepted && h.Seconds() >= a.need
}

func (a *agreement) judge(seen []moment, windows []calc.Window) {
	before := false
	for i := range seen {
		h := &seen[i].hold
		enough := a.says(h)
		if before && !enough && h.Held {
			a.back++
		}
		if enough {
			ok := covered(windows, h)
			count(&a.enough, &a.covered, ok)
			if !before {
				count(&a.times, &a.kept, ok)
			}
		}
		before = enough
	}
	for i := range windows {
		w := &windows[i]
		if !w.Accepted() || float64(w.End-w.Start)/1e9 < a.need+10 {
			continue
		}
		at, ok := a.foretells(seen, w)
		count(&a.windows, &a.foretold, ok)
		if ok {
			a.late += float64(at-w.Start)/1e9 - a.need
		}
	}
}

func count(all, of *int, ok bool) {
	*all++
	if ok {
		*of++
	}
}

func covered(windows []calc.Window, h *calc.Hold) bool {
	for i := range windows {
		w := &windows[i]
		if w.Accepted() && w.Start <= h.Start+edge && w.End >= h.End-edge {
			return true
		}
	}
	return false
}

// foretells tells when "enough" was first said of a window.
func (a *agreement) foretells(seen []moment, w *calc.Window) (at int64, ok bool) {
	for i := range seen {
		if h := &seen[i].hold; a.says(h) && h.Start >= w.Start-edge && h.End <= w.End+edge {
			return seen[i].at, true
		}
	}
	return 0, false
}

func (a *agreement) String() string {
	return fmt.Sprintf("hold for %g s: a window covers it in %.1f %% of %d s, and %.1f %% of %d times; "+
		"it was said of %.1f %% of %d windows, %.1f s late; it was taken back %d times",
		a.need, percent(a.covered, a.enough), a.enough, percent(a.kept, a.times), a.times,
		percent(a.foretold, a.windows), a.windows, a.late/float64(a.foretold), a.back)
}

// What the captain is told while he holds is what is found afterwards; and which
// passes are still wanted is right at every moment.
func TestGuidanceAgreesWithWhatIsFound(t *testing.T) {
	all := []*agreement{{need: 30}, {need: 45}}
	for seed := uint64(1); seed <= liveDays; seed++ {
		s := variant(t, seed)
		cfg := configs.Default()
		cfg.Trial.HoldS = 45
		d := New(cfg, "test", s.Buses)
		var seen []moment
		eachSecond(t, d, s.Start(seed).Next, func() {
			l, ok := d.samples.settle().trial.Live(nil, nil)
			if !ok {
				return
			}
			_, windows := d.Closed()
			seen = append(seen, moment{l.Run.End, l.Hold, len(windows), d.Live()})
			if n := len(seen); n < 2 || seen[n-2].known != len(windows) {
				sameSteps(t, seen[n-1].shown, calc.Derive(d.samples.settle().trial.Evidence(), settings(&cfg), nil))
			}
		})
		r, _ := d.Finish(0)
		_, windows := d.Closed()
		for _, a := range all {
			a.judge(seen, windows)
		}
		shown(t, all[1], seen)
		reciprocals(t, s, seen)
		if last := seen[len(seen)-1]; last.known == len(windows) && len(last.shown.Steps) != len(r.Steps) {
			t.Errorf("day %d: %d steps at the end, %d in the results", seed, len(last.shown.Steps), len(r.Steps))
		}
	}
	for _, a := range all {
		t.Logf("%d days, %s", liveDays, a)
		if percent(a.covered, a.enough) < 95 || percent(a.kept, a.times) < 95 || percent(a.foretold, a.windows) < 95 {
			t.Error("want 95 % of each")
		}
	}
}

// shown asks that what is shown follows from what calculation gives.
func shown(t *testing.T, a *agreement, seen []moment) {
	t.Helper()
	for i := range seen {
		h, s := &seen[i].hold, &seen[i].shown.Hold
		want := results.HoldFree
		switch {
		case a.says(h):
			want = results.HoldEnough
		case h.Held && h.Reason == calc.Accepted:
			want = results.HoldSteady
		case h.Held:
			want = results.HoldSettling
		}
		if s.State != want || (s.Why == "") != (h.Held && h.Reason == calc.Accepted) {
			t.Fatalf("%+v is shown as %+v", h, s)
		}
		if want == results.HoldSteady && (s.SteadyS != h.Seconds() || s.SteadyS+s.MoreS != s.NeedS) {
			t.Fatalf("%g s are shown as %+v", h.Seconds(), s)
		}
	}
}

// sameSteps asks that the steps shown are those that the whole derivation gives.
func sameSteps(t *testing.T, l *results.Live, rep *calc.Report) {
	t.Helper()
	if len(l.Steps) != len(rep.Steps) {
		t.Fatalf("%d steps are shown of %d", len(l.Steps), len(rep.Steps))
	}
	for i := range l.Steps {
		a, b := &l.Steps[i], &rep.Steps[i]
		if math.Abs(a.RPM-b.RPM*60) > 1e-6 || a.Passes != b.Passes || a.CurrentCorrected != b.Corrected || len(a.HeadingsDeg) != b.Passes {
			t.Fatalf("step %+v is shown as %+v", b, a)
		}
	}
}

// reciprocals asks at every moment: a step wants a pass on the other course of
// the day, and says so, unless it has passes on both.
func reciprocals(t *testing.T, s *simulate.Scenario, seen []moment) {
	t.Helper()
	axis := s.Captain.HeadingDeg + s.Sensors.HeadingOffsetDeg
	off := func(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }
	for i := range seen {
		for _, step := range seen[i].shown.Steps {
			there, back := false, false
			for _, h := range step.HeadingsDeg {
				there = there || off(h, axis) < 90
				back = back || off(h, axis+180) < 90
			}
			if step.NeedsReciprocal == (there && back) || step.NeedsReciprocal != (step.ReciprocalDeg != nil) {
				t.Fatalf("at %d s: %+v", seen[i].at/1e9, step)
			}
			want := axis
			if there {
				want = axis + 180
			}
			if step.NeedsReciprocal && off(*step.ReciprocalDeg, want) > 15 {
				t.Fatalf("at %d s, courses %g and opposite: %+v wants %g", seen[i].at/1e9, axis, step, *step.ReciprocalDeg)
			}
		}
	}
}

// Held for ten minutes, a pass stays long enough, and is told as five minutes:
// no more is looked back.
func TestALongHold(t *testing.T) {
	s, err := scripted(simulate.Action{Do: "step", RPM: 1600, Passes: 1})
	if err != nil {
		t.Fatal(err)
	}
	s.Captain.HoldS, s.Captain.HoldSpreadS = 600, 0
	d := New(configs.Default(), "test", s.Buses)
	held, enough, longest := 0, 0, 0.0
	eachSecond(t, d, s.Start(1).Next, func() {
		h := d.Live().Hold
		longest = math.Max(longest, h.SteadyS)
		if h.State != results.HoldFree && longest > 0 {
			held++
		}
		if h.State == results.HoldEnough {
			enough++
		}
	})
	t.Logf("%d s held since it was steady first, %d s of it enough", held, enough)
	if held < 550 || enough < held-60 || longest < 200 || longest > 300 {
		t.Errorf("%d s held, %d s enough, at the most for %g s", held, enough, longest)
	}
}
