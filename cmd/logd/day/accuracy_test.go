//go:build !race

package day

import (
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"sort"
	"strings"
	"sync"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/results"
)

// accuracyDays is how many simulated days the accuracy is shown on; each has
// another sea, tide, wind, noise and load.
const accuracyDays = 60

// edgeLimit, s: how far the ends of a window may be from the truth's.
const edgeLimit = 3

// simulatedDay is a day's results beside its truth.
type simulatedDay struct {
	waves  float64 // significant height, m
	result *results.Results
	truth  *simulate.Truth
}

func runAccuracyDay(t *testing.T, seed uint64) simulatedDay {
	t.Helper()
	text, err := scenarios.Load("accuracy")
	if err != nil {
		t.Fatal(err)
	}
	base, err := simulate.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	s := base.Variant(seed)
	cfg := configs.Default()
	length, tank := s.Vessel.LengthM, s.Vessel.TankL
	cfg.Vessel.LengthM, cfg.Fuel.TankL = &length, &tank
	d := New(cfg, "test", s.Buses)
	sim := s.Start(seed)
	var f frame.Frame
	for {
		if err := sim.Next(&f); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		d.Frame(&f)
	}
	r, _ := d.Finish(0)
	return simulatedDay{s.Environment.WaveHeightM, r, sim.Truth()}
}

// score is what a set of days adds up to.
type score struct {
	days                                  int
	stretches, found                      int
	windows, unsteady                     int
	edges, edgesNear                      int
	steps                                 int
	inSpeed, inFuel, inEconomy            int
	bias                                  float64 // sum over steps of relative error of speed
	squares                               float64
	worst                                 float64
	fuelBias, economyBias, economySquares float64
	stepSquares, daySquares               float64 // kn²
	inDay                                 int
}

func stamp(t *testing.T, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// judgeDay compares a day with its truth.
//
// A window is unsteady in truth unless it lies inside one true steady stretch,
// edgeLimit allowed at both ends. A true stretch of 30 s or more is found if a
// steady window lies in it; its edges are those of the first and last such
// window. A step's truth is the mean over its passes of the mean over their
// stretches: the settled speed through water at the throttle that was held.
func (sc *score) judgeDay(t *testing.T, d simulatedDay) {
	sc.days++
	inside := map[int]*simulate.Stretch{} // window id to its true stretch
	limit := time.Duration(edgeLimit * float64(time.Second))
	for _, w := range d.result.Windows {
		if !w.Accepted {
			continue
		}
		sc.windows++
		start, end := stamp(t, w.Start), stamp(t, w.End)
		for i := range d.truth.Stretches {
			s := &d.truth.Stretches[i]
			if s.Steady && !start.Before(s.Start.Add(-limit)) && !end.After(s.End.Add(limit)) {
				inside[w.ID] = s
			}
		}
		if inside[w.ID] == nil {
			sc.unsteady++
		}
	}
	for i := range d.truth.Stretches {
		s := &d.truth.Stretches[i]
		if !s.Steady || s.End.Sub(s.Start) < 30*time.Second {
			continue
		}
		sc.stretches++
		var start, end time.Time
		for _, w := range d.result.Windows {
			if inside[w.ID] != s {
				continue
			}
			if at := stamp(t, w.Start); start.IsZero() {
				start = at
			}
			end = stamp(t, w.End)
		}
		if start.IsZero() {
			continue
		}
		sc.found++
		for _, off := range []time.Duration{start.Sub(s.Start), end.Sub(s.End)} {
			sc.edges++
			if off.Abs() <= limit {
				sc.edgesNear++
			}
		}
	}
	for i := range d.result.Steps {
		sc.judgeStep(d, &d.result.Steps[i], inside)
	}
}

// judgeStep compares a step that was corrected for current.
func (sc *score) judgeStep(d simulatedDay, s *results.Step, inside map[int]*simulate.Stretch) {
	if !s.CurrentCorrected {
		return
	}
	type sum struct{ speed, fuel, weight float64 }
	passes := map[int]*sum{} // by run
	for _, id := range s.Windows {
		truth := inside[id]
		if truth == nil {
			return // counted as an unsteady window already
		}
		w := &d.result.Windows[id-1]
		p := passes[w.Run]
		if p == nil {
			p = &sum{}
			passes[w.Run] = p
		}
		weight := truth.End.Sub(truth.Start).Seconds()
		p.speed += weight * truth.STWKn
		p.fuel += weight * truth.FuelLPH["total"]
		p.weight += weight
	}
	var speed, fuel float64
	for _, p := range passes {
		speed += p.speed / p.weight / float64(len(passes))
		fuel += p.fuel / p.weight / float64(len(passes))
	}
	within := func(i *results.Interval, truth float64) int {
		if i.Lo95 <= truth && truth <= i.Hi95 {
			return 1
		}
		return 0
	}
	sc.steps++
	sc.inSpeed += within(&s.SpeedKn, speed)
	sc.inFuel += within(s.FuelLPH, fuel)
	sc.inEconomy += within(s.EconomyNMPerL, speed/fuel)
	e := s.SpeedKn.Mean/speed - 1
	sc.bias += e
	sc.squares += e * e
	sc.worst = math.Max(sc.worst, math.Abs(e))
	d1, d2 := s.SpeedKn.Mean-speed, s.DayFit.SpeedKn.Mean-speed
	sc.stepSquares += d1 * d1
	sc.daySquares += d2 * d2
	sc.inDay += within(&s.DayFit.SpeedKn, speed)
	sc.fuelBias += s.FuelLPH.Mean/fuel - 1
	e = s.EconomyNMPerL.Mean/(speed/fuel) - 1
	sc.economyBias += e
	sc.economySquares += e * e
}

func percent(n, of int) float64 { return 100 * float64(n) / float64(of) }

// row is one line of the README's table.
func (sc *score) row(name string) string {
	n := float64(sc.steps)
	return fmt.Sprintf("| %s | %d | %.1f %% of %d | %.1f %% of %d | %.1f %% | %+.3f %% | %.2f %% | %.1f %% | %.1f %% | %.1f %% |",
		name, sc.days, percent(sc.found, sc.stretches), sc.stretches, percent(sc.unsteady, sc.windows), sc.windows,
		percent(sc.edgesNear, sc.edges), 100*sc.bias/n, 100*math.Sqrt(sc.squares/n),
		percent(sc.inSpeed, sc.steps), percent(sc.inFuel, sc.steps), percent(sc.inEconomy, sc.steps))
}

const tableHead = "| sea | days | steady stretches found | windows not steady | edges within 3 s | speed: bias | speed: rms error | truth in interval: speed | fuel | economy |"

// simulatedDays runs n days, seeds 1 to n, on all processors, and returns them
// by rising sea.
func simulatedDays(t *testing.T, n int, run func(t *testing.T, seed uint64) simulatedDay) []simulatedDay {
	t.Helper()
	days := make([]simulatedDay, n)
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				days[i] = run(t, uint64(i+1))
			}
		})
	}
	for i := range days {
		next <- i
	}
	close(next)
	wg.Wait()
	sort.Slice(days, func(i, j int) bool { return days[i].waves < days[j].waves })
	return days
}

