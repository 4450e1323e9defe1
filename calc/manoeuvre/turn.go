package manoeuvre

import (
	"math"
	"math/cmplx"
)

// Limits that find a turning circle.
const (
	// turning, rad/s (1.5 degrees a second): more than a boat yaws that holds
	// its course in a seaway, mean over a second.
	turning = 1.5 * math.Pi / 180
	// leadTurn, cells before the turn: the approach.
	leadTurn = 10 * perSecond
	// approach, cells: over which entry speed and course are taken.
	approach = 5 * perSecond
	// fullTurn, rad: a circle, less the compass's noise.
	fullTurn = 2*math.Pi - 0.05
	// steadyArc, rad: the last half circle counts as the steady turn.
	steadyArc = math.Pi
)

// Turn is a turning circle of 360 degrees or more; see the package comment for
// the definitions. A figure that could not be derived is NaN.
type Turn struct {
	Start, End       int64   // trial time, ns: rudder order, end of the steady turn
	Starboard        bool    // direction
	Changed          float64 // rad, change of heading in all
	EntrySpeed       float64 // m/s through water
	SteadySpeed      float64 // m/s through water
	SpeedLoss        float64 // ratio
	Time90, Time180  float64 // s
	Time360          float64
	Advance          float64 // m
	Transfer         float64 // m
	Tactical         float64 // m
	Steady           float64 // diameter, m
	Lengths          float64 // steady diameter in boat lengths
	Rate             float64 // rad/s in the steady turn
	HeelPeak         float64 // rad, first peak, into the turn positive
	HeelSteady       float64 // rad
	Rudder           float64 // rad in the steady turn, starboard positive
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
}

// cell returns the clip of a circle that has just ended.
func (t *turnWatch) cell(g *grid, n int64, f *frame) (clip []frame, ok bool) {
	before := g.cellAt(n - int64(perSecond))
	if before == nil {
		return nil, false
	}
	rate := before.v[chHeading] - f.v[chHeading]
	if math.IsNaN(rate) {
		rate = -cmplx.Phase(f.ground() / before.ground())
	}
	rate = -rate
	if t.on && !(rate*t.sign > turning) {
		t.on = false
		clip := g.clip(t.from-int64(leadTurn), n)
		if math.Abs(turned(clip)) > fullTurn {
			return clip, true
		}
		return nil, false
	}
	if !t.on && math.Abs(rate) > turning {
		t.on, t.from, t.sign = true, n-int64(perSecond), math.Copysign(1, rate)
	}
	return nil, false
}

// headings returns the heading of each cell, or the course over ground where
// no heading was heard.
func headings(clip []frame) []float64 {
	h := series(clip, one(chHeading))
	for _, v := range h {
		if !math.IsNaN(v) {
			return h
		}
	}
	v, _ := smoothVectors(vectors(clip, (*frame).ground), halfSmooth)
	for i, z := range v {
		h[i] = cmplx.Phase(z)
		if i > 0 && !math.IsNaN(h[i-1]) {
			h[i] = h[i-1] + math.Remainder(h[i]-h[i-1], 2*math.Pi)
		}
	}
	return h
}

// turned returns the change of heading from the approach to the end.
func turned(clip []frame) float64 {
	h := headings(clip)
	n := float64(len(h))
	return mean(h, n-5, n) - mean(h, 0, float64(leadTurn/2))
}

// circle is a turn being measured. Places count cells of the clip.
type circle struct {
	clip    []frame
	sign    float64
	heading []float64 // rad, change from the approach, positive into the turn
	track   []complex128
	order   float64
	end     float64 // place where the steady turn ends
}

