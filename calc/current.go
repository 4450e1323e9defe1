package calc

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
	"trialday.example/logd/calc/stat"
)

// Pass is one steady passage at one throttle setting, as the current fit sees
// it.
type Pass struct {
	Time    float64       // mid-time, s
	Ground  complex128    // mean velocity over ground, m/s
	Heading float64       // rad; the course over ground where there is no compass
	SOG     stat.Estimate // its speed, for the uncertainty
}

// Current is the result of separating speed through water from current.
type Current struct {
	// Corrected tells whether the courses allow the separation.
	Corrected bool
	// Speed through water, m/s; where not corrected, the speed over ground.
	Speed stat.Estimate
	// Drift is the part of Speed's standard error, m/s, that allows for a
	// change of the current between passes.
	Drift float64
	// Flow is the mean velocity of the water over ground, m/s.
	Flow complex128
	// Offset is the angle by which the compass (with leeway) seems to be
	// wrong, rad: the true direction of motion through water is heading +
	// Offset.
	Offset float64
	// Weights of the passes in Speed; they add to 1. Whatever is averaged
	// over the passes beside the speed (rpm, fuel) takes the same weights, so
	// that all figures of a step belong to each other.
	Weights []float64
}

// currentDrift, m/s², is how fast a current is taken to change beyond what the
// fit follows: half a knot an hour, a strong tidal stream (from memory).
const currentDrift = 0.257 / 3600

// spreadMin: two headings 90 degrees apart have a spread of 0.5; closer ones
// cannot tell speed from current well enough.
const spreadMin = 0.5

// SeparateCurrent finds the speed through water common to the passes and the
// current, from
//
//	G[k] = a*exp(i*h[k]) + c0 + c1*t[k] + c2*t[k]²
//
// with G the velocity over ground and h the heading of pass k as complex
// numbers; |a| is the speed through water and arg a the compass offset, so a
// wrong compass does not matter. It is linear and solved by least squares.
//
// Two passes give |a| = |G1-G2|/|exp(i h1)-exp(i h2)|, the mean of the two
// speeds on exactly reciprocal courses. The current's polynomial has degree
// n-2 for n passes, but at the most 2: n alternating passes at equal spacing
// then get the weights of the mean of means, (1,2,1)/4 and (1,3,3,1)/8 (ITTC
// Recommended Procedure 7.5-04-01-01.1). A degree that would more than double
// the variance of a plain mean, as when the directions are not alternated, is
// lowered.
//
// The interval holds the windows' own errors, and an allowance for a current
// that changes between passes by currentDrift beyond the fitted degree.
//
// A pass without a course over ground or a direction cannot be separated, and
// leaves the step uncorrected.
func SeparateCurrent(passes []Pass) Current {
	if !directed(passes) || spread(passes) < spreadMin {
		return uncorrected(passes)
	}
	n := len(passes)
	for degree := min(n-2, 2); degree >= 0; degree-- {
		coef, ok := solveCurrent(passes, degree)
		if !ok {
			continue
		}
		c := fromCoefficients(passes, coef, degree)
		if degree == 0 || varianceGain(c.Weights) <= 2 {
			return c
		}
	}
	return uncorrected(passes)
}

func directed(passes []Pass) bool {
	for _, p := range passes {
		if cmplx.IsNaN(p.Ground) || math.IsNaN(p.Heading) {
			return false
		}
	}
	return true
}

// spread is the mean squared distance of the heading vectors from their mean:
// 0 for one course, 1 for two opposite ones.
func spread(passes []Pass) float64 {
	var m complex128
	for _, p := range passes {
		m += cmplx.Rect(1, p.Heading)
	}
	r := cmplx.Abs(m) / float64(len(passes))
	return 1 - r*r
}

// varianceGain compares the weights' variance with that of equal weights.
func varianceGain(w []float64) float64 {
	s := 0.0
	for _, v := range w {
		s += v * v
	}
	return s * float64(len(w))
}