// third returns one third of the days, and what to call it.
func third(days []simulatedDay, i int) ([]simulatedDay, string) {
	part := days[i*len(days)/3 : (i+1)*len(days)/3]
	return part, fmt.Sprintf("waves %.2f to %.2f m", part[0].waves, part[len(part)-1].waves)
}

func TestAccuracyOverManyDays(t *testing.T) {
	days := simulatedDays(t, accuracyDays, runAccuracyDay)
	var all score
	table := []string{tableHead}
	for i := range 3 {
		part, name := third(days, i)
		var sc score
		for _, d := range part {
			sc.judgeDay(t, d)
			all.judgeDay(t, d)
		}
		table = append(table, sc.row(name))
	}
	table = append(table, all.row("all"))
	t.Logf("bias of fuel %+.3f %%, of economy %+.3f %%", 100*all.fuelBias/float64(all.steps), 100*all.economyBias/float64(all.steps))
	n := float64(all.steps)
	t.Logf("speed through water, rms error: by the step's own passes %.3f kn, by the day's current %.3f kn (truth in its interval %.1f %%)",
		math.Sqrt(all.stepSquares/n), math.Sqrt(all.daySquares/n), percent(all.inDay, all.steps))
	t.Logf("accuracy on simulated days:\n%s", strings.Join(table, "\n"))

	if p := percent(all.found, all.stretches); p < 98 {
		t.Errorf("%.1f %% of the steady stretches of 30 s or more were found, want 98 %%", p)
	}
	if p := percent(all.unsteady, all.windows); p > 1 {
		t.Errorf("%.2f %% of the windows are not steady in truth, want at most 1 %%", p)
	}
	if p := percent(all.edgesNear, all.edges); p < 94 {
		t.Errorf("%.1f %% of the edges are within %d s, want 94 %%", p, edgeLimit)
	}
	if b := 100 * all.bias / float64(all.steps); math.Abs(b) > 0.5 {
		t.Errorf("the speed through water is biased by %+.3f %%, want below 0.5 %%", b)
	}
	for _, c := range []struct {
		name string
		in   int
	}{{"speed", all.inSpeed}, {"fuel", all.inFuel}, {"economy", all.inEconomy}} {
		if p := percent(c.in, all.steps); p < 92 || p > 98 {
			t.Errorf("the 95 %% interval of %s holds the truth in %.1f %% of %d steps, want 92 to 98 %%", c.name, p, all.steps)
		}
	}
}
