package stat

import "math"

// Tail is a fitted approach to a final value: y = Final + Excess*exp(-t/Tau),
// t in ticks from the start of the series.
type Tail struct {
	Final  float64
	Excess float64
	Tau    float64
	// Significant tells whether the exponential explains more than a constant
	// does, at 99 %, the residuals' autocorrelation allowed for.
	Significant bool
}

// tauGrid holds the time constants tried, in ticks: from a light planing boat
// to a heavy one that is slow on to the plane.
var tauGrid = func() []float64 {
	var g []float64
	for t := 1.5; t < 90; t *= 1.12 {
		g = append(g, t)
	}
	return g
}()

// FitTail fits an exponential approach to y by separable least squares: for
// each time constant of a grid, the two linear coefficients in closed form;
// the best residual wins (Golub and Pereyra, SIAM J. Numer. Anal. 10 (1973)
// 413, for the principle). Needs at least 8 values, else returns the mean.
func FitTail(y []float64) Tail {
	n := len(y)
	if n < 8 {
		return Tail{Final: Mean(y), Tau: 1}
	}
	m := Mean(y)
	rss0 := 0.0
	for _, v := range y {
		rss0 += (v - m) * (v - m)
	}
	best, bestRSS := Tail{Final: m, Tau: 1}, rss0
	for _, tau := range tauGrid {
		// A time constant of more than half the stretch cannot be told from a
		// straight slope; the slope test deals with those.
		if tau > float64(n)/2 {
			break
		}
		t, rss := fitTailAt(y, tau)
		if rss < bestRSS {
			best, bestRSS = t, rss
		}
	}
	best.Significant = tailSignificant(y, best, rss0, bestRSS)
	return best
}

// fitTailAt solves for Final and Excess at one time constant.
func fitTailAt(y []float64, tau float64) (Tail, float64) {
	n := float64(len(y))
	q, e := math.Exp(-1/tau), 1.0
	var se, see, sy, sye float64
	for _, v := range y {
		se += e
		see += e * e
		sy += v
		sye += v * e
		e *= q
	}
	det := n*see - se*se
	if det <= 1e-12*n*see {
		return Tail{}, math.Inf(1)
	}
	a := (n*sye - se*sy) / det
	f := (sy - a*se) / n
	rss := 0.0
	e = 1
	for _, v := range y {
		r := v - f - a*e
		rss += r * r
		e *= q
	}
	return Tail{Final: f, Excess: a, Tau: tau}, rss
}

// tailSignificant compares the two models by an F ratio whose residual
// variance is inflated for autocorrelation. 4.6 is about the 99 % point of
// F(2, many).
func tailSignificant(y []float64, t Tail, rss0, rss1 float64) bool {
	n := float64(len(y))
	if rss1 <= 0 {
		return rss0 > 0
	}
	res := make([]float64, len(y))
	for i, v := range y {
		res[i] = v - t.At(float64(i))
	}
	ratio := math.Max(1, spectrumAtZero(res)*(n-3)/rss1)
	return (rss0-rss1)/2/(rss1/(n-3)*ratio) > 4.6
}

// At returns the fitted value at t ticks.
func (t Tail) At(ticks float64) float64 { return t.Final + t.Excess*math.Exp(-ticks/t.Tau) }

// Settled returns the time in ticks after which the remaining change is below
// limit (in the unit of the series, above 0).
func (t Tail) Settled(limit float64) float64 {
	if math.Abs(t.Excess) <= limit {
		return 0
	}
	return t.Tau * math.Log(math.Abs(t.Excess)/limit)
}
