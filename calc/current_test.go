package calc

import (
	"math"
	"math/cmplx"
	"testing"

	"trialday.example/logd/calc/stat"
)

const knot = 1852.0 / 3600

func within(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

func deg(d float64) float64 { return d * math.Pi / 180 }

// passAt makes the pass of a boat of speed v on a heading in a current.
func passAt(t, v, heading float64, flow complex128) Pass {
	g := cmplx.Rect(v, heading) + flow
	return Pass{Time: t, Ground: g, Heading: heading, SOG: stat.Estimate{Mean: cmplx.Abs(g), SE: 0.02, DOF: 10}}
}

// TestMeanOfMeans checks the weights of alternating passes against the mean of
// means: (V1+V2)/2, (V1+2V2+V3)/4, (V1+3V2+3V3+V4)/8.
// Source: ITTC Recommended Procedure 7.5-04-01-01.1.
func TestMeanOfMeans(t *testing.T) {
	for _, want := range [][]float64{{1. / 2, 1. / 2}, {1. / 4, 2. / 4, 1. / 4}, {1. / 8, 3. / 8, 3. / 8, 1. / 8}} {
		var passes []Pass
		for k := range want {
			passes = append(passes, passAt(float64(k)*300, 10, float64(k%2)*math.Pi, 0))
		}
		c := SeparateCurrent(passes)
		if !c.Corrected {
			t.Fatalf("%d passes not corrected", len(want))
		}
		for k, w := range want {
			within(t, "weight", c.Weights[k], w, 1e-9)
		}
	}
}

// TestPolynomialCurrentCancels: a current that varies as a polynomial of
// degree n-2 in time leaves no error at equal spacing (same source).
func TestPolynomialCurrentCancels(t *testing.T) {
	for n := 2; n <= 4; n++ {
		var passes []Pass
		for k := range n {
			x := float64(k)
			flow := cmplx.Rect(0.5+0.2*math.Pow(x, float64(n-2)), deg(30))
			passes = append(passes, passAt(300*x, 12, deg(40)+float64(k%2)*math.Pi, flow))
		}
		c := SeparateCurrent(passes)
		within(t, "speed through water", c.Speed.Mean, 12, 1e-9)
	}
}

func TestCrossCurrentAndCompassError(t *testing.T) {
	// Crabbing to hold reciprocal courses over ground in a beam current, with
	// a compass wrong by 3 degrees: the speed must not suffer.
	flow := cmplx.Rect(1.2*knot, deg(130))
	var passes []Pass
	for k, course := range []float64{40, 220} {
		// Heading that makes the course good: the current's part across it is
		// cancelled.
		u := cmplx.Rect(1, deg(course))
		across := imag(flow / u)
		h := deg(course) - math.Asin(across/(10*knot))
		p := passAt(float64(k)*200, 10*knot, h, flow)
		p.Heading += deg(3)
		passes = append(passes, p)
	}
	c := SeparateCurrent(passes)
	within(t, "speed, kn", c.Speed.Mean/knot, 10, 1e-9)
	within(t, "current, kn", cmplx.Abs(c.Flow)/knot, 1.2, 1e-9)
	within(t, "set, deg", cmplx.Phase(c.Flow)*180/math.Pi, 130, 1e-6)
	within(t, "compass offset, deg", c.Offset*180/math.Pi, -3, 1e-6)
}

func TestOneDirectionIsNotCorrected(t *testing.T) {
	c := SeparateCurrent([]Pass{passAt(0, 10, deg(40), 0.5), passAt(300, 10, deg(70), 0.5)})
	if c.Corrected {
		t.Error("two passes 30 degrees apart were corrected for current")
	}
	within(t, "weights", c.Weights[0]+c.Weights[1], 1, 1e-12)
}

func TestWithoutCourseIsNotCorrected(t *testing.T) {
	p := []Pass{passAt(0, 10, 0, 0), passAt(300, 10, math.Pi, 0)}
	p[1].Ground = cmplx.NaN()
	c := SeparateCurrent(p)
	if c.Corrected {
		t.Error("a pass without a course over ground was corrected for current")
	}
	within(t, "speed", c.Speed.Mean, 10, 1e-9)
}

func TestNotAlternatedLowersTheDegree(t *testing.T) {
	// Out, out, back, back: drift and speed are nearly the same thing.
	var passes []Pass
	for k, course := range []float64{0, 0, 180, 180} {
		passes = append(passes, passAt(float64(k)*300, 10, deg(course), 0.3))
	}
	c := SeparateCurrent(passes)
	within(t, "speed", c.Speed.Mean, 10, 1e-9)
	if g := varianceGain(c.Weights); g > 2.000001 {
		t.Errorf("weights %v more than double the variance", c.Weights)
	}
}
