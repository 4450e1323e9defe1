package stat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/calc/scipy"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

// ar1 makes an autoregressive series of order one with unit innovations.
func ar1(r *rand.Rand, n int, phi float64) []float64 {
	x := make([]float64, n)
	v := r.NormFloat64() / math.Sqrt(1-phi*phi)
	for i := range x {
		v = phi*v + r.NormFloat64()
		x[i] = v
	}
	return x
}

func TestStudentAgainstSciPy(t *testing.T) {
	dof := []float64{1, 1.5, 2, 3.7, 5, 10, 30, 59, 1000}
	var want []float64
	scipy.Run(t, "print(json.dumps([scipy.stats.t.ppf(0.975, d) for d in x]))", dof, &want)
	for i, d := range dof {
		near(t, fmt.Sprintf("t(0.975, %g)", d), StudentT975(d), want[i], 1e-6*want[i])
	}
}

func TestSlopeAgainstSciPy(t *testing.T) {
	// With white residuals the slope is linregress's and its standard error
	// no smaller, and close to it on average.
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 60)
	for i := range x {
		x[i] = 3 + 0.05*float64(i) + r.NormFloat64()
	}
	var want [2]float64
	scipy.Run(t, "r = scipy.stats.linregress(np.arange(len(x)), x)\nprint(json.dumps([r.slope, r.stderr]))", x, &want)
	got := Slope(x)
	near(t, "slope", got.Mean, want[0], 1e-9)
	near(t, "LineSlope", LineSlope(x), want[0], 1e-9)
	if got.SE < want[1]*0.999 || got.SE > want[1]*2 {
		t.Errorf("standard error %g, linregress gives %g for white residuals", got.SE, want[1])
	}
}

func TestTailAgainstSciPy(t *testing.T) {
	// With white noise the best tail is curve_fit's.
	r := rand.New(rand.NewPCG(3, 4))
	y := make([]float64, 70)
	for i := range y {
		y[i] = 12 - 1.8*math.Exp(-float64(i)/7) + 0.02*r.NormFloat64()
	}
	var want [3]float64
	scipy.Run(t, "p, _ = scipy.optimize.curve_fit(lambda t, f, a, tau: f + a*np.exp(-t/tau), np.arange(len(x)), x, p0=[x[-1], x[0]-x[-1], 5])\nprint(json.dumps(list(p)))", y, &want)
	got := bestTail(tails(y, 0))
	near(t, "final", got.Final, want[0], 0.01)
	near(t, "excess", got.Excess, want[1], 0.05)
	// The grid of time constants is 12 % apart.
	near(t, "time constant", got.Tau, want[2], 0.08*want[2])
	// The time to come within 0.06 by the reference's fit.
	ticks, final := Settle(y, 0.06)
	near(t, "settled", ticks, want[2]*math.Log(-want[1]/0.06), 1)
	near(t, "final value", final, want[0], 0.01)
}

func TestSettleInWanderingNoise(t *testing.T) {
	// A boat's speed: the tail of an acceleration under noise that wanders
	// with a correlation time like the tail's own.
	r := rand.New(rand.NewPCG(5, 6))
	var sum, squares float64
	const tries = 400
	for range tries {
		noise := ar1(r, 60, 0.8)
		y := make([]float64, len(noise))
		for i := range y {
			y[i] = 10 - 0.8*math.Exp(-float64(i)/5) + 0.02*noise[i]
		}
		got, _ := Settle(y, 0.05)
		d := got - 5*math.Log(0.8/0.05)
		sum += d
		squares += d * d
	}
	if m := sum / tries; math.Abs(m) > 1 {
		t.Errorf("settling is found %+.1f ticks off on average", m)
	}
	if rms := math.Sqrt(squares / tries); rms > 3 {
		t.Errorf("settling is found within %.1f ticks rms", rms)
	}
}

func TestSettledSeriesLosesLittle(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 6))
	var sum float64
	const tries = 400
	for range tries {
		y := ar1(r, 60, 0.8)
		for i := range y {
			y[i] = 10 + 0.02*y[i]
		}
		got, _ := Settle(y, 0.05)
		sum += got
	}
	if m := sum / tries; m > 3 {
		t.Errorf("a settled series loses %.1f ticks on average", m)
	}
}

func TestSettleShortOrFlat(t *testing.T) {
	for _, y := range [][]float64{{3}, {3, 3, 3}, make([]float64, 40)} {
		if got, final := Settle(y, 0.1); got != 0 || final != y[0] {
			t.Errorf("%v settles after %g at %g", y, got, final)
		}
	}
}

