package calc

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/calc/scipy"
	"trialday.example/logd/calc/stat"
)

// tidalDay makes the windows of a day in a tide that changes by 1 kn (a
// semidiurnal ellipse), two passes a step and one for the odd step, with
// throttles set by eye.
func tidalDay(r *rand.Rand, passes func(step int) int, noise float64) (windows []Window, steps []Step, truth []float64) {
	tide := func(t float64) complex128 {
		p := 2 * math.Pi * t / 44712 // M2, s
		return cmplx.Rect(0.5*math.Sin(p), deg(60)) + cmplx.Rect(0.1*math.Cos(p), deg(150)) + cmplx.Rect(0.2, deg(20))
	}
	t := 600.0
	for step := range 12 {
		rpm := 15 + 3*float64(step)
		speed := 4 + 0.95*float64(step)
		truth = append(truth, speed)
		s := Step{RPM: rpm, Engines: 1, Speed: stat.Estimate{Mean: speed + 0.3*r.NormFloat64()}}
		for pass := range passes(step) {
			off := 0.05 * r.NormFloat64()
			course := deg(70 + 180*float64(pass%2))
			g := cmplx.Rect(speed+off*0.95/3, course) + tide(t+30)
			head := 5 * math.Cos(course-deg(240)) // m/s of wind from 240 degrees
			g -= cmplx.Rect(0.003*head*speed, course)
			g += complex(noise*r.NormFloat64(), noise*r.NormFloat64())
			w := Window{ID: len(windows) + 1, Run: len(windows) + 1, Start: int64(t * 1e9), End: int64((t + 60) * 1e9),
				Engines: 1, Ground: g, Heading: stat.Estimate{Mean: course + deg(2) + deg(0.4)*r.NormFloat64()},
				SOG: stat.Estimate{Mean: cmplx.Abs(g), SE: math.Max(noise, 0.001), DOF: 15}}
			w.RPM[0].Mean = rpm + off
			w.Wind = cmplx.Rect(5, deg(240))
			windows = append(windows, w)
			s.Windows = append(s.Windows, w.ID)
			t += 400 + 200*r.Float64()
		}
		s.ID = step + 1
		steps = append(steps, s)
	}
	return windows, steps, truth
}

func TestDayFitFollowsTheTide(t *testing.T) {
	// Target: with a tide changing by 1 kn the residual is below 0.05 kn.
	r := rand.New(rand.NewPCG(1, 1))
	var squares float64
	inside, n := 0, 0
	for range 40 {
		windows, steps, truth := tidalDay(r, func(int) int { return 2 }, 0.02)
		fit := FitDay(windows, steps)
		if !fit.OK {
			t.Fatal(fit.Why)
		}
		for i, v := range fit.Speed {
			d := v.Mean - truth[i]
			squares += d * d
			n++
			if math.Abs(d) < v.HalfWidth() {
				inside++
			}
			if !fit.Clear[i] {
				t.Errorf("step %d not clear", i)
			}
		}
		within(t, "wind effect, s/m", fit.Wind.Mean, 0.003, math.Max(0.0015, fit.Wind.HalfWidth()))
		within(t, "compass offset, deg", fit.Offset.Mean*180/math.Pi, -2, 0.5)
	}
	rms := math.Sqrt(squares/float64(n)) / knot
	t.Logf("rms residual %.3f kn, truth inside the interval %.1f %%", rms, 100*float64(inside)/float64(n))
	if rms > 0.05 {
		t.Errorf("rms residual %.3f kn, want below 0.05", rms)
	}
	if p := float64(inside) / float64(n); p < 0.9 {
		t.Errorf("truth inside the 95 %% interval in %.1f %%", 100*p)
	}
}

func TestDayFitServesOneDirectionSteps(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	var squares float64
	n, inside := 0, 0
	for range 40 {
		windows, steps, truth := tidalDay(r, func(step int) int { return 2 - step%2 }, 0.02)
		fit := FitDay(windows, steps)
		for i := range steps {
			if len(steps[i].Windows) == 1 {
				d := fit.Speed[i].Mean - truth[i]
				squares += d * d
				n++
				if math.Abs(d) < fit.Speed[i].HalfWidth() {
					inside++
				}
			}
		}
	}
	rms := math.Sqrt(squares/float64(n)) / knot
	t.Logf("one-direction steps: rms residual %.3f kn, inside %.1f %%", rms, 100*float64(inside)/float64(n))
	if rms > 0.1 {
		t.Errorf("rms residual of one-direction steps %.3f kn", rms)
	}
}

