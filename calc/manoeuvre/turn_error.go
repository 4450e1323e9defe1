package manoeuvre

import (
	"math"
	"math/cmplx"
	"slices"

	"trialday.example/logd/calc/stat"
)

const (
	// yawMemory, s: how long helm and compass keep an error of heading.
	yawMemory = 5.0
	// yawLeast, rad (0.3 degrees): no helm and compass hold better.
	yawLeast = 0.3 * math.Pi / 180
	// errorBlock, cells: errors begin anew after so long.
	errorBlock  = 2 * perSecond
	blockLength = float64(errorBlock) * dt // s
)

// estimates derives the figures with their standard errors.
//
// Each source of error is an input that is off by its standard error; what
// that does to a figure, found by deriving the figures again, is its part, and
// the parts add up by squares (ISO/IEC Guide 98-3 (GUM), 5.1.2 and 5.1.3, note
// 2). The sources:
//
//   - the order: findOrder
//   - the current: its error in either direction
//   - the latency of positions
//   - helm, waves and compass: the heading is off by a first-order
//     autoregressive process, with the spread seen on the approach and
//     yawMemory, as a sum of independent starts every two seconds. It puts off
//     the course of the approach and the times of changes of heading; the last
//     half circle is bent by it, since the boat goes where it heads.
//   - the scatter of what a figure is the mean of: scatter
//   - positions: they walk at random, by what the day's positions and
//     velocities differ (lagWatch), anew every two seconds in either direction
func (c *circle) estimates(lag *Lag) (out [numFigures]stat.Estimate) {
	plain := c.figures()
	var squares figures
	off := func(d *circle) {
		for i, v := range d.figures() {
			if x := v - plain[i]; !math.IsNaN(x) {
				squares[i] += x * x
			}
		}
	}
	d := *c
	d.order += c.orderSE
	off(&d)
	for _, way := range []complex128{1, 1i} {
		d = *c
		d.flow.Velocity += way * complex(c.flow.SE, 0)
		off(&d)
	}
	d = *c
	d.track = moved(c.track, -lag.Latency.SE)
	off(&d)
	yaw := math.Max(yawLeast, wander(c.heading, c.begin, c.order, yawMemory))
	yaw = math.Max(yaw, c.wanderInTurn())
	for from := int(c.begin); from < int(c.end); from += errorBlock {
		off(c.swayed(from, yaw))
		for _, way := range []complex128{1, 1i} {
			off(c.walked(from, way*complex(lag.Walk*math.Sqrt(blockLength), 0)))
		}
		if from == int(c.begin) {
			yaw *= math.Sqrt(1 - math.Exp(-2*blockLength/yawMemory))
		}
	}
	c.scatter(&plain, &squares)
	for i, v := range plain {
		out[i] = stat.Estimate{Mean: v, SE: math.Sqrt(squares[i]), DOF: 30}
	}
	return out
}

// scatter adds to the squares what a mean, a slope or a circle is off by since
// waves and helm scatter what it is fitted to: standard errors that allow for
// correlation (stat.MeanOf, stat.Slope), of values averaged over a second.
func (c *circle) scatter(f, squares *figures) {
	way := c.through()
	v := chords(way)
	from := c.steadyFrom()
	// Waves scatter the speed in the turn as on the approach. In the turn itself
	// an error of the current, counted already, would look like scatter.
	entry := meanOver(v, c.entryFrom(), c.order).SE
	steady := entry * math.Sqrt(float64(approach)/math.Max(c.end-from, 1))
	loss := math.Hypot(steady, entry*f[figSpeed]/f[figEntry]) / f[figEntry]
	rate := stat.Slope(secondsOf(c.heading, from, c.end)).SE
	p := way[int(math.Ceil(from)) : int(c.end)+1]
	centre, radius, _ := fitCircle(p)
	off := make([]float64, len(p))
	for i, z := range p {
		off[i] = cmplx.Abs(z-centre) - radius
	}
	// The radius of a half circle has 5.3 times a mean's variance, as its
	// centre is found by the same fit: 1/(1-(2/pi)²/(1/2)).
	diameter := 2 * math.Sqrt(5.3) * meanOver(off, 0, float64(len(off)-1)).SE
	for i, se := range map[int]float64{figEntry: entry, figSpeed: steady, figLoss: loss, figRate: rate, figDiameter: diameter} {
		if !math.IsNaN(se) && !math.IsInf(se, 0) {
			squares[i] += se * se
		}
	}
}

// wander is the standard deviation that x has about its mean between two
// places, corrected for the mean being of the same few seconds (variance of the
// mean of a first-order process with that memory, s).
func wander(x []float64, from, to, memory float64) float64 {
	n := (to - from) * dt / memory
	mean := 2 / n * (1 - (1-math.Exp(-n))/n)
	return spread(x, from, to) / math.Sqrt(1-mean)
}

// wanderInTurn is the standard deviation of heading about a steady turn in the
// last half circle: waves met from all sides make the boat yaw more than on the
// approach.
func (c *circle) wanderInTurn() float64 {
	from := c.steadyFrom()
	rest := slices.Clone(c.heading)
	slope := slopeOf(rest, from, c.end)
	for i := range rest {
		rest[i] -= slope * float64(i)
	}
	return spread(rest, from, c.end)
}

// swayed is the circle with headings off by yaw from a cell on, which dies
// away.
func (c *circle) swayed(from int, yaw float64) *circle {
	d := *c
	d.heading = slices.Clone(c.heading)
	d.weave = make([]complex128, len(c.track))
	var off complex128
	for i := from; i < len(d.heading); i++ {
		e := yaw * math.Exp(-float64(i-from)*dt/yawMemory)
		d.heading[i] += e
		if step := c.track[i] - c.track[i-1] - c.flow.Velocity*complex(dt, 0); !cmplx.IsNaN(step) {
			off += step * complex(0, c.sign*e)
		}
		d.weave[i] = off
	}
	d.level = mean(d.heading, c.begin, c.order)
	d.astray = d.level - c.level
	return &d
}

// walked is the circle with a track that goes astray by so much in the two
// seconds from a cell on.
func (c *circle) walked(from int, by complex128) *circle {
	d := *c
	d.track = slices.Clone(c.track)
	for i := from; i < len(d.track); i++ {
		d.track[i] += by * complex(math.Min(1, float64(i-from)/float64(errorBlock)), 0)
	}
	return &d
}
