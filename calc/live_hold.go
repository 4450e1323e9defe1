package calc

import (
	"math"
	"slices"

	"trialday.example/logd/calc/stat"
)

// viewTicks is how far back in a run steadiness is looked for while the run
// lasts: five minutes, or twice the shortest window where that is more. A
// longer steady stretch than that is told as that long.
func viewTicks(lim Limits) int { return max(300, 2*lim.MinTicks) }

// A run is judged every second for two minutes, then every five: that keeps
// what it costs at that of the first minutes.
const (
	everyTick = 120
	seldom    = 5
)

// judgedPart is what a Hold was judged from.
type judgedPart struct {
	start int64 // of the run, trial time
	ticks int
}

// trendTicks is the time over which the trend of speed is told.
const trendTicks = 10

// Hold tells how long the boat is steady in a run of held throttle that has not
// ended. It is judged by the rules of steadySpans, as if the run ended now; a
// second counts once its kind is judged, three seconds later.
type Hold struct {
	// Held tells whether throttle and course are held at all; without it the
	// rest is zero.
	Held bool
	// Reason says why the stretch that lasts until now is not steady;
	// Accepted where it is.
	Reason Reason
	// Start and End bound that stretch, trial time, ns.
	Start, End int64
	RPM        float64 // 1/s, mean of the driving engines over it
	Heading    float64 // rad, over it; by the course where there is no compass
	// Trend is the change of speed over the last seconds, m/s².
	Trend float64
	// NoSpeed and NoRPM tell what was missing in the last second when it was
	// judged.
	NoSpeed bool
	NoRPM   EngineSet
}

// hold judges the present run.
func (t *Trial) hold() Hold {
	c := t.cutter
	if !c.begun || c.kind != HeldThrottle {
		return Hold{}
	}
	end := c.judged
	if c.candidate != c.kind {
		end = c.since // what follows may be no held throttle any more
	}
	if end > everyTick {
		end -= end % seldom
	}
	if t.live.judged == (judgedPart{c.ticks[0].at, end}) {
		return t.live.hold
	}
	from := max(0, end-viewTicks(t.set.Limits))
	lead := t.lead
	if from > 0 {
		lead = c.ticks[max(0, from-leadTicks):from]
	}
	h := holdOf(lead, c.ticks[from:end], t.set.Limits)
	last := c.ticks[len(c.ticks)-1:]
	h.NoSpeed = !last[0].has(chSOG)
	h.NoRPM = enginesOf(c.ticks[from:]) &^ enginesOf(last)
	t.live.judged, t.live.hold = judgedPart{c.ticks[0].at, end}, h
	return h
}

// Seconds is the length of the stretch.
func (h *Hold) Seconds() float64 { return float64(h.End-h.Start) / 1e9 }

// holdOf judges the end of a stretch of held throttle.
func holdOf(lead, view []tick, lim Limits) Hold {
	h := Hold{Held: true, Reason: TooShort, RPM: math.NaN(), Heading: math.NaN()}
	if len(view) == 0 {
		return h
	}
	part := view
	if spans := steadySpans(lead, view, lim); len(spans) > 0 {
		s := spans[len(spans)-1]
		h.Reason, part = s.reason, view[s.from:s.to]
	}
	h.Start, h.End = part[0].at, part[len(part)-1].at+second
	rpm := overEngines(part, chRPM, part[len(part)/2].driving())
	h.RPM = stat.Mean(slices.DeleteFunc(rpm, math.IsNaN))
	h.Heading = circularMean(unwrappedScalar(part, (*tick).heading))
	h.Trend = speedSlope(view[max(0, len(view)-trendTicks):])
	return h
}
