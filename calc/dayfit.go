package calc

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"trialday.example/logd/calc/stat"
)

// Settings of the day fit.
const (
	// knotSpacing, s: the current runs in straight lines between knots this
	// far apart. A tide turns in hours.
	knotSpacing = 1200.0
	// currentPrior, m/s (2 kn): what is believed of the current before any
	// pass; it only keeps the fit finite where the day tells nothing.
	currentPrior = 1.03
	// offsetPrior, rad (5 degrees): likewise for the compass offset.
	offsetPrior = 5 * math.Pi / 180
	// windPrior, s/m: what is believed of the wind's effect before any pass, as
	// a ratio of boat speed a metre a second of head wind: 0.01 is 5 % in
	// 10 kn.
	windPrior = 0.01
	// headingError, rad (0.6 degrees): scatter of the heading's error from
	// one pass to the next, by deviation and leeway (from memory of small
	// fluxgate and satellite compasses). It bears on the component across
	// the heading.
	headingError = 0.6 * math.Pi / 180
	// separable, m/s (0.25 kn): a step whose speed through water is less well
	// determined than this (standard error) cannot be told from the current.
	separable = 0.129
)

// DayFit is one current through the whole day, found together with the speed
// through water of every step.
type DayFit struct {
	OK     bool
	Why    string          // where not OK
	Speed  []stat.Estimate // m/s through water, one a step
	Clear  []bool          // whether the step's speed can be told from the current
	Knots  []CurrentKnot
	Offset stat.Estimate // compass offset, rad
	// Wind is the loss of speed in head wind, as a ratio a m/s; its mean is
	// NaN where no wind was heard.
	Wind stat.Estimate
	// Chi2 and DOF are of the goodness of fit; Birge is sqrt(Chi2/DOF), by
	// which all errors are enlarged where it is above 1.
	Chi2, DOF, Birge float64
	// PValue is the probability of a Chi2 as large by chance.
	PValue float64
	// Leverage of each window used, by window id: the part of its own fitted
	// value that it determines, 0 to 1, mean of its two components.
	Leverage map[int]float64
}

// CurrentKnot is the current at one time.
type CurrentKnot struct {
	Time int64      // trial time, ns
	Flow complex128 // m/s, where it flows to; real is north
	SE   float64    // m/s, of each component
}

// dayObs is a window in the day fit.
type dayObs struct {
	window *Window
	step   int     // index
	time   float64 // s
	ground complex128
	head   float64
	off    float64 // what is known to differ from the step's speed for the rpm
	gust   float64 // head wind times the step's speed, (m/s)²; 0 if not known
	along  float64 // standard errors, m/s
	across float64
}

// FitDay fits, over all windows of the steps,
//
//	G[k]*exp(-i(h[k]+d)) = V[s]*(1-g*w[k]) + b[s]*(n[k]-n[s]) + C(t[k])*exp(-i(h[k]+d))
//
// with G the velocity over ground, h the heading, d one compass offset, V the
// speed through water of step s without wind, w the head wind and g its effect
// (the drag of the air on top of the boat's own draught is as boat speed times
// head wind), b the slope of speed over rpm there (by differences between
// neighbouring steps), n the rpm, and C the current, linear between knots that
// walk randomly by currentDrift times their spacing.
// Weighted least squares with these priors (equivalently, a Gaussian smoother:
// Rauch, Tung and Striebel 1965), iterated for d by Gauss and Newton.
//
// A steady wind and the sea it raises make the boat faster on one course and
// slower on the other, as a current does; what tells them apart is only that
// their effect grows with the speed of the boat. What is left of them counts as
// current.
func FitDay(windows []Window, steps []Step) DayFit {
	obs := dayObservations(windows, steps)
	if len(obs) < 2 || daySpread(obs) < spreadMin/2 {
		return DayFit{Why: "all passes ran on nearly one course: current and speed through water cannot be told apart"}
	}
	knots := knotTimes(obs)
	delta := 0.0
	var sys *daySystem
	for range 4 {
		sys = newDaySystem(obs, len(steps), knots, delta)
		if !sys.solve() {
			return DayFit{Why: "the fit of the current has no solution"}
		}
		delta += sys.x.AtVec(sys.offset())
	}
	return sys.result(obs, steps, knots, delta)
}

func dayObservations(windows []Window, steps []Step) []dayObs {
	var out []dayObs
	for si := range steps {
		slope := rpmSlope(steps, si)
		for _, id := range steps[si].Windows {
			w := &windows[id-1]
			if cmplx.IsNaN(w.Ground) {
				continue
			}
			out = append(out, dayObs{
				window: w, step: si, time: float64(w.Start+w.End) / 2e9, ground: w.Ground, head: w.Direction(),
				off:    slope * (w.MeanRPM() - steps[si].RPM),
				gust:   headWind(w) * steps[si].Speed.Mean,
				along:  w.SOG.SE * stat.StudentT975(w.SOG.DOF) / 1.96,
				across: math.Hypot(w.SOG.SE, headingError*w.SOG.Mean),
			})
		}
	}
	return out
}

