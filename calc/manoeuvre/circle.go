package manoeuvre

import (
	"math"
	"math/cmplx"
	"slices"

	"trialday.example/logd/calc/stat"
)

const (
	// longApproach, cells before the order: the course held is averaged over
	// no more.
	longApproach = 25 * perSecond
	// straight, rad (2 degrees): the mean heading of two seconds stays within
	// this of the last five on the approach.
	straight = 2 * math.Pi / 180
	// nearby, rad (30 degrees): a change of heading is timed by the headings
	// within this of it.
	nearby = math.Pi / 6
)

// circle is a turn being measured. Places count cells of the clip.
type circle struct {
	turnClip
	sign    float64
	heading []float64    // rad, positive into the turn
	track   []complex128 // over ground, m, the latency of positions taken off
	begin   float64      // of the approach
	order   float64      // of the rudder
	orderSE float64      // cells
	end     float64      // of the steady turn
	level   float64      // rad, heading of the approach
	flow    Flow
	// What may be wrong, for the intervals: the course of the approach, rad
	// into the turn, and the boat's own wandering off its circle, m.
	astray float64
	weave  []complex128
}

// figures of a turn that follow from order, headings, track and current.
const (
	figEntry = iota
	figSpeed
	figLoss
	fig90
	fig180
	fig360
	figAdvance
	figTransfer
	figTactical
	figDiameter
	figRate
	numFigures
)

type figures [numFigures]float64

// measure derives the figures of a circle, and the current met in it.
func (k *turnClip) measure(lag *Lag, length float64) (Turn, Flow, bool) {
	c := &circle{turnClip: *k, sign: math.Copysign(1, k.turned())}
	for _, v := range headings(k.frames, lag) {
		c.heading = append(c.heading, c.sign*v)
	}
	if !c.findEnd() {
		return Turn{}, Flow{}, false
	}
	rudder := c.findOrder()
	if math.IsNaN(c.order) || !c.findTrack(lag) {
		return Turn{}, Flow{}, false
	}
	c.findApproach()
	var ok bool
	if c.flow, ok = c.current(); !ok {
		return Turn{}, Flow{}, false
	}
	t := Turn{
		Start: c.time(c.order), End: c.time(c.end), Starboard: c.sign > 0, Changed: valueAt(c.heading, c.end) - c.level,
		Current: c.flow.Velocity, CurrentSE: c.flow.SE, OrderFromHeading: !rudder,
	}
	t.take(c.estimates(lag), length)
	c.attitude(&t)
	rpm := series(c.frames, func(f *frame) float64 { v, _ := driving(f); return v })
	t.RPM = mean(rpm, c.order-float64(approach), c.order)
	return t, c.flow, true
}

// take puts the figures in their places.
func (t *Turn) take(f [numFigures]stat.Estimate, length float64) {
	t.EntrySpeed, t.SteadySpeed, t.SpeedLoss = f[figEntry], f[figSpeed], f[figLoss]
	t.Time90, t.Time180, t.Time360 = f[fig90], f[fig180], f[fig360]
	t.Advance, t.Transfer, t.Tactical = f[figAdvance], f[figTransfer], f[figTactical]
	t.Steady, t.Rate = f[figDiameter], f[figRate]
	t.Lengths = t.Steady.Scale(1 / length)
}

func (c *circle) time(p float64) int64 { return c.frames[0].at + int64(math.Round(p*float64(cell))) }

// findEnd puts the end where the rate of turn last was nine tenths of its
// median over the last half circle: after it the helm was put back.
func (c *circle) findEnd() bool {
	h, _ := smooth(c.heading, halfSmooth)
	last := len(h) - 1
	for last > 0 && math.IsNaN(h[last]) {
		last--
	}
	_, rate := smooth(h, halfSmooth)
	from := crossing(h, 0, h[last]-steadyArc)
	typical := mean(rate, from, float64(last-perSecond))
	for last > 0 && !(rate[last] >= 0.9*typical) {
		last--
	}
	c.end = float64(last)
	return last > c.seen
}

