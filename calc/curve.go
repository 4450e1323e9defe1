package calc

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"trialday.example/logd/calc/stat"
)

// Optimum is the top of the fitted curve of economy over speed.
type Optimum struct {
	OK      bool
	Why     string // where not OK
	Speed   stat.Estimate
	Economy stat.Estimate
	Steps   int // that the curve was fitted to
}

// curveSteps are the fewest that leave a degree of freedom to a parabola.
const curveSteps = 4

// curveReach: steps are fitted whose economy is within 12 % of the best: near
// its top any smooth curve is a parabola.
const curveReach = 0.12

// BestEconomy fits a parabola to economy over speed around the best of the
// steps, which rise in speed, weighted by their errors, and returns its top.
//
// With e = c0 + c1*u + c2*u², u speed less the best step's, the top is at
// u = -c1/(2 c2); its error follows from the coefficients' covariance to first
// order (ISO/IEC Guide 98-3, 5.2.2), enlarged by the Birge ratio where the
// steps scatter by more than their errors. Reference: any weighted polynomial
// fit with covariance, such as numpy's polyfit.
func BestEconomy(steps []*Step) Optimum {
	best := -1
	for i, s := range steps {
		if !math.IsNaN(s.Economy.Mean) && (best < 0 || s.Economy.Mean > steps[best].Economy.Mean) {
			best = i
		}
	}
	if best < 0 {
		return Optimum{Why: "no fuel rate was heard"}
	}
	lo, hi := best, best
	near := func(i int) bool { return steps[i].Economy.Mean >= (1-curveReach)*steps[best].Economy.Mean }
	for lo > 0 && near(lo-1) {
		lo--
	}
	for hi+1 < len(steps) && near(hi+1) {
		hi++
	}
	use := steps[lo : hi+1]
	switch {
	case best == 0:
		return Optimum{Why: "economy is best at the slowest step: the optimum lies at or below it"}
	case best == len(steps)-1:
		return Optimum{Why: "economy is best at the fastest step: the optimum lies at or above it"}
	case len(use) < curveSteps:
		return Optimum{Why: "fewer than four steps near the best: no curve can be fitted"}
	}
	return parabolaTop(use, steps[best].Speed.Mean)
}

func parabolaTop(use []*Step, origin float64) Optimum {
	n := len(use)
	a, b := mat.NewDense(n, 3, nil), mat.NewVecDense(n, nil)
	for i, s := range use {
		w, u := 1/s.Economy.SE, s.Speed.Mean-origin
		a.SetRow(i, []float64{w, w * u, w * u * u})
		b.SetVec(i, w*s.Economy.Mean)
	}
	c, cov, ok := solveWhitened(a, b)
	if !ok {
		return Optimum{Why: "the curve of economy has no solution"}
	}
	c1, c2 := c.AtVec(1), c.AtVec(2)
	if c2 >= 0 {
		return Optimum{Why: "economy has no top among the steps near the best"}
	}
	var fitted mat.VecDense
	fitted.MulVec(a, c)
	chi2 := 0.0
	for i := range n {
		d := b.AtVec(i) - fitted.AtVec(i)
		chi2 += d * d
	}
	dof := float64(n - 3)
	birge := math.Sqrt(math.Max(1, chi2/dof))
	u := -c1 / (2 * c2)
	if v := origin + u; v < use[0].Speed.Mean || v > use[n-1].Speed.Mean {
		return Optimum{Why: "the top of the curve of economy lies outside the steps near the best"}
	}
	form := func(g []float64) float64 {
		v := mat.NewVecDense(3, g)
		return birge * math.Sqrt(mat.Inner(v, cov, v))
	}
	return Optimum{
		OK: true, Steps: n,
		Speed:   stat.Estimate{Mean: origin + u, SE: form([]float64{0, -1 / (2 * c2), c1 / (2 * c2 * c2)}), DOF: dof},
		Economy: stat.Estimate{Mean: c.AtVec(0) + c1*u/2, SE: form([]float64{1, u, u * u}), DOF: dof},
	}
}

// BurnOffRange returns the range in m as the boat grows lighter: the way per
// fuel rises as displacement falls, in proportion on the plane, where
// resistance over weight depends on speed and loading little (planing-hull
// literature after Savitsky 1964, from memory). Economy is at the mass of the
// step; full is the mass with the tanks full, usable the fuel that may be
// burnt, m³, and density in kg/m³. From dx = E*(m0/m) dF it is
// E*m0/density * ln(full/(full - density*usable)).
func BurnOffRange(economy, mass, full, usable, density float64) float64 {
	return economy * mass / density * math.Log(full/(full-density*usable))
}

// Paddle is the calibration of the paddle wheel against the speed through
// water that the fit of the day gives: through = Offset + Factor*paddle.
type Paddle struct {
	OK             bool
	Why            string
	Points         int
	Factor, Offset stat.Estimate // 1, m/s
	SD             float64       // scatter, m/s
	Lo, Hi         float64       // range of paddle speeds, m/s
}

// CalibratePaddle fits the calibration by ordinary least squares over all
// accepted windows with a paddle speed.
func CalibratePaddle(windows []Window, fit *DayFit) Paddle {
	if !fit.OK {
		return Paddle{Why: fit.Why}
	}
	var x, y []float64
	for i := range windows {
		w := &windows[i]
		if v := fit.Through(w); w.counts() && w.STW.Mean > 0.5 && !math.IsNaN(v) {
			x, y = append(x, w.STW.Mean), append(y, v)
		}
	}
	n := float64(len(x))
	if n < 4 {
		return Paddle{Why: "fewer than four steady windows with a speed through water", Points: len(x)}
	}
	mx, my := stat.Mean(x), stat.Mean(y)
	var sxx, sxy float64
	p := Paddle{OK: true, Points: len(x), Lo: x[0], Hi: x[0]}
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
		p.Lo, p.Hi = math.Min(p.Lo, x[i]), math.Max(p.Hi, x[i])
	}
	if sxx == 0 {
		return Paddle{Why: "all windows have one speed", Points: len(x)}
	}
	k := sxy / sxx
	rss := 0.0
	for i := range x {
		d := y[i] - my - k*(x[i]-mx)
		rss += d * d
	}
	s2 := rss / (n - 2)
	p.SD = math.Sqrt(s2)
	p.Factor = stat.Estimate{Mean: k, SE: math.Sqrt(s2 / sxx), DOF: n - 2}
	p.Offset = stat.Estimate{Mean: my - k*mx, SE: math.Sqrt(s2 * (1/n + mx*mx/sxx)), DOF: n - 2}
	return p
}
