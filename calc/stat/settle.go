package stat

import "math"

// Tail is an approach to a final value: y = Final + Excess*exp(-t/Tau), t in
// ticks from the start of the series.
type Tail struct {
	Final   float64
	Excess  float64
	Tau     float64
	squares float64 // whitened residual sum of squares
}

// At returns the value at t ticks.
func (t Tail) At(ticks float64) float64 { return t.Final + t.Excess*math.Exp(-ticks/t.Tau) }

// settled returns the time in ticks after which the remaining change is below
// limit.
func (t Tail) settled(limit float64) float64 {
	if math.Abs(t.Excess) <= limit {
		return 0
	}
	return t.Tau * math.Log(math.Abs(t.Excess)/limit)
}

// tauGrid holds the time constants tried, in ticks: from a light planing boat
// to a heavy one that is slow on to the plane.
var tauGrid = func() []float64 {
	var g []float64
	for t := 1.5; t < 40; t *= 1.12 {
		g = append(g, t)
	}
	return g
}()

// The time constant expected before the data speak: about 5 s, within a factor
// of 1.6 in two cases of three. It is m/(dR/dV - dT/dV) of the boat's speed
// equation; from memory of planing boats of 6 to 25 m.
const (
	expectTau    = 5.0
	expectFactor = 1.6
)

// Settle estimates when the series has settled: the time in ticks after which
// the change still to come is below limit, and the final value.
//
// The noise of a boat's speed (waves, gusts, helm) wanders with a correlation
// time like the tail's own, so one best tail is not well determined. The
// estimate is therefore the mean over all time constants of a grid, weighted
// by likelihood and by what is expected of boats (Bayesian model averaging,
// e.g. Hoeting et al., Statistical Science 14 (1999) 382). For each time
// constant the two linear coefficients are least squares (variable projection,
// Golub and Pereyra, SIAM J. Numer. Anal. 10 (1973) 413). The noise is taken
// as an autoregression of order one, and series and regressors are whitened by
// it (Prais and Winsten 1954, which keeps the first value: most of what is
// known of a short tail is there).
//
// Fewer than 8 values have settled at once.
func Settle(y []float64, limit float64) (ticks, final float64) {
	if len(y) < 8 {
		return 0, Mean(y)
	}
	best := bestTail(tails(y, 0))
	res := make([]float64, len(y))
	for i, v := range y {
		res[i] = v - best.At(float64(i))
	}
	fits := tails(y, lagOne(res))
	best = bestTail(fits)
	if best.squares == 0 {
		return best.settled(limit), best.Final
	}
	variance := best.squares / float64(len(y)-3)
	total := 0.0
	for _, t := range fits {
		x := math.Log(t.Tau/expectTau) / math.Log(expectFactor)
		w := math.Exp(-(t.squares-best.squares)/variance/2 - x*x/2)
		ticks += w * t.settled(limit)
		final += w * t.Final
		total += w
	}
	return ticks / total, final / total
}

func bestTail(fits []Tail) Tail {
	best := fits[0]
	for _, t := range fits {
		if t.squares < best.squares {
			best = t
		}
	}
	return best
}

// lagOne returns the autocorrelation of lag one of residuals, corrected for
// its small-sample bias and kept where whitening is sound.
func lagOne(res []float64) float64 {
	num, den := 0.0, 0.0
	for i := 1; i < len(res); i++ {
		num += res[i] * res[i-1]
		den += res[i-1] * res[i-1]
	}
	if den == 0 {
		return 0
	}
	phi := num / den
	phi += (1 + 3*phi) / float64(len(res))
	return math.Max(0, math.Min(phi, 0.8))
}

// tails fits one tail for each time constant, with the series whitened by phi.
func tails(y []float64, phi float64) []Tail {
	z, one := whiten(y, phi), whiten(ones(len(y)), phi)
	var fits []Tail
	e := make([]float64, len(y))
	for i, tau := range tauGrid {
		// A time constant of more than half the stretch cannot be told from a
		// straight slope; the slope test deals with those.
		if i > 0 && tau > float64(len(y))/2 {
			break
		}
		for k := range e {
			e[k] = math.Exp(-float64(k) / tau)
		}
		final, excess, squares := regress(z, one, whiten(e, phi))
		fits = append(fits, Tail{Final: final, Excess: excess, Tau: tau, squares: squares})
	}
	return fits
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

func whiten(x []float64, phi float64) []float64 {
	out := make([]float64, len(x))
	out[0] = x[0] * math.Sqrt(1-phi*phi)
	for i := 1; i < len(x); i++ {
		out[i] = x[i] - phi*x[i-1]
	}
	return out
}

// regress solves z = a*u + b*v by least squares and returns the residual sum
// of squares.
func regress(z, u, v []float64) (a, b, squares float64) {
	var uu, uv, vv, uz, vz float64
	for i := range z {
		uu += u[i] * u[i]
		uv += u[i] * v[i]
		vv += v[i] * v[i]
		uz += u[i] * z[i]
		vz += v[i] * z[i]
	}
	det := uu*vv - uv*uv
	if det > 1e-9*uu*vv {
		b = (uu*vz - uv*uz) / det
	}
	a = (uz - b*uv) / uu
	for i := range z {
		r := z[i] - a*u[i] - b*v[i]
		squares += r * r
	}
	return a, b, squares
}
