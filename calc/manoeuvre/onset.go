package manoeuvre

import (
	"math"
)

// onsetLags, s: time constants of the response to the rudder that are tried.
var onsetLags = []float64{0.12, 0.17, 0.23, 0.3, 0.38, 0.48, 0.6, 0.75, 0.93, 1.15, 1.4, 1.7, 2.1, 2.6}

// turnOnset finds the order where no rudder is heard. It fits the first-order
// response of a ship to its rudder (Nomoto et al., Int. Shipbuilding Progress 4
// (1957) 354),
//
//	heading = h0 + r*(x - T*(1-exp(-x/T))),  x = t - order,
//
// to the first 60 degrees: r by least squares, T and the order by search. What
// is fitted is the change from cell to cell, for helm and compass wander as a
// random walk does at so short a term; h0 then drops out. The standard error
// is that of the profile likelihood: the curvature of the least sum of squares
// over the order.
func (c *circle) turnOnset(seen float64) {
	from := max(1, int(seen)-6*perSecond)
	to := int(crossing(c.heading, seen, valueAt(c.heading, seen)-0.1+math.Pi/3))
	least := func(p float64) float64 {
		best := math.Inf(1)
		for _, lag := range onsetLags {
			best = math.Min(best, c.response(from, to, p, lag/dt))
		}
		return best
	}
	best := math.Inf(1)
	for p := seen - 3.5*float64(perSecond); p < seen; p += 0.25 {
		if s := least(p); s < best {
			best, c.order = s, p
		}
	}
	const step = 2
	curvature := (least(c.order-step) + least(c.order+step) - 2*best) / (step * step)
	c.orderSE = math.Sqrt(2 * best / float64(max(1, to-from-3)) / math.Max(curvature, 0))
	if !(c.orderSE < float64(perSecond)) {
		c.orderSE = float64(perSecond)
	}
}

// response returns the sum of squared residuals of the fit in turnOnset.
func (c *circle) response(from, to int, order, lag float64) float64 {
	turned := func(i int) float64 {
		s := float64(i) - order
		if s <= 0 {
			return 0
		}
		return s - lag*(1-math.Exp(-s/lag))
	}
	var xx, xy, yy float64
	for i := from; i < to; i++ {
		x, y := turned(i)-turned(i-1), c.heading[i]-c.heading[i-1]
		xx += x * x
		xy += x * y
		yy += y * y
	}
	if !(xx > 0) {
		return math.Inf(1)
	}
	return yy - xy*xy/xx
}
