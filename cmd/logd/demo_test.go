//go:build !race

package main

import (
	"bytes"
	"fmt"
	"math"
	"math/cmplx"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/results"
)

// demo is what a user has after the demo of one boat.
type demo struct {
	replayed
	truth *simulate.Truth
}

var demos = map[string]func(t *testing.T) demo{"triple": onceDemo("triple"), "single": onceDemo("single")}

// onceDemo runs a demo for the first test that asks for it, in a directory that
// outlives that test.
func onceDemo(boat string) func(t *testing.T) demo {
	var once sync.Once
	var d demo
	return func(t *testing.T) demo {
		once.Do(func() {
			dir := filepath.Join(shared(t), boat)
			d.stdout, d.stderr = must(t, "demo", "--boat", boat, "--out", dir)
			d.dir, d.Results, d.truth = dir, readResults(t, dir), readTruth(t, dir)
		})
		if d.truth == nil {
			t.Fatal("the demo has failed")
		}
		return d
	}
}

func TestDemoWritesItsFiles(t *testing.T) {
	for boat, run := range demos {
		d := run(t)
		checkResults(t, d.dir)
		for _, f := range []string{"results.json", "sheet.html", "steps.csv", "windows.csv", "truth.json", "capture.log.zst"} {
			if len(read(t, filepath.Join(d.dir, f))) < 500 {
				t.Errorf("%s: %s is next to empty", boat, f)
			}
		}
		if !strings.Contains(d.stdout, "trial sheet: file://"+filepath.Join(d.dir, "sheet.html")) {
			t.Errorf("%s: the sheet's place is not told:\n%s", boat, d.stdout)
		}
		if d.stderr != "" {
			t.Errorf("%s: complaints: %s", boat, d.stderr)
		}
		if len(d.Missing) > 0 {
			t.Errorf("%s: not derived: %+v", boat, d.Missing)
		}
		if d.Quality.BadLines != 0 || d.Quality.FastPacketLost == 0 || d.Quality.ErrorFrames != int64(d.truth.ErrorFrames) {
			t.Errorf("%s: %+v, %d error frames in truth", boat, d.Quality, d.truth.ErrorFrames)
		}
		if len(d.Vessel.Engines) != len(d.truth.Engines) {
			t.Errorf("%s: engines %+v", boat, d.Vessel.Engines)
		}
	}
}

// Each row of the printed table is a step, and says so if it is not corrected
// for current.
func TestDemoPrintsTheSteps(t *testing.T) {
	for boat, run := range demos {
		d := run(t)
		lines := strings.Split(d.stdout, "\n")
		for i := range d.Steps {
			s := &d.Steps[i]
			row := ""
			for _, l := range lines {
				if f := strings.Fields(l); len(f) > 3 && f[0] == fmt.Sprint(s.ID) && f[1] == fmt.Sprintf("%.0f", s.RPM) {
					row = l
				}
			}
			if !strings.Contains(row, fmt.Sprintf("%.2f", s.SpeedKn.Mean)) {
				t.Errorf("%s: step %d has no row:\n%s", boat, s.ID, d.stdout)
			}
			if strings.Contains(row, "not corrected for current") == s.CurrentCorrected {
				t.Errorf("%s: step %d, corrected %v: %s", boat, s.ID, s.CurrentCorrected, row)
			}
			if s.ID == *d.Best.TopSpeedStep && !strings.Contains(row, "top speed") {
				t.Errorf("%s: the top speed is not marked: %s", boat, row)
			}
		}
	}
}

// trueSteps pairs each derived step with the simulated one at its rpm.
func (d demo) trueSteps() (pairs [][2]int) {
	for i := range d.Steps {
		for j := range d.truth.Steps {
			if math.Abs(d.Steps[i].RPM/d.truth.Steps[j].RPM-1) < 0.012 {
				pairs = append(pairs, [2]int{i, j})
			}
		}
	}
	return pairs
}

