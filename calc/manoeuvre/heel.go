package manoeuvre

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"trialday.example/logd/calc/stat"
)

const (
	// heelSmooth, cells to either side of the parabola that smooths speed and
	// heading for the heel's cause.
	heelSmooth = 7
	// heelOnset, cells after the order: until then the cause is a smooth curve.
	heelOnset = 7 * perSecond
)

// Natural frequencies, rad/s, and damping ratios of roll that are tried, and
// lags of the lateral acceleration behind the order, s.
var (
	rollFrequencies = []float64{0.8, 0.95, 1.1, 1.3, 1.5, 1.7, 1.95, 2.2, 2.5, 2.9, 3.4, 4}
	rollDampings    = []float64{0.1, 0.15, 0.2, 0.27, 0.35, 0.45, 0.6, 0.8, 1.1}
	lateralLags     = []float64{0.2, 0.4, 0.7, 1.1, 1.6}
)

// attitude fills in heel and rudder.
func (c *circle) attitude(t *Turn) {
	from := c.steadyFrom()
	t.Rudder = meanOver(series(c.frames, one(chRudder)), from, c.end)
	roll := series(c.frames, one(chRoll))
	for i := range roll {
		roll[i] *= c.sign
	}
	list := meanOver(roll, c.begin, c.order)
	t.HeelSteady = stat.Sum([]stat.Estimate{meanOver(roll, from, c.end), list}, []float64{1, -1})
	t.HeelPeak = c.firstHeel(roll)
}

// meanOver returns the mean between two places, of values that are averaged
// over seconds first, as their neighbours are nearly the same.
func meanOver(x []float64, from, to float64) stat.Estimate {
	seconds := secondsOf(x, from, to)
	if len(seconds) < 4 {
		return noEstimate
	}
	e := stat.MeanOf(seconds)
	e.Mean = mean(x, from, to)
	return e
}

