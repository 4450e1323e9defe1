package manoeuvre

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc/stat"
)

// Limits that find a turning circle.
const (
	// turning, rad/s (1.5 degrees a second): more than a boat yaws that holds
	// its course in a seaway, mean over a second.
	turning = 1.5 * math.Pi / 180
	// leadTurn, cells kept before the turn: the onset, and the approach.
	leadTurn = 40 * perSecond
	// approach, cells before the order: the least over which entry speed and
	// course are taken.
	approach = 5 * perSecond
	// fullTurn, rad: a circle, less the compass's noise.
	fullTurn = 2*math.Pi - 0.05
	// steadyArc, rad: the last half circle counts as the steady turn.
	steadyArc = math.Pi
)

// Turn is a turning circle of 360 degrees or more; see the package comment for
// the definitions. A figure that could not be derived is NaN.
type Turn struct {
	Start, End       int64         // trial time, ns: rudder order, end of the steady turn
	Starboard        bool          // direction
	Changed          float64       // rad, change of heading in all
	EntrySpeed       stat.Estimate // m/s through water
	SteadySpeed      stat.Estimate // m/s through water
	SpeedLoss        stat.Estimate // ratio
	Time90, Time180  stat.Estimate // s
	Time360          stat.Estimate
	Advance          stat.Estimate // m
	Transfer         stat.Estimate // m
	Tactical         stat.Estimate // m
	Steady           stat.Estimate // diameter, m
	Lengths          stat.Estimate // steady diameter in boat lengths
	Rate             stat.Estimate // rad/s in the steady turn
	HeelPeak         stat.Estimate // rad, first peak, into the turn positive
	HeelSteady       stat.Estimate // rad
	Rudder           stat.Estimate // rad in the steady turn, starboard positive
	Current          complex128
	CurrentSE        float64 // m/s
	RPM              float64 // 1/s, mean of the driving engines at the entry
	OrderFromHeading bool    // no rudder was heard: the order was found from the heading
}

// turnWatch finds turning circles by the heading, or by the course over ground
// where there is none.
type turnWatch struct {
	on   bool
	from int64 // number of its first cell
	sign float64
	clip []frame // the last one; most are of a helm that was moved, and no circle
}

// turnClip is the cells of a turn and of what came before. They stand until the
// next turn.
type turnClip struct {
	frames []frame
	seen   int // place of the cell at which the turn was seen
}

// cell returns the clip of a circle that has just ended.
func (t *turnWatch) cell(g *grid, n int64, f *frame) (c turnClip, ok bool) {
	before := g.cellAt(n - int64(perSecond))
	if before == nil {
		return c, false
	}
	rate := before.v[chHeading] - f.v[chHeading]
	if math.IsNaN(rate) {
		rate = -cmplx.Phase(f.ground() / before.ground())
	}
	rate = -rate
	if t.on && !(rate*t.sign > turning) {
		t.on = false
		t.clip = g.copy(t.clip[:0], t.from-int64(leadTurn), n)
		c.frames = t.clip
		c.seen = len(c.frames) - int(n-t.from)
		return c, c.seen > 2*approach && math.Abs(c.turned()) > fullTurn
	}
	if !t.on && math.Abs(rate) > turning {
		t.on, t.from, t.sign = true, n-int64(perSecond), math.Copysign(1, rate)
	}
	return c, false
}

// headings returns the heading of each cell, or the course over ground where
// no heading was heard, the receiver's lag taken out.
func headings(clip []frame, lag *Lag) []float64 {
	h := series(clip, one(chHeading))
	for _, v := range h {
		if !math.IsNaN(v) {
			return h
		}
	}
	v, _ := lag.corrected(vectors(clip, (*frame).ground))
	for i, z := range moved(v, lag.Latency.Mean) {
		h[i] = cmplx.Phase(z)
		if i > 0 && !math.IsNaN(h[i-1]) {
			h[i] = h[i-1] + math.Remainder(h[i]-h[i-1], 2*math.Pi)
		}
	}
	return h
}

// turned returns the change of heading from the approach to the end.
func (c *turnClip) turned() float64 {
	h := headings(c.frames, &Lag{})
	n, seen := float64(len(h)), float64(c.seen)
	// The last cells of a course over ground are lost to smoothing.
	return mean(h, n-10, n) - mean(h, seen-2*float64(approach), seen-float64(approach))
}