// headWind is the true wind from ahead, m/s; 0 where it is not known.
func headWind(w *Window) float64 {
	if cmplx.IsNaN(w.Wind) {
		return 0
	}
	return real(w.Wind * cmplx.Rect(1, -w.Direction()))
}

// rpmSlope is the change of speed with rpm at step i, m/s per 1/s, between its
// neighbours on the same engines; 0 without any.
func rpmSlope(steps []Step, i int) float64 {
	lo, hi := i, i
	if i > 0 && steps[i-1].Engines == steps[i].Engines {
		lo = i - 1
	}
	if i+1 < len(steps) && steps[i+1].Engines == steps[i].Engines {
		hi = i + 1
	}
	if lo == hi || steps[hi].RPM-steps[lo].RPM < 1 {
		return 0
	}
	return (steps[hi].Speed.Mean - steps[lo].Speed.Mean) / (steps[hi].RPM - steps[lo].RPM)
}

func daySpread(obs []dayObs) float64 {
	passes := make([]Pass, len(obs))
	for i, o := range obs {
		passes[i].Heading = o.head
	}
	return spread(passes)
}

func knotTimes(obs []dayObs) []float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, o := range obs {
		lo, hi = math.Min(lo, o.time), math.Max(hi, o.time)
	}
	n := int(math.Ceil((hi-lo)/knotSpacing)) + 1
	out := make([]float64, max(n, 2))
	for i := range out {
		out[i] = lo + float64(i)*math.Max((hi-lo)/float64(len(out)-1), 1)
	}
	return out
}

// daySystem is the weighted linear system of one iteration. Unknowns: speeds
// of the steps, north and east of each knot, change of the compass offset,
// effect of the wind.
type daySystem struct {
	steps, knots int
	data         int // rows that are measurements, not priors
	a            *mat.Dense
	b            *mat.VecDense
	x            *mat.VecDense
	cov          *mat.SymDense
}

func (s *daySystem) offset() int { return s.steps + 2*s.knots }
func (s *daySystem) wind() int   { return s.offset() + 1 }

func newDaySystem(obs []dayObs, steps int, knots []float64, delta float64) *daySystem {
	s := &daySystem{steps: steps, knots: len(knots), data: 2 * len(obs)}
	rows, cols := s.data+2*len(knots)+2, steps+2*len(knots)+2
	s.a, s.b = mat.NewDense(rows, cols, nil), mat.NewVecDense(rows, nil)
	for k, o := range obs {
		s.measurement(2*k, o, knots, delta)
	}
	row := s.data
	prior := func(col, minus int, sd float64) {
		s.a.Set(row, col, 1/sd)
		if minus >= 0 {
			s.a.Set(row, minus, -1/sd)
		}
		row++
	}
	for j := range knots {
		for c := range 2 {
			at := steps + 2*j + c
			if j == 0 {
				prior(at, -1, currentPrior)
			} else {
				prior(at, at-2, currentDrift*(knots[j]-knots[j-1]))
			}
		}
	}
	s.b.SetVec(row, -delta/offsetPrior)
	prior(s.offset(), -1, offsetPrior)
	prior(s.wind(), -1, windPrior)
	return s
}

// measurement sets the two rows of a window: along and across its heading.
func (s *daySystem) measurement(row int, o dayObs, knots []float64, delta float64) {
	turn := cmplx.Rect(1, -(o.head + delta))
	g := o.ground * turn
	j, x := knotAt(knots, o.time)
	for side, w := range [2]float64{1 / o.along, 1 / o.across} {
		part := func(z complex128) float64 {
			if side == 0 {
				return real(z)
			}
			return imag(z)
		}
		for n, share := range [2]float64{1 - x, x} {
			at := s.steps + 2*(j+n)
			s.a.Set(row+side, at, w*share*part(turn))
			s.a.Set(row+side, at+1, w*share*part(turn*1i))
		}
		value := part(g)
		if side == 0 {
			s.a.Set(row, o.step, w)
			s.a.Set(row, s.wind(), -w*o.gust)
			value -= o.off
		}
		// Turning the frame by a small angle moves g by -i*g times it.
		s.a.Set(row+side, s.offset(), w*part(1i*g))
		s.b.SetVec(row+side, w*value)
	}
}

