package manoeuvre

import "math"

// heelSmooth, cells to either side of the parabola that smooths speed and
// heading for the heel's cause.
const heelSmooth = 7

// Natural frequencies, rad/s, and damping ratios of roll that are tried.
var (
	rollFrequencies = []float64{0.8, 0.95, 1.1, 1.3, 1.5, 1.7, 1.95, 2.2, 2.5, 2.9, 3.4, 4}
	rollDampings    = []float64{0.1, 0.15, 0.2, 0.27, 0.35, 0.45, 0.6, 0.8, 1.1}
)

// heel fills in the first peak of the heel and its settled value.
//
// Waves roll the boat about as quickly as the turn does, so the greatest roll
// is no measure of the turn. The roll from the approach to the end is fitted
// by the response of a damped oscillator to the lateral acceleration V*r,
//
//	h'' + 2*z*w*h' + w²*h = w²*k*atan(V*r/g)   plus a constant list,
//
// k and the list by least squares, frequency w and damping z by search; the
// peak is that of the fit, before a change of heading of 180 degrees.
func (c *circle) heel(t *Turn, way []complex128) {
	roll := series(c.clip, one(chRoll))
	cause := c.lateral(way)
	from, to := max(0, int(c.order)-approach), int(c.end)
	into := make([]float64, to+1-from)
	for i := range into {
		into[i] = c.sign * roll[from+i]
	}
	best := math.Inf(1)
	t.HeelPeak = math.NaN()
	for _, w := range rollFrequencies {
		for _, z := range rollDampings {
			h := respond(cause, from, to, w, z)
			k, squares, ok := regress(h[from:to+1], into)
			if ok && squares < best {
				best = squares
				t.HeelPeak = c.firstPeak(h, k)
			}
		}
	}
}

// lateral returns atan(V*r/g) of each cell, into the turn positive; 0 where
// not known.
func (c *circle) lateral(way []complex128) []float64 {
	_, v := smoothVectors(way, heelSmooth)
	_, r := smooth(c.heading, heelSmooth)
	out := make([]float64, len(v))
	for i := range v {
		if a := math.Hypot(real(v[i]), imag(v[i])) * r[i] / gravity; !math.IsNaN(a) {
			out[i] = math.Atan(a)
		}
	}
	return out
}

// respond integrates the oscillator for k = 1, from rest at from.
func respond(cause []float64, from, to int, w, z float64) []float64 {
	const parts = 4
	h := make([]float64, len(cause))
	x, rate := 0.0, 0.0
	for i := from; i <= to; i++ {
		h[i] = x
		for range parts {
			rate += (w*w*(cause[i]-x) - 2*z*w*rate) * dt / parts
			x += rate * dt / parts
		}
	}
	return h
}

// firstPeak returns the greatest k*h before a change of heading of 180 degrees.
func (c *circle) firstPeak(h []float64, k float64) float64 {
	peak := math.NaN()
	to := c.reached(math.Pi)
	for i := int(math.Ceil(c.order)); float64(i) < to && i < len(h); i++ {
		if v := k * h[i]; !(math.Abs(v) <= math.Abs(peak)) {
			peak = v
		}
	}
	return peak
}