// measureTurn derives the figures of a circle, and the current met in it.
func measureTurn(clip []frame, lag *Lag, length float64) (Turn, Flow, bool) {
	c := &circle{clip: clip}
	h, _ := smooth(headings(clip), halfSmooth)
	course := mean(h, 0, float64(leadTurn/2))
	c.sign = math.Copysign(1, turned(clip))
	for _, v := range h {
		c.heading = append(c.heading, c.sign*(v-course))
	}
	c.findEnd()
	rudder := c.findOrder()
	if math.IsNaN(c.order) || !c.findTrack(lag) {
		return Turn{}, Flow{}, false
	}
	flow, ok := c.current()
	if !ok {
		return Turn{}, Flow{}, false
	}
	t := Turn{
		Start: c.time(c.order), End: c.time(c.end), Starboard: c.sign > 0, Changed: valueAt(c.heading, c.end),
		Current: flow.Velocity, CurrentSE: flow.SE, OrderFromHeading: !rudder,
	}
	c.distances(&t)
	c.steady(&t)
	t.Lengths = t.Steady / length
	t.SpeedLoss = 1 - t.SteadySpeed/t.EntrySpeed
	c.heel(&t, c.through(flow.Velocity))
	rpm := series(clip, func(f *frame) float64 { v, _ := driving(f); return v })
	t.RPM = mean(rpm, c.order-float64(approach), c.order)
	return t, flow, true
}

func (c *circle) time(p float64) int64 { return c.clip[0].at + int64(math.Round(p*float64(cell))) }

// findEnd puts the end where the rate of turn last was nine tenths of its
// median over the last half circle: after it the helm was put back.
func (c *circle) findEnd() {
	last := len(c.heading) - 1
	for last > 0 && math.IsNaN(c.heading[last]) {
		last--
	}
	_, rate := smooth(c.heading, halfSmooth)
	from := crossing(c.heading, 0, c.heading[last]-steadyArc)
	typical := mean(rate, from, float64(last-perSecond))
	for last > 0 && !(rate[last] >= 0.9*typical) {
		last--
	}
	c.end = float64(last)
}

// findOrder finds the moment of the rudder order: the onset of the rudder's
// movement where one is heard, otherwise that of the turn itself.
func (c *circle) findOrder() (rudder bool) {
	x := series(c.clip, one(chRudder))
	seen := crossing(c.heading, 0, 0.1)
	if math.IsNaN(seen) {
		c.order = seen
		return false
	}
	if p := rudderOnset(x, int(seen), c.sign); !math.IsNaN(p) && p < seen {
		c.order = p
		return true
	}
	c.order = c.turnOnset(seen)
	return false
}

// rudderOnset takes the place at which the rudder has half its later angle and
// goes back to its onset.
func rudderOnset(x []float64, seen int, sign float64) float64 {
	later := sign * mean(x, float64(seen), float64(seen+2*perSecond))
	level := sign * mean(x, float64(seen-6*perSecond), float64(seen-3*perSecond))
	if !(later-level > 2*math.Pi/180) {
		return math.NaN()
	}
	half := seen
	for half > 0 && sign*x[half]-level > (later-level)/2 {
		half--
	}
	return onset(x, half+1)
}

// turnOnset fits the first-order response of a ship to its rudder (Nomoto et
// al., Int. Shipbuilding Progress 4 (1957) 354),
//
//	heading = h0 + r*(x - T*(1-exp(-x/T))),  x = t - order,
//
// to the first 60 degrees: r and h0 by least squares, T and the order by
// search.
func (c *circle) turnOnset(seen float64) float64 {
	from := max(0, int(seen)-6*perSecond)
	to := int(crossing(c.heading, 0, math.Pi/3))
	best, where := math.Inf(1), math.NaN()
	for _, lag := range []float64{0.15, 0.25, 0.4, 0.6, 0.8, 1.1, 1.5, 2} {
		for p := seen - 3.5*float64(perSecond); p < seen; p += 0.5 {
			if r := c.response(from, to, p, lag/dt); r < best {
				best, where = r, p
			}
		}
	}
	return where
}