// The steps are those of the simulation, within what the table itself claims
// for most of them, and within a hundredth for all.
func TestDemoAgreesWithTheTruth(t *testing.T) {
	for boat, run := range demos {
		d := run(t)
		pairs := d.trueSteps()
		if len(pairs) < len(d.truth.Steps)-1 {
			t.Errorf("%s: %d of %d steps found", boat, len(pairs), len(d.truth.Steps))
		}
		var speeds, speedsIn, fuels, fuelsIn int
		for _, p := range pairs {
			s, truth := &d.Steps[p[0]], &d.truth.Steps[p[1]]
			if !s.CurrentCorrected {
				continue
			}
			miss := func(v *results.Interval, want, limit float64, all, in *int) {
				*all++
				if v.Lo95 <= want && want <= v.Hi95 {
					*in++
				}
				if math.Abs(v.Mean/want-1) > limit {
					t.Errorf("%s: step %d: %g, in truth %g", boat, s.ID, v.Mean, want)
				}
			}
			miss(&s.SpeedKn, truth.SpeedKn, 0.01, &speeds, &speedsIn)
			miss(s.FuelLPH, truth.FuelLPH, 0.02, &fuels, &fuelsIn)
			if math.Abs(*s.LoadPct-truth.LoadPct) > 2 || math.Abs(*s.PitchDeg-truth.PitchDeg) > 0.3 {
				t.Errorf("%s: step %d: load %g and pitch %g, in truth %g and %g", boat, s.ID, *s.LoadPct, *s.PitchDeg, truth.LoadPct, truth.PitchDeg)
			}
		}
		t.Logf("%s: true value inside the interval: speed %d of %d, fuel %d of %d", boat, speedsIn, speeds, fuelsIn, fuels)
		if speedsIn*10 < speeds*8 {
			t.Errorf("%s: speed inside the stated interval in %d of %d steps", boat, speedsIn, speeds)
		}
		if speeds < 8 {
			t.Errorf("%s: %d steps corrected for current", boat, speeds)
		}
	}
}

// The current found at each step is the simulated one. Passes of one step differ
// in speed by the hand on the throttle, and nothing tells half that difference
// from a current along the course.
func TestDemoFindsTheCurrent(t *testing.T) {
	for boat, run := range demos {
		d := run(t)
		for _, p := range d.trueSteps() {
			s := &d.Steps[p[0]]
			if !s.CurrentCorrected {
				continue
			}
			var truth complex128
			slowest, fastest := math.Inf(1), 0.0
			list := d.truth.Steps[p[1]].Stretches
			for _, id := range list {
				st := &d.truth.Stretches[id-1]
				slowest, fastest = min(slowest, st.STWKn), max(fastest, st.STWKn)
				truth += cmplx.Rect(st.CurrentKn/float64(len(list)), st.CurrentSetDeg*math.Pi/180)
			}
			course := d.truth.Stretches[list[0]-1].HeadingDeg * math.Pi / 180
			off := (cmplx.Rect(*s.CurrentKn, *s.CurrentSetDeg*math.Pi/180) - truth) * cmplx.Rect(1, -course)
			if math.Abs(real(off)) > 0.2+(fastest-slowest)/2 || math.Abs(imag(off)) > 0.2 {
				t.Errorf("%s: step %d: current %.2f kn to %.0f, off by %.2f kn along the course and %.2f across", boat, s.ID, *s.CurrentKn, *s.CurrentSetDeg, real(off), imag(off))
			}
		}
	}
}