// findOrder finds the moment of the rudder order: the onset of the rudder's
// movement where one is heard, otherwise that of the turn itself.
func (c *circle) findOrder() (rudder bool) {
	h, _ := smooth(c.heading, halfSmooth)
	before := mean(h, float64(c.seen-2*approach), float64(c.seen-approach))
	seen := crossing(h, float64(c.seen-approach), before+0.1)
	if c.order = seen; math.IsNaN(seen) {
		return false
	}
	x := series(c.frames, one(chRudder))
	if p, se := rudderOnset(x, int(seen), c.sign); !math.IsNaN(p) && p < seen {
		c.order, c.orderSE = p, se
		return true
	}
	c.turnOnset(seen)
	return false
}

// rudderOnset takes the place at which the rudder has half its later angle and
// goes back to its onset. The standard error, in cells, is the rudder's
// wandering before, over its speed: the onset is where it leaves a level that
// is not known better.
func rudderOnset(x []float64, seen int, sign float64) (place, se float64) {
	later := sign * mean(x, float64(seen), float64(seen+2*perSecond))
	from, to := float64(seen-8*perSecond), float64(seen-3*perSecond)
	level := sign * mean(x, from, to)
	if !(later-level > 2*math.Pi/180) {
		return math.NaN(), math.NaN()
	}
	half := seen
	for half > 0 && sign*x[half]-level > (later-level)/2 {
		half--
	}
	place = onset(x, half+1)
	speed := (later - level) / 2 / math.Max(float64(half)-place, 1)
	return place, math.Hypot(0.3, wander(x, from, to, yawMemory)/speed)
}

// findApproach goes back from the order for as long as the course was held.
func (c *circle) findApproach() {
	at := float64(approach)
	c.begin = c.order - at
	held := mean(c.heading, c.begin, c.order)
	for at < float64(longApproach) {
		p := c.order - at - float64(perSecond)
		if p < 1 || math.IsNaN(real(vectorAt(c.track, p))) || !(math.Abs(mean(c.heading, p-float64(perSecond), p+float64(perSecond))-held) < straight) {
			break
		}
		c.begin, at = p, at+float64(perSecond)
	}
	c.level = mean(c.heading, c.begin, c.order)
}