// response returns the sum of squared residuals of the fit in turnOnset.
func (c *circle) response(from, to int, order, lag float64) float64 {
	f := make([]float64, max(0, to-from))
	for i := range f {
		if s := float64(from+i) - order; s > 0 {
			f[i] = s - lag*(1-math.Exp(-s/lag))
		}
	}
	_, squares, ok := regress(f, c.heading[from:from+len(f)])
	if !ok {
		return math.Inf(1)
	}
	return squares
}

// findTrack takes the positions, moved back by their latency, or integrates
// the velocities where positions are missing.
func (c *circle) findTrack(lag *Lag) bool {
	raw := vectors(c.clip, (*frame).position)
	if holes(raw) {
		v, _ := lag.corrected(vectors(c.clip, (*frame).ground))
		raw = make([]complex128, len(v))
		for i := range raw {
			raw[i] = cmplx.NaN()
			if i > 0 && math.IsNaN(real(raw[i-1])) && !math.IsNaN(real(v[i])) {
				raw[i] = 0
			} else if i > 0 {
				raw[i] = raw[i-1] + (v[i-1]+v[i])*complex(dt/2, 0)
			}
		}
	}
	c.track = make([]complex128, len(raw))
	for i := range raw {
		c.track[i] = vectorAt(raw, float64(i)+lag.Latency.Mean/dt)
	}
	// The end of the clip has no later position.
	for c.end > 0 && math.IsNaN(real(c.track[int(c.end)])) {
		c.end--
	}
	return c.end > c.order && !math.IsNaN(real(vectorAt(c.track, c.order-float64(approach))))
}

func holes(x []complex128) bool {
	for _, z := range x {
		if math.IsNaN(real(z)) {
			return true
		}
	}
	return false
}

// speedTaus, s: time constants tried for the loss of speed in the turn.
var speedTaus = []float64{2, 3, 4.5, 6.5, 9, 13, 20}

// current fits the track of the turn to a boat that moves where it heads, at a
// speed that falls off exponentially, in water that drifts:
//
//	track = p0 + C*t + integral((a + b*exp(-t/T)) * exp(i*heading) dt)
//
// a and b are complex: a compass offset and a constant drift angle do not
// matter. With b = 0 and a constant rate of turn this is the drifting circle
// centre + C*t + R*(cos, sin). Linear least squares for every T of a list; the
// best one is taken. The standard error allows for residuals that stay
// correlated for two seconds.
func (c *circle) current() (Flow, bool) {
	from := int(crossing(c.heading, c.order, math.Pi/6))
	to := int(c.end)
	best := math.Inf(1)
	var flow complex128
	for _, tau := range speedTaus {
		x, y := c.drifting(from, to, tau)
		if len(x) < 8*perSecond {
			return Flow{}, false
		}
		if k, rms, ok := complexLeastSquares(x, y); ok && rms < best {
			best, flow = rms, k[1]
		}
	}
	if math.IsInf(best, 1) {
		return Flow{}, false
	}
	span := float64(to-from) * dt
	// Standard error of a slope over n independent values of spacing 2 s.
	se := best * math.Sqrt(12/(span/2)) / span
	return Flow{Time: c.time(float64(from+to) / 2), Velocity: flow, SE: math.Hypot(2*se, 0.02)}, true
}

// drifting gives the rows of the fit in current.
func (c *circle) drifting(from, to int, tau float64) (x [][]complex128, y []complex128) {
	var plain, decay complex128
	ahead := func(i int) complex128 { return cmplx.Rect(1, c.sign*c.heading[i]) }
	for i := from; i <= to; i++ {
		t := float64(i-from) * dt
		if i > from {
			a, b := ahead(i-1), ahead(i)
			plain += (a + b) * complex(dt/2, 0)
			decay += (a*complex(math.Exp(-(t-dt)/tau), 0) + b*complex(math.Exp(-t/tau), 0)) * complex(dt/2, 0)
		}
		x = append(x, []complex128{1, complex(t, 0), plain, decay})
		y = append(y, c.track[i])
	}
	return x, y
}