func TestMeanIntervalHoldsForCorrelatedSeries(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for _, phi := range []float64{0, 0.5, 0.8} {
		for _, n := range []int{30, 60, 120} {
			hit := 0
			const tries = 2000
			for range tries {
				lo, hi := MeanOf(ar1(r, n, phi)).Interval()
				if lo <= 0 && 0 <= hi {
					hit++
				}
			}
			got := float64(hit) / tries
			t.Logf("phi %.1f, n %3d: %.1f %% inside", phi, n, 100*got)
			if got < 0.90 || got > 0.99 {
				t.Errorf("phi %.1f, n %d: the 95 %% interval holds the mean in %.1f %% of cases", phi, n, 100*got)
			}
		}
	}
}

func TestMeanStandardErrorApproachesTheory(t *testing.T) {
	// For x[t] = phi x[t-1] + e, var(mean) -> var(e)/((1-phi)² n): any
	// textbook of time series, e.g. Priestley, Spectral Analysis and Time
	// Series (1981), 5.3.
	r := rand.New(rand.NewPCG(9, 10))
	for _, phi := range []float64{-0.4, 0, 0.6, 0.85} {
		const n = 20000
		near(t, fmt.Sprintf("relative standard error at phi %.1f", phi),
			MeanOf(ar1(r, n, phi)).SE*(1-phi)*math.Sqrt(n), 1, 0.1)
	}
}

func TestWavesDoNotWidenTheMean(t *testing.T) {
	// An oscillation averages out faster than noise of the same size.
	x := make([]float64, 60)
	r := rand.New(rand.NewPCG(11, 12))
	for i := range x {
		x[i] = math.Sin(2*math.Pi*float64(i)/4.3) + 0.05*r.NormFloat64()
	}
	if se := MeanOf(x).SE; se > SD(x)/math.Sqrt(60) {
		t.Errorf("standard error %g of an oscillation, white noise would give %g", se, SD(x)/math.Sqrt(60))
	}
}

func TestSumWelchSatterthwaite(t *testing.T) {
	// Welch's test of two samples, the classic case: n1 = n2 = 10, equal
	// variances give 18 degrees of freedom.
	a := Estimate{Mean: 1, SE: 0.3, DOF: 9}
	b := Estimate{Mean: 3, SE: 0.3, DOF: 9}
	s := Sum([]Estimate{a, b}, []float64{0.5, 0.5})
	near(t, "mean", s.Mean, 2, 1e-12)
	near(t, "standard error", s.SE, 0.3/math.Sqrt2, 1e-12)
	near(t, "degrees of freedom", s.DOF, 18, 1e-9)
}

func TestChangesFindsLevels(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	for try := range 50 {
		x, h := make([]float64, 200), make([]float64, 200)
		for i := range x {
			x[i], h[i] = 50+0.1*r.NormFloat64(), 1+0.01*r.NormFloat64()
			if i >= 80 {
				x[i] += 0.8
			}
			if i >= 150 {
				h[i] += 0.08
			}
		}
		got := Changes([][]float64{x, h}, []float64{0.1, 0.01})
		if len(got) != 3 || got[0] != 0 || abs(got[1]-80) > 1 || abs(got[2]-150) > 1 {
			t.Errorf("try %d: pieces start at %v, want about [0 80 150]", try, got)
		}
	}
}

func TestChangesIsOptimal(t *testing.T) {
	// The pruned search must find what trying all positions finds.
	r := rand.New(rand.NewPCG(15, 16))
	for range 100 {
		x := make([]float64, 14)
		for i := range x {
			x[i] = r.NormFloat64() * 3
		}
		floor := []float64{1}
		cuts := Changes([][]float64{x}, floor)
		c := newCost([][]float64{x}, floor)
		penalty := 6 * math.Log(float64(len(x)))
		value := func(cuts []int) float64 {
			v := penalty * float64(len(cuts)-1)
			for i, s := range cuts {
				e := len(x)
				if i+1 < len(cuts) {
					e = cuts[i+1]
				}
				v += c.of(s, e)
			}
			return v
		}
		best := math.Inf(1)
		for mask := range 1 << 13 {
			all := []int{0}
			for b := range 13 {
				if mask>>b&1 == 1 {
					all = append(all, b+1)
				}
			}
			best = math.Min(best, value(all))
		}
		near(t, "cost of the best cut", value(cuts), best, 1e-9)
	}
}

func abs(n int) int { return max(n, -n) }