// knotAt returns the knot before t and how far t is towards the next.
func knotAt(knots []float64, t float64) (j int, x float64) {
	for j < len(knots)-2 && t > knots[j+1] {
		j++
	}
	return j, (t - knots[j]) / (knots[j+1] - knots[j])
}

func (s *daySystem) solve() bool {
	var ok bool
	s.x, s.cov, ok = solveWhitened(s.a, s.b)
	return ok
}

// solveWhitened solves a*x = b by least squares, the rows divided by their
// standard errors, and returns the coefficients with their covariance; ok is
// false where a does not determine them.
func solveWhitened(a *mat.Dense, b *mat.VecDense) (x *mat.VecDense, cov *mat.SymDense, ok bool) {
	var normal mat.SymDense
	normal.SymOuterK(1, a.T())
	var chol mat.Cholesky
	if !chol.Factorize(&normal) {
		return nil, nil, false
	}
	var rhs mat.VecDense
	rhs.MulVec(a.T(), b)
	x, cov = &mat.VecDense{}, &mat.SymDense{}
	if chol.SolveVecTo(x, &rhs) != nil || chol.InverseTo(cov) != nil {
		return nil, nil, false
	}
	return x, cov, true
}

// result reads the solution. Goodness of fit counts the priors as data, as the
// marginal likelihood of the measurements does: rows less unknowns remain free.
func (s *daySystem) result(obs []dayObs, steps []Step, knots []float64, delta float64) DayFit {
	fit := DayFit{OK: true, Leverage: map[int]float64{}}
	var fitted mat.VecDense
	fitted.MulVec(s.a, s.x)
	rows, cols := s.a.Dims()
	for r := range rows {
		d := s.b.AtVec(r) - fitted.AtVec(r)
		fit.Chi2 += d * d
		if r < s.data {
			row := s.a.RowView(r)
			fit.Leverage[obs[r/2].window.ID] += mat.Inner(row, s.cov, row) / 2
		}
	}
	fit.DOF = float64(rows - cols)
	fit.Birge, fit.PValue = 1, 1
	if fit.DOF >= 1 {
		fit.Birge = math.Max(1, math.Sqrt(fit.Chi2/fit.DOF))
		fit.PValue = distuv.ChiSquared{K: fit.DOF}.Survival(fit.Chi2)
	}
	se := func(i int) float64 { return fit.Birge * math.Sqrt(s.cov.At(i, i)) }
	dof := math.Max(fit.DOF, 3)
	for i := range steps {
		v := stat.Estimate{Mean: s.x.AtVec(i), SE: se(i), DOF: dof}
		fit.Speed = append(fit.Speed, v)
		fit.Clear = append(fit.Clear, v.SE < separable)
	}
	for j, t := range knots {
		i := s.steps + 2*j
		fit.Knots = append(fit.Knots, CurrentKnot{
			Time: int64(t * 1e9), Flow: complex(s.x.AtVec(i), s.x.AtVec(i+1)), SE: math.Max(se(i), se(i+1)),
		})
	}
	fit.Offset = stat.Estimate{Mean: delta, SE: se(s.offset()), DOF: dof}
	fit.Wind = stat.Estimate{Mean: math.NaN(), SE: math.NaN(), DOF: dof}
	for _, o := range obs {
		if o.gust != 0 {
			fit.Wind.Mean, fit.Wind.SE = s.x.AtVec(s.wind()), se(s.wind())
		}
	}
	return fit
}

// At returns the current at a trial time in ns.
func (f *DayFit) At(t int64) complex128 {
	if !f.OK {
		return cmplx.NaN()
	}
	k := f.Knots
	j := 0
	for j < len(k)-2 && t > k[j+1].Time {
		j++
	}
	x := float64(t-k[j].Time) / float64(k[j+1].Time-k[j].Time)
	x = math.Max(0, math.Min(1, x))
	return k[j].Flow*complex(1-x, 0) + k[j+1].Flow*complex(x, 0)
}

// setFlows gives each corrected step the day's current at its windows. The
// step's own passes differ by the throttle too, and half of that difference
// would read as current along the course.
func (f *DayFit) setFlows(windows []Window, steps []Step) {
	if !f.OK {
		return
	}
	for i := range steps {
		if !steps[i].Corrected {
			continue
		}
		var sum complex128
		for _, id := range steps[i].Windows {
			sum += f.At((windows[id-1].Start + windows[id-1].End) / 2)
		}
		steps[i].Flow = sum / complex(float64(len(steps[i].Windows)), 0)
	}
}

// Through returns the speed through water of a window, m/s: its velocity over
// ground less the current, along its heading; NaN without a fit.
func (f *DayFit) Through(w *Window) float64 {
	return cmplx.Abs(w.Ground - f.At((w.Start+w.End)/2))
}