// through returns the track with the current's drift taken off, from the
// order on.
func (c *circle) through(flow complex128) []complex128 {
	out := make([]complex128, len(c.track))
	for i, z := range c.track {
		out[i] = z - flow*complex((float64(i)-c.order)*dt, 0)
	}
	return out
}

// distances fills in times, advance, transfer, tactical diameter and the entry
// speed.
func (c *circle) distances(t *Turn) {
	way := c.through(t.Current)
	origin := vectorAt(way, c.order)
	before := origin - vectorAt(way, c.order-float64(approach))
	t.EntrySpeed = cmplx.Abs(before) / (float64(approach) * dt)
	along := before / complex(cmplx.Abs(before), 0)
	p90, p180, p360 := c.reached(math.Pi/2), c.reached(math.Pi), c.reached(2*math.Pi)
	t.Time90, t.Time180, t.Time360 = (p90-c.order)*dt, (p180-c.order)*dt, (p360-c.order)*dt
	to := func(p float64) complex128 { return (vectorAt(way, p) - origin) * cmplx.Conj(along) }
	t.Advance = real(to(p90))
	t.Transfer = c.sign * imag(to(p90))
	t.Tactical = c.sign * imag(to(p180))
}

// reached returns the place of a change of heading.
func (c *circle) reached(angle float64) float64 { return crossing(c.heading, c.order, angle) }

// steady fills in what holds in the last half circle.
func (c *circle) steady(t *Turn) {
	way := c.through(t.Current)
	from := c.reached(valueAt(c.heading, c.end) - steadyArc)
	if math.IsNaN(from) {
		from = c.order
	}
	_, radius, _ := fitCircle(way[int(math.Ceil(from)) : int(c.end)+1])
	t.Steady = 2 * radius
	t.Rate = (valueAt(c.heading, c.end) - valueAt(c.heading, from)) / ((c.end - from) * dt)
	t.SteadySpeed = t.Rate * radius
	t.Rudder = mean(series(c.clip, one(chRudder)), from, c.end)
	roll := series(c.clip, one(chRoll))
	t.HeelSteady = c.sign * (mean(roll, from, c.end) - c.list(roll))
}

// list is the heel on the approach.
func (c *circle) list(roll []float64) float64 {
	return mean(roll, c.order-float64(approach), c.order)
}

// fitCircle fits a circle to points: the centre and radius that make the sum
// of squared distances from the circle least. It starts from the algebraic fit
// (Kåsa, IEEE Trans. Instrum. Meas. 25 (1976) 8) and goes on by Gauss and
// Newton (as in Gander, Golub and Strebel, BIT 34 (1994) 558).
func fitCircle(p []complex128) (centre complex128, radius float64, ok bool) {
	var m complex128
	for _, z := range p {
		m += z / complex(float64(len(p)), 0)
	}
	if len(p) < 4 {
		return m, math.NaN(), false
	}
	x, y := make([][]float64, len(p)), make([]float64, len(p))
	for i, z := range p {
		d := z - m
		x[i], y[i] = []float64{2 * real(d), 2 * imag(d), 1}, dot(d, d)
	}
	k, ok := leastSquares(x, y)
	if !ok {
		return m, math.NaN(), false
	}
	c := complex(k[0], k[1])
	radius = math.Sqrt(math.Max(0, k[2]+dot(c, c)))
	for range 20 {
		for i, z := range p {
			d := z - m - c
			r := cmplx.Abs(d)
			x[i], y[i] = []float64{real(d) / r, imag(d) / r, 1}, r-radius
		}
		k, ok = leastSquares(x, y)
		if !ok {
			return m + c, radius, false
		}
		c += complex(k[0], k[1])
		radius += k[2]
		if math.Abs(k[2]) < 1e-9*radius {
			break
		}
	}
	return m + c, radius, true
}