// By UTC the accepted windows lie in stretches that are steady in truth: so the
// whole timeline is right, before and after a step of the recorder's clock.
func TestDemoTimesAreRight(t *testing.T) {
	for boat, run := range demos {
		d := run(t)
		within := time.Duration(d.Clock.UncertaintyS * float64(time.Second))
		if within <= 0 || within > time.Second || !d.Clock.Known {
			t.Errorf("%s: clock %+v", boat, d.Clock)
		}
		if off := d.Clock.OffsetS + d.truth.ClockOffsetS; math.Abs(off) > d.Clock.UncertaintyS {
			t.Errorf("%s: the recorder's clock was %g s off, found %g ± %g", boat, -d.truth.ClockOffsetS, d.Clock.OffsetS, d.Clock.UncertaintyS)
		}
		var all, steady time.Duration
		for _, w := range d.Windows {
			if !w.Accepted {
				continue
			}
			from, to := instant(t, w.Start), instant(t, w.End)
			covered := time.Duration(0)
			for _, st := range d.truth.Stretches {
				if st.Steady {
					a, b := later(from, st.Start), earlier(to, st.End)
					covered += max(0, b.Sub(a))
				}
			}
			if length := to.Sub(from); covered < length*3/4 {
				t.Errorf("%s: window %d from %s: %v of %v are steady in truth", boat, w.ID, w.Start, covered, length)
			}
			all, steady = all+to.Sub(from), steady+covered
		}
		t.Logf("%s: %v in windows, %v of them steady in truth", boat, all, steady)
		if steady < all*97/100 {
			t.Errorf("%s: %v in windows, %v of them steady in truth", boat, all, steady)
		}
		last := d.Runs[len(d.Runs)-1]
		if off := instant(t, last.End).Sub(d.truth.End); off.Abs() > within+3*time.Second {
			t.Errorf("%s: the day ends at %s, in truth at %v", boat, last.End, d.truth.End)
		}
		if off := instant(t, d.Trial.Start).Sub(d.truth.Start); off.Abs() > within+3*time.Second {
			t.Errorf("%s: the day starts at %s, in truth at %v", boat, d.Trial.Start, d.truth.Start)
		}
		for i := 1; i < len(d.Runs); i++ {
			if d.Runs[i].Start != d.Runs[i-1].End {
				t.Errorf("%s: a hole between runs %d and %d", boat, i, i+1)
			}
		}
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// The single-engine demo's recorder wakes in 1970 and is set right in mid-day.
// No pause comes of it.
func TestDemoSurvivesTheRecordersClock(t *testing.T) {
	d := demos["single"](t)
	if d.truth.ClockOffsetS > -1e9 {
		t.Fatalf("the recorder starts %g s off", d.truth.ClockOffsetS)
	}
	if d.Clock.Steps != 1 {
		t.Errorf("%d steps of the clock", d.Clock.Steps)
	}
	for _, g := range d.Quality.Gaps {
		if g.What == "all" {
			t.Errorf("a gap in all traffic from %s to %s", g.Start, g.End)
		}
	}
	if len(d.Vessel.Engines) != 1 {
		t.Errorf("engines: %+v", d.Vessel.Engines)
	}
	for _, w := range d.Windows {
		if len(w.RPM) != 1 {
			t.Errorf("window %d: rpm of %d engines", w.ID, len(w.RPM))
		}
	}
}

// The demo days have error frames, standard identifiers, addresses that move
// and a clock that jumps; in whatever form they are kept, they give the same.
func TestDemoOnePathForEveryForm(t *testing.T) {
	for boat, run := range demos {
		d := run(t)
		config, err := configs.Demo(boat)
		if err != nil {
			t.Fatal(err)
		}
		s, err := loadScenario("demo-" + boat)
		if err != nil {
			t.Fatal(err)
		}
		r, err := record(s, 1)
		if err != nil {
			t.Fatal(err)
		}
		memory := inMemory(t, r, string(config))
		if !bytes.Equal(memory, read(t, filepath.Join(d.dir, "results.json"))) {
			t.Errorf("%s: the demo's results differ from those of its frames in memory", boat)
		}
		plain := filepath.Join(t.TempDir(), "capture.log")
		must(t, "export", "--out", plain, filepath.Join(d.dir, "capture.log.zst"))
		if boat == "single" {
			checkOnePath(t, plain, string(config), memory)
		}
		journal, again := filepath.Join(t.TempDir(), "journal"), filepath.Join(t.TempDir(), "again.log")
		must(t, "import", "--journal", journal, plain)
		must(t, "export", "--out", again, journal)
		if !bytes.Equal(read(t, plain), read(t, again)) {
			t.Errorf("%s: log text is not the same after import to a journal and export", boat)
		}
	}
}

// The journal is what fills the disk aboard. A frame takes less than its eight
// bytes of data alone.
func TestDemoJournalIsCompact(t *testing.T) {
	d := demos["triple"](t)
	journal := filepath.Join(t.TempDir(), "journal")
	must(t, "import", "--journal", journal, filepath.Join(d.dir, "capture.log.zst"))
	files, err := filepath.Glob(filepath.Join(journal, "*"))
	if err != nil || len(files) == 0 {
		t.Fatal(err, files)
	}
	size := 0
	for _, f := range files {
		size += len(read(t, f))
	}
	each := float64(size) / float64(d.Quality.Frames)
	t.Logf("%d frames in %d bytes: %.2f bytes a frame", d.Quality.Frames, size, each)
	if each > 8 {
		t.Errorf("%.2f bytes a frame", each)
	}
}

// The same seed is the same day, another is not.
func TestDemoIsRepeatable(t *testing.T) {
	d := demos["single"](t)
	dir := t.TempDir()
	must(t, "demo", "--boat", "single", "--out", dir)
	if !bytes.Equal(read(t, filepath.Join(dir, "results.json")), read(t, filepath.Join(d.dir, "results.json"))) {
		t.Error("a second demo gives other results")
	}
	log, truth := filepath.Join(dir, "other.log.zst"), filepath.Join(dir, "other.json")
	must(t, "simulate", "--scenario", "demo-single", "--seed", "2", "--out", log, "--truth", truth)
	if bytes.Equal(read(t, truth), read(t, filepath.Join(dir, "truth.json"))) {
		t.Error("seeds 1 and 2 give the same day")
	}
}