// solveCurrent returns the rows of the pseudo-inverse: row j gives unknown j
// (a, c0, c1, ...) as a combination of the passes' velocities.
func solveCurrent(passes []Pass, degree int) ([][]complex128, bool) {
	n, m := len(passes), degree+2
	mid, half := timeScale(passes)
	x := make([][]complex128, n)
	for k, p := range passes {
		x[k] = make([]complex128, m)
		x[k][0] = cmplx.Rect(1, p.Heading)
		t := (p.Time - mid) / half
		for d := 0; d <= degree; d++ {
			x[k][1+d] = complex(math.Pow(t, float64(d)), 0)
		}
	}
	return pseudoInverse(x)
}

func timeScale(passes []Pass) (mid, half float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range passes {
		lo, hi = math.Min(lo, p.Time), math.Max(hi, p.Time)
	}
	return (lo + hi) / 2, math.Max((hi-lo)/2, 1)
}

// pseudoInverse returns (XᴴX)⁻¹Xᴴ, by way of the real matrix [[Re,-Im],[Im,Re]]
// that acts as X does.
func pseudoInverse(x [][]complex128) ([][]complex128, bool) {
	n, m := len(x), len(x[0])
	r := mat.NewDense(2*n, 2*m, nil)
	for i := range x {
		for j, z := range x[i] {
			r.Set(i, j, real(z))
			r.Set(i, m+j, -imag(z))
			r.Set(n+i, j, imag(z))
			r.Set(n+i, m+j, real(z))
		}
	}
	var qr mat.QR
	qr.Factorize(r)
	if qr.Cond() > 1e6 {
		return nil, false
	}
	eye := mat.NewDense(2*n, 2*n, nil)
	for i := range 2 * n {
		eye.Set(i, i, 1)
	}
	var inv mat.Dense
	if err := qr.SolveTo(&inv, false, eye); err != nil {
		return nil, false
	}
	out := make([][]complex128, m)
	for j := range out {
		out[j] = make([]complex128, n)
		for k := range out[j] {
			out[j][k] = complex(inv.At(j, k), inv.At(m+j, k))
		}
	}
	return out, true
}

func fromCoefficients(passes []Pass, coef [][]complex128, degree int) Current {
	c := Current{Corrected: true, Weights: make([]float64, len(passes))}
	var a complex128
	for k, p := range passes {
		a += coef[0][k] * p.Ground
		c.Flow += coef[1][k] * p.Ground
		c.Weights[k] = real(coef[0][k] * cmplx.Rect(1, p.Heading))
	}
	if degree == 2 {
		c.Flow += meanSquareTerm(passes, coef[3])
	}
	c.Offset = cmplx.Phase(a)
	parts := make([]stat.Estimate, len(passes))
	weights := make([]float64, len(passes))
	for k, p := range passes {
		parts[k] = p.SOG
		weights[k] = cmplx.Abs(coef[0][k])
	}
	c.Speed = stat.Sum(parts, weights)
	c.Speed.Mean = cmplx.Abs(a)
	if degree == 0 {
		c.Drift = driftError(passes, coef[0])
		c.Speed = c.Speed.WithFloor(c.Drift)
	}
	return c
}

// meanSquareTerm turns c0, the current at mid-time, into the mean over the
// passes where the current has a quadratic part.
func meanSquareTerm(passes []Pass, row []complex128) complex128 {
	mid, half := timeScale(passes)
	var c2 complex128
	sum := 0.0
	for k, p := range passes {
		c2 += row[k] * p.Ground
		t := (p.Time - mid) / half
		sum += t * t
	}
	return c2 * complex(sum/float64(len(passes)), 0)
}

// driftError is the standard error of |a| if the current changes by
// currentDrift while the fit takes it as constant.
func driftError(passes []Pass, row []complex128) float64 {
	mid, _ := timeScale(passes)
	var d complex128
	for k, p := range passes {
		d += row[k] * complex((p.Time-mid)*currentDrift, 0)
	}
	return cmplx.Abs(d)
}

// uncorrected averages the speeds over ground.
func uncorrected(passes []Pass) Current {
	n := len(passes)
	c := Current{Weights: make([]float64, n), Flow: cmplx.NaN()}
	parts := make([]stat.Estimate, n)
	for k, p := range passes {
		c.Weights[k] = 1 / float64(n)
		parts[k] = p.SOG
	}
	c.Speed = stat.Sum(parts, c.Weights)
	return c
}
