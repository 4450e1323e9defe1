package calc

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/calc/scipy"
	"trialday.example/logd/calc/stat"
)

func economySteps(r *rand.Rand, top, best, bend, noise float64) []*Step {
	var out []*Step
	for v := 8.0; v < 18; v += 1.1 {
		e := top - bend*(v-best)*(v-best)
		out = append(out, &Step{ID: len(out) + 1, Speed: stat.Estimate{Mean: v},
			Economy: stat.Estimate{Mean: e + noise*r.NormFloat64(), SE: noise, DOF: 20}})
	}
	return out
}

func TestBestEconomyAgainstNumPy(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	steps := economySteps(r, 500, 13, 4, 2)
	got := BestEconomy(steps)
	if !got.OK {
		t.Fatal(got.Why)
	}
	in := struct{ V, E, S []float64 }{}
	for _, s := range steps {
		if s.Economy.Mean >= (1-curveReach)*maxEconomy(steps) {
			in.V, in.E, in.S = append(in.V, s.Speed.Mean), append(in.E, s.Economy.Mean), append(in.S, s.Economy.SE)
		}
	}
	var want [4]float64
	scipy.Run(t, `
v, e, s = (np.array(x[k]) for k in "VES")
c, cov = np.polyfit(v - v.mean(), e, 2, w=1/s, cov="unscaled")
chi2 = np.sum(((np.polyval(c, v - v.mean()) - e)/s)**2)
cov = cov*max(1, chi2/(len(v)-3))
u = -c[1]/2/c[0]
g = np.array([c[1]/2/c[0]**2, -1/2/c[0], 0])
h = np.array([u*u, u, 1])
print(json.dumps([u + v.mean(), (g@cov@g)**.5, np.polyval(c, u), (h@cov@h)**.5]))`, in, &want)
	within(t, "speed", got.Speed.Mean, want[0], 1e-6)
	within(t, "its error", got.Speed.SE, want[1], 1e-6)
	within(t, "economy", got.Economy.Mean, want[2], 1e-6)
	within(t, "its error", got.Economy.SE, want[3], 1e-6)
}

func maxEconomy(steps []*Step) float64 {
	m := 0.0
	for _, s := range steps {
		m = math.Max(m, s.Economy.Mean)
	}
	return m
}

func TestBestEconomyHoldsTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	in, n := 0, 0
	for range 300 {
		o := BestEconomy(economySteps(r, 500, 13, 4, 2))
		if !o.OK {
			continue
		}
		n++
		if lo, hi := o.Speed.Interval(); lo <= 13 && 13 <= hi {
			in++
		}
	}
	if p := float64(in) / float64(n); n < 290 || p < 0.92 {
		t.Errorf("the interval holds the true optimum in %.1f %% of %d", 100*p, n)
	}
}

func TestBestEconomyAtTheEndsSaysSo(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, best := range []float64{2, 30} {
		if o := BestEconomy(economySteps(r, 500, best, 1, 0.1)); o.OK || o.Why == "" {
			t.Errorf("best at %g: %+v", best, o)
		}
	}
	if o := BestEconomy(nil); o.OK || o.Why == "" {
		t.Error("no steps gave an optimum")
	}
}

func TestBurnOffRange(t *testing.T) {
	// A light tank: the plain range. A heavy one: more.
	plain := 1000.0 * 0.01
	within(t, "little fuel", BurnOffRange(1000, 5000, 5000, 0.01, 840), plain, 0.01*plain)
	// Against numerical integration of dx = E*(m0/m) dF.
	sum, full := 0.0, 10500.0
	const steps = 100000
	for i := range steps {
		f := 1.5 * (float64(i) + 0.5) / steps
		sum += 400 * 10000 / (full - 840*f) * 1.5 / steps
	}
	within(t, "heavy fuel", BurnOffRange(400, 10000, full, 1.5, 840), sum, 1e-6*sum)
}

func TestPaddleCalibrationAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	fit := &DayFit{OK: true, Knots: []CurrentKnot{{Time: 0, Flow: 0.3}, {Time: 1e13, Flow: 0.3}}}
	var windows []Window
	in := struct{ X, Y []float64 }{}
	for i := range 14 {
		v := 3 + float64(i)
		w := Window{Heading: stat.Estimate{Mean: deg(50)}, Ground: cmplx.Rect(v, deg(50)) + 0.3}
		w.STW.Mean = v/1.05 + 0.05*r.NormFloat64()
		windows = append(windows, w)
		in.X, in.Y = append(in.X, w.STW.Mean), append(in.Y, v)
	}
	got := CalibratePaddle(windows, fit)
	var want [4]float64
	scipy.Run(t, `
r = scipy.stats.linregress(x["X"], x["Y"])
print(json.dumps([r.slope, r.stderr, r.intercept, r.intercept_stderr]))`, in, &want)
	within(t, "factor", got.Factor.Mean, want[0], 1e-9)
	within(t, "its error", got.Factor.SE, want[1], 1e-9)
	within(t, "offset", got.Offset.Mean, want[2], 1e-9)
	within(t, "its error", got.Offset.SE, want[3], 1e-9)
}