// findTrack takes the positions, moved back by their latency, or integrates
// the velocities where positions are missing. They are smoothed: messages that
// come now sooner, now later put a fast boat off by a quarter of a metre.
func (c *circle) findTrack(lag *Lag) bool {
	raw := vectors(c.frames, (*frame).position)
	if holes(raw[c.seen-2*approach:]) {
		v, _ := lag.corrected(vectors(c.frames, (*frame).ground))
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
	smoothed, _ := smoothVectors(raw, halfSmooth)
	c.track = moved(smoothed, lag.Latency.Mean)
	// The end of the clip has no later position.
	for c.end > 0 && math.IsNaN(real(c.track[int(c.end)])) {
		c.end--
	}
	return c.end > c.order && !math.IsNaN(real(vectorAt(c.track, c.order-float64(approach))))
}

// moved returns x as it was found so many seconds later.
func moved(x []complex128, s float64) []complex128 {
	out := make([]complex128, len(x))
	for i := range x {
		out[i] = vectorAt(x, float64(i)+s/dt)
	}
	return out
}

func holes(x []complex128) bool {
	for _, z := range x {
		if math.IsNaN(real(z)) {
			return true
		}
	}
	return false
}

// through returns the track with the current's drift taken off, from the
// order on.
func (c *circle) through() []complex128 {
	out := make([]complex128, len(c.track))
	for i, z := range c.track {
		out[i] = z - c.flow.Velocity*complex((float64(i)-c.order)*dt, 0)
	}
	return out
}

// figures derives all that follows from order, headings, track and current.
func (c *circle) figures() (f figures) {
	way := c.through()
	origin := vectorAt(way, c.order)
	before := origin - vectorAt(way, c.begin)
	along := before / complex(cmplx.Abs(before), 0) * cmplx.Rect(1, c.sign*c.astray)
	f[figEntry] = cmplx.Abs(origin-vectorAt(way, c.entryFrom())) / ((c.order - c.entryFrom()) * dt)
	p90, p180, p360 := c.reached(math.Pi/2), c.reached(math.Pi), c.reached(2*math.Pi)
	f[fig90], f[fig180], f[fig360] = (p90-c.order)*dt, (p180-c.order)*dt, (p360-c.order)*dt
	to := func(p float64) complex128 { return (vectorAt(way, p) - origin) * cmplx.Conj(along) }
	f[figAdvance] = real(to(p90))
	f[figTransfer] = c.sign * imag(to(p90))
	f[figTactical] = c.sign * imag(to(p180))
	c.steady(way, &f)
	return f
}

// entryFrom returns the place from which on the entry speed is taken.
func (c *circle) entryFrom() float64 { return c.order - float64(approach) }

// reached returns the place of a change of heading: where a parabola through
// the headings nearby comes to it. Waves, compass and helm average out.
func (c *circle) reached(change float64) float64 {
	change += c.level
	at := crossing(c.heading, c.order, change)
	from, to := crossing(c.heading, c.order, change-nearby), crossing(c.heading, math.Max(at, 0), change+nearby)
	if math.IsNaN(at) || math.IsNaN(from) || math.IsNaN(to) || to-from < 4 {
		return at
	}
	var x [][]float64
	var y []float64
	for i := int(math.Ceil(from)); float64(i) <= to; i++ {
		if d := float64(i) - at; !math.IsNaN(c.heading[i]) {
			x, y = append(x, []float64{1, d, d * d}), append(y, c.heading[i]-change)
		}
	}
	if k, ok := leastSquares(x, y); ok {
		// The root nearest to at, as in rootBefore.
		if d := k[1]*k[1] - 4*k[0]*k[2]; d >= 0 && k[1] > 0 {
			at -= 2 * k[0] / (k[1] + math.Sqrt(d))
		}
	}
	return at
}

// steadyFrom returns the place where the last half circle begins.
func (c *circle) steadyFrom() float64 {
	from := crossing(c.heading, c.order, valueAt(c.heading, c.end)-steadyArc)
	if math.IsNaN(from) {
		return c.order
	}
	return from
}

// steady fills in what holds in the last half circle.
func (c *circle) steady(way []complex128, f *figures) {
	from := c.steadyFrom()
	p := slices.Clone(way[int(math.Ceil(from)) : int(c.end)+1])
	if c.weave != nil {
		for i := range p {
			p[i] += c.weave[int(math.Ceil(from))+i]
		}
	}
	_, radius, _ := fitCircle(p)
	f[figDiameter] = 2 * radius
	f[figRate] = slopeOf(c.heading, from, c.end) / dt
	half := f[figRate] / 2 // of the arc of a chord
	f[figSpeed] = mean(chords(way), from, c.end) * half / math.Sin(half)
	f[figLoss] = 1 - f[figSpeed]/f[figEntry]
}

// chords returns the lengths of the chords of a track over one second about
// each cell, m.
func chords(way []complex128) []float64 {
	out := make([]float64, len(way))
	for i := range way {
		const h = float64(perSecond) / 2
		out[i] = cmplx.Abs(vectorAt(way, float64(i)+h) - vectorAt(way, float64(i)-h))
	}
	return out
}

// slopeOf returns the least-squares slope of x between two places, per cell.
func slopeOf(x []float64, a, b float64) float64 {
	places := make([]float64, len(x))
	y := make([]float64, len(x))
	for i := range x {
		places[i], y[i] = float64(i), math.NaN()
		if float64(i) >= a && float64(i) <= b {
			y[i] = x[i]
		}
	}
	k, _, ok := regress(places, y)
	if !ok {
		return math.NaN()
	}
	return k
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
