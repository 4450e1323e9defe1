// Package stat holds the statistics of one equally spaced series: the mean of
// correlated data with its interval, the slope with its standard error, the
// exponential approach to a final value, and the places where the level jumps.
//
// Everything here is a pure function of its arguments. Series are []float64
// at unit spacing (one tick); NaN is not allowed, callers cut the series at
// gaps first.
package stat

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Estimate is a mean with what is needed to carry its uncertainty on.
type Estimate struct {
	Mean float64
	SE   float64 // standard error of the mean
	DOF  float64 // degrees of freedom behind SE
}

// Interval returns the two-sided 95 % interval, by Student's t.
func (e Estimate) Interval() (lo, hi float64) {
	h := e.HalfWidth()
	return e.Mean - h, e.Mean + h
}

// HalfWidth returns half the width of the two-sided 95 % interval.
func (e Estimate) HalfWidth() float64 { return StudentT975(e.DOF) * e.SE }

// Scale returns the estimate of k times the quantity.
func (e Estimate) Scale(k float64) Estimate {
	return Estimate{Mean: k * e.Mean, SE: math.Abs(k) * e.SE, DOF: e.DOF}
}

// WithFloor adds an independent standard error that is known, not estimated.
func (e Estimate) WithFloor(se float64) Estimate {
	e.SE = math.Hypot(e.SE, se)
	return e
}

// StudentT975 returns the 0.975 quantile of Student's t distribution. Below
// one degree of freedom it uses one: the interval is then wide but finite.
func StudentT975(dof float64) float64 {
	if !(dof > 1) {
		dof = 1
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(0.975)
}

// Mean returns the arithmetic mean; NaN for an empty series.
func Mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// SD returns the sample standard deviation (n-1); 0 for fewer than two values.
func SD(x []float64) float64 {
	if len(x) < 2 {
		return 0
	}
	m, s := Mean(x), 0.0
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s / float64(len(x)-1))
}

// Sum adds estimates of independent quantities: variances add, and the degrees
// of freedom combine by the Welch-Satterthwaite formula (Satterthwaite 1946;
// ISO/IEC Guide 98-3 (GUM), G.4.1). The weights may have either sign.
func Sum(parts []Estimate, weights []float64) Estimate {
	var mean, variance, denom float64
	for i, p := range parts {
		v := weights[i] * weights[i] * p.SE * p.SE
		mean += weights[i] * p.Mean
		variance += v
		if p.DOF > 0 {
			denom += v * v / p.DOF
		}
	}
	dof := math.Inf(1)
	if denom > 0 {
		dof = variance * variance / denom
	}
	return Estimate{Mean: mean, SE: math.Sqrt(variance), DOF: math.Min(dof, 1e6)}
}

// LineSlope returns the least-squares slope per tick; 0 for fewer than two
// values.
func LineSlope(x []float64) float64 {
	n := float64(len(x))
	if n < 2 {
		return 0
	}
	tm, m := (n-1)/2, Mean(x)
	sxy, sxx := 0.0, 0.0
	for i, v := range x {
		t := float64(i) - tm
		sxy += t * (v - m)
		sxx += t * t
	}
	return sxy / sxx
}