func TestDayFitOnOneCourseSaysSo(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	windows, steps, _ := tidalDay(r, func(int) int { return 1 }, 0.02)
	fit := FitDay(windows, steps)
	if fit.OK || fit.Why == "" {
		t.Errorf("a day on one course gave %+v", fit)
	}
	if !cmplx.IsNaN(fit.At(0)) {
		t.Error("a current without a fit")
	}
}

func TestDayFitGoodness(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	windows, steps, _ := tidalDay(r, func(int) int { return 2 }, 0.02)
	good := FitDay(windows, steps)
	if good.PValue < 0.001 || good.DOF < 1 {
		t.Errorf("a day as assumed: chi2 %.1f of %.1f, p %.4f", good.Chi2, good.DOF, good.PValue)
	}
	for _, h := range good.Leverage {
		if h < 0 || h > 1+1e-9 {
			t.Errorf("leverage %g", h)
		}
	}
	// Each window gives two measurements and each step takes one speed.
	within(t, "degrees of freedom", good.DOF, float64(2*len(windows)-len(steps)), 0)
	// One window 2 kn off: the fit must say that it does not fit.
	windows[10].Ground += complex(1, 0)
	if bad := FitDay(windows, steps); bad.PValue > 0.01 || bad.Birge <= good.Birge {
		t.Errorf("a window wrong by 2 kn: chi2 %.1f of %.1f, p %.4f", bad.Chi2, bad.DOF, bad.PValue)
	}
}

// TestDayFitAgainstSciPy solves the same problem by a general optimiser.
func TestDayFitAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	windows, steps, _ := tidalDay(r, func(int) int { return 2 }, 0.02)
	fit := FitDay(windows, steps)
	obs := dayObservations(windows, steps)
	type row struct {
		T, GN, GE, H, Off, Gust, Along, Across float64
		S                                      int
	}
	in := struct {
		Obs                        []row
		Knots                      []float64
		Steps                      int
		Drift, Prior, Offset, Wind float64
	}{Knots: knotTimes(obs), Steps: len(steps), Drift: currentDrift, Prior: currentPrior, Offset: offsetPrior, Wind: windPrior}
	for _, o := range obs {
		in.Obs = append(in.Obs, row{o.time, real(o.ground), imag(o.ground), o.head, o.off, o.gust, o.along, o.across, o.step})
	}
	var out struct {
		V      []float64
		Offset float64
	}
	scipy.Run(t, `
K = np.array(x["Knots"]); S = x["Steps"]; o = x["Obs"]
def res(p):
    V = p[:S]; C = p[S:S+len(K)] + 1j*p[S+len(K):S+2*len(K)]; d = p[-2]
    r = []
    for q in o:
        c = np.interp(q["T"], K, C.real) + 1j*np.interp(q["T"], K, C.imag)
        z = (q["GN"] + 1j*q["GE"] - c)*np.exp(-1j*(q["H"]+d)) - V[q["S"]] - q["Off"] + p[-1]*q["Gust"]
        r += [z.real/q["Along"], z.imag/q["Across"]]
    r += [C[0].real/x["Prior"], C[0].imag/x["Prior"], d/x["Offset"], p[-1]/x["Wind"]]
    for j in range(1, len(K)):
        s = x["Drift"]*(K[j]-K[j-1])
        r += [(C[j]-C[j-1]).real/s, (C[j]-C[j-1]).imag/s]
    return np.array(r)
p0 = np.concatenate([np.full(S, 8.0), np.zeros(2*len(K)), [0.0, 0.0]])
f = scipy.optimize.least_squares(res, p0, xtol=1e-12, ftol=1e-12, gtol=1e-12)
print(json.dumps({"V": list(f.x[:S]), "Offset": f.x[-2]}))`, in, &out)
	for i, v := range out.V {
		within(t, fmt.Sprintf("speed of step %d", i+1), fit.Speed[i].Mean, v, 1e-4)
	}
	within(t, "offset", fit.Offset.Mean, out.Offset, 1e-5)
}
