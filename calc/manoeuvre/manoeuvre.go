package manoeuvre

import (
	"math"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
)

// Settings are what the measurements are told beside the samples.
type Settings struct {
	Marks  []Mark
	Length float64 // of the boat, m; NaN where not known
	Mass   float64 // kg; NaN where not known
	// Latency is how late the receiver's messages are, s, where it is told; else
	// zero, and what is usual is taken.
	Latency stat.Estimate
}

// Mark is a speed to which accelerations are timed.
type Mark struct {
	Speed float64 // m/s
	Miles bool    // it is a round figure in statute miles an hour, not in knots
}

// maxOfKind bounds what is measured and listed of each kind; a trial day has a
// dozen. Clips of accelerations and stops wait for the day's current and lag,
// some 200 kB each at the most.
const maxOfKind = 40

// maxEvents bounds the lists of gear shifts and of what is made from them.
const maxEvents = 4000

// Report is what was found, in order of time.
type Report struct {
	Lag           Lag
	Accelerations []Acceleration
	Together      []Together // attempts alike, combined
	Turns         []Turn
	Stops         []Stop
	Gears         []GearEvent
	Engagements   []Engagement
	EngineOut     []EngineOut
	Slow          []Slow
	// More counts what was not listed, being too many.
	More int
}

// Watch takes the samples of a day in order of time.
type Watch struct {
	set    Settings
	grid   *grid
	lag    lagWatch
	second []frame // the last one that lag has looked at
	accel  accelWatch
	turn   turnWatch
	stop   stopWatch
	gears  gearWatch
	out    outWatch
	slow   slowWatch
	drift  driftWatch
	report Report
	flows  []Flow // by the turning circles of the day
	adrift []Flow // by drifting; their common error is the wind
	closed bool
}

// New starts a day.
func New(set Settings) *Watch {
	w := &Watch{set: set}
	w.grid = newGrid(w.cell)
	w.gears.init()
	return w
}

// Add takes one sample.
func (w *Watch) Add(s *sample.Sample) {
	w.grid.add(s)
	w.gears.add(s, &w.report)
}

// Advance tells that trial time has come to now.
func (w *Watch) Advance(now int64) {
	if w.grid.started {
		w.grid.advance(now)
	}
}

// cell shows a cell that is final to all who watch.
func (w *Watch) cell(n int64) {
	f := w.grid.cellAt(n)
	if f == nil {
		return
	}
	if n%int64(perSecond) == 0 {
		w.second = w.grid.copy(w.second[:0], n-int64(perSecond), n+1)
		if len(w.second) == perSecond+1 {
			w.lag.add(w.second)
		}
	}
	w.accel.cell(w.grid, n, f, &w.report)
	if t, ok := w.turn.cell(w.grid, n, f); ok {
		w.endTurn(t)
	}
	w.stop.cell(w.grid, n, f, &w.report)
	w.out.cell(f, &w.report)
	w.slow.cell(f)
	if flow, ok := w.drift.cell(f); ok && len(w.adrift) < maxEvents {
		w.adrift = append(w.adrift, flow)
	}
}

func (w *Watch) endTurn(c turnClip) {
	if len(w.report.Turns) == maxOfKind {
		w.report.More++
		return
	}
	lag := w.lag.lag(w.grid.lines[chGroundN].period, w.set.Latency)
	t, flow, ok := c.measure(&lag, w.set.Length)
	if !ok {
		return
	}
	w.report.Turns = append(w.report.Turns, t)
	w.flows = append(w.flows, flow)
}

// Finish ends the day and derives its figures; see Derive.
func (w *Watch) Finish(current func(t int64) Flow) *Report {
	w.Close()
	return w.Evidence().Derive(w.set, current)
}

// Close ends the day: what was still going on counts as it stands. No sample
// may follow.
func (w *Watch) Close() {
	if w.closed {
		return
	}
	w.closed = true
	w.grid.finish()
	w.accel.finish(w.grid, &w.report)
	w.stop.finish(w.grid, &w.report)
	w.out.finish(&w.report)
	w.slow.close()
}

// driving returns the mean speed in 1/s and the set of the engines that turn
// in forward gear (or with the gear not heard); 0 and none where none does.
func driving(f *frame) (rpm float64, set uint8) {
	n := 0.0
	for e := range MaxEngines {
		v := f.v[chRPM+channel(e)]
		if v > stopped && (f.gear[e] == forward || f.gear[e] == gearUnknown) {
			rpm += v
			n++
			set |= 1 << e
		}
	}
	return rpm / math.Max(n, 1), set
}

// stopped, 1/s (90 rpm): an engine that turns more slowly does not run.
const stopped = 1.5

// meanOf returns the mean speed of a set of engines.
func meanOf(f *frame, set uint8) float64 {
	sum, n := 0.0, 0.0
	for e := range MaxEngines {
		if set&(1<<e) != 0 {
			sum += f.v[chRPM+channel(e)]
			n++
		}
	}
	return sum / n
}