// secondsOf returns the means of the seconds between two places, without those
// in which there is nothing.
func secondsOf(x []float64, from, to float64) (out []float64) {
	for p := from; p+float64(perSecond) <= to+1; p += float64(perSecond) {
		if v := mean(x, p, p+float64(perSecond)); !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	return out
}

// firstHeel returns the first peak of the heel.
//
// Waves roll the boat about as quickly as the turn does, so the greatest roll
// is no measure of the turn. The roll from the approach to the end is fitted
// by the response of a damped oscillator to the lateral acceleration V*r,
//
//	h'' + 2*z*w*h' + w²*h = w²*k*atan(V*r/g)   plus a constant list,
//
// k and the list by least squares, frequency w and damping z by search. The
// peak is that of the fit, before a change of heading of 180 degrees.
func (c *circle) firstHeel(roll []float64) stat.Estimate {
	cause := c.comesOn(c.lateral(c.through()))
	from, to := int(c.begin), int(c.end)
	into := roll[from : to+1]
	best := oscillator{squares: math.Inf(1)}
	try := func(w, z float64) {
		h := respond(cause, from, to, w, z)
		if k, squares, ok := regress(h[from:to+1], into); ok && squares < best.squares {
			best = oscillator{w, z, k, squares, h}
		}
	}
	for _, w := range rollFrequencies {
		for _, z := range rollDampings {
			try(w, z)
		}
	}
	if best.h == nil {
		return noEstimate
	}
	for step := 0.08; step > 0.01; step /= 2 {
		for range 3 {
			w, z := best.w, best.z
			for _, f := range [][2]float64{{1 + step, 1}, {1 - step, 1}, {1, 1 + 2*step}, {1, 1 - 2*step}} {
				try(w*f[0], z*f[1])
			}
		}
	}
	place, peak := c.firstPeak(best.h, best.k)
	if math.IsNaN(peak) {
		return noEstimate
	}
	out := stat.Estimate{Mean: peak, SE: best.errorAt(place, cause, from, into), DOF: 30}
	return out.WithFloor(heelLeast)
}

// heelLeast, rad (0.3 degrees): what a roll sensor is off by in a turn.
const heelLeast = 0.3 * math.Pi / 180

// errorAt returns the standard error of the fitted heel at a place.
//
// With J the derivatives of the fit by its four parameters, the heel there is
// sum(a*roll) to first order, a = J*inv(J'J)*g with g the row of J at that
// place; its variance is the sum over all lags of the residuals' autocovariance
// times that of a. The autocovariance is tapered to 0 at heelMemory (Bartlett's
// window, as in Newey and West, Econometrica 55 (1987) 703). It is doubled:
// waves near the boat's own frequency bend the search for w and z by more than
// the first order, twice as much on simulated days.
func (o *oscillator) errorAt(place int, cause []float64, from int, roll []float64) float64 {
	n := len(roll)
	to := from + n - 1
	const step = 0.02
	w := respond(cause, from, to, o.w*(1+step), o.z)
	z := respond(cause, from, to, o.w, o.z*(1+step))
	j := mat.NewDense(n, 4, nil)
	rest := make([]float64, n)
	level := 0.0
	for i := range roll {
		h := o.h[from+i]
		j.SetRow(i, []float64{1, h, o.k * (w[from+i] - h), o.k * (z[from+i] - h)})
		rest[i] = roll[i] - o.k*h
		level += rest[i] / float64(n)
	}
	var qr mat.QR
	qr.Factorize(j)
	var solved mat.VecDense
	if err := qr.SolveVecTo(&solved, true, j.RowView(place-from)); err != nil {
		return math.NaN()
	}
	a := solved.RawVector().Data
	variance := 0.0
	for lag := range heelMemory {
		var noise, share float64
		for i := range n - lag {
			noise += (rest[i] - level) * (rest[i+lag] - level) / float64(n)
			share += a[i] * a[i+lag]
		}
		if lag > 0 {
			noise *= 2 * (1 - float64(lag)/float64(heelMemory))
		}
		variance += noise * share
	}
	return 2 * math.Sqrt(math.Max(variance, 0))
}

// heelMemory, cells: waves roll a boat alike for no longer.
const heelMemory = 10 * perSecond

// oscillator is a fit of roll: natural frequency, rad/s, damping ratio, roll by
// lateral acceleration, sum of squared residuals, response for k = 1.
type oscillator struct {
	w, z, k, squares float64
	h                []float64
}

// comesOn returns the lateral acceleration with its first seconds made smooth:
// nothing before the order, and then (a + b*x + c*x²) * (1-exp(-x/T)), the
// rudder's onset as in turnOnset, fitted by least squares, T by search. What
// noise the headings put in would not heel the boat, and the fit of the roll
// would come out too stiff.
func (c *circle) comesOn(lateral []float64) []float64 {
	out := slices.Clone(lateral)
	first, last := int(math.Ceil(c.order)), min(int(c.order)+heelOnset, int(c.end))
	clear(out[:first])
	best := math.Inf(1)
	for _, lag := range lateralLags {
		var rows [][]float64
		for i := first; i <= last; i++ {
			x := (float64(i) - c.order) * dt
			on := 1 - math.Exp(-x/lag)
			rows = append(rows, []float64{on, on * x, on * x * x})
		}
		k, ok := leastSquares(rows, lateral[first:last+1])
		if !ok {
			continue
		}
		squares := 0.0
		fit := make([]float64, len(rows))
		for i, row := range rows {
			fit[i] = k[0]*row[0] + k[1]*row[1] + k[2]*row[2]
			squares += (fit[i] - lateral[first+i]) * (fit[i] - lateral[first+i])
		}
		if squares < best {
			best = squares
			copy(out[first:], fit)
		}
	}
	return out
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

// firstPeak returns the greatest k*h before a change of heading of 180 degrees,
// and its place.
func (c *circle) firstPeak(h []float64, k float64) (place int, peak float64) {
	peak = math.NaN()
	to := c.reached(math.Pi)
	for i := int(math.Ceil(c.order)); float64(i) < to && i < len(h); i++ {
		if v := k * h[i]; !(math.Abs(v) <= math.Abs(peak)) {
			place, peak = i, v
		}
	}
	return place, peak
}
