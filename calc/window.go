package calc

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/floats"

	"trialday.example/logd/calc/stat"
)

// gnssFloor, m/s, is the standard error of a window's mean speed over ground
// that averaging does not remove: the slow part of the receiver's Doppler
// error. Receivers' data sheets give 0.05 m/s for a single value; most of it
// averages out over half a minute (from memory).
const gnssFloor = 0.01

// unknown is the estimate of what was not heard.
var unknown = stat.Estimate{Mean: math.NaN(), SE: math.NaN(), DOF: 1}

// Window is a stretch of a held run that was tested for steadiness, with its
// figures. A figure that was not heard is NaN.
type Window struct {
	ID, Run    int
	Start, End int64 // trial time, ns
	Reason     Reason
	Step       int // id of the step it counts in; 0 for none
	Amended    Amended
	By         int // id of the amendment that did it; 0 for none

	Engines EngineSet                 // that drive
	RPM     [MaxEngines]stat.Estimate // 1/s
	Fuel    [MaxEngines]stat.Estimate // m³/s
	Total   stat.Estimate             // m³/s, all engines
	SOG     stat.Estimate             // m/s
	STW     stat.Estimate             // m/s, as the paddle wheel gives it
	Ratio   stat.Estimate             // relative error of SOG/Total: mean 0, their correlation in it
	Ground  complex128                // mean velocity over ground, m/s
	Heading stat.Estimate             // rad
	Course  stat.Estimate             // rad, over ground
	Load    stat.Estimate             // ratio, mean of the driving engines
	Trim    stat.Estimate             // ratio, mean of the driving engines
	Pitch   stat.Estimate             // rad
	Roll    stat.Estimate             // rad
	Depth   stat.Estimate             // m
	Wind    complex128                // true wind, where it comes from, m/s
	Breeze  stat.Estimate             // its speed, m/s
	Wave    float64                   // period of encounter, s
	Burnt   float64                   // m³ burnt since the day's start, at mid-window
	Drive   Drive
	// Power is what the batteries that drive the boat give, W; PowerRatio the
	// relative error of SOG/Power, as Ratio.
	Power, PowerRatio stat.Estimate
	Levels            Levels // where the fuel rate does not tell the burn
}

// Accepted tells whether the window is steady.
func (w *Window) Accepted() bool { return w.Reason == Accepted }

// counts tells whether figures may rest on the window.
func (w *Window) counts() bool { return w.Accepted() && w.Amended != Excluded }

// Direction returns the heading in rad or, without a compass, the course over
// ground; NaN if neither is known.
func (w *Window) Direction() float64 {
	if math.IsNaN(w.Heading.Mean) {
		return w.Course.Mean
	}
	return w.Heading.Mean
}

// DepthFroude returns the depth Froude number V/sqrt(g h) (ITTC dictionary), with
// the depth below the transducer for h; NaN if not known.
func (w *Window) DepthFroude() float64 { return depthFroude(w.SOG.Mean, w.Depth.Mean) }

// MeanRPM returns the mean speed of the driving engines in 1/s.
func (w *Window) MeanRPM() float64 {
	sum, n := 0.0, 0
	for e := range w.RPM {
		if w.Engines.Has(e) {
			sum += w.RPM[e].Mean
			n++
		}
	}
	return sum / float64(n)
}

// newWindow derives the figures of the ticks of one stretch.
func newWindow(ticks []tick, run int, reason Reason) Window {
	w := Window{Run: run, Reason: reason, Start: ticks[0].at, End: ticks[len(ticks)-1].at + second}
	w.Wave = wavePeriod(ticks)
	use := wholePeriods(ticks, w.Wave)
	w.Engines = use[len(use)/2].driving()
	var coarse [MaxEngines]float64
	for e := range w.RPM {
		w.RPM[e] = estimate(use, chRPM+channel(e))
		rate := gather(use, chFuel+channel(e))
		coarse[e] = roundingError(rate, fuelStep)
		w.Fuel[e] = estimateOf(rate).WithFloor(coarse[e])
	}
	w.Total = estimateOf(fuelTotal(use)).WithFloor(floats.Norm(coarse[:], 2))
	w.SOG = estimate(use, chSOG).WithFloor(gnssFloor)
	w.Ratio = ratioError(gather(use, chSOG), fuelTotal(use)).WithFloor(floats.Norm(coarse[:], 2) / w.Total.Mean)
	w.STW = estimate(use, chSTW)
	w.Ground = meanVector(use, vecGround)
	w.Heading, w.Course = direction(use, vecHeading), direction(use, vecGround)
	w.Load = estimateOf(overEngines(use, chLoad, w.Engines))
	w.Trim = estimateOf(overEngines(use, chTrim, w.Engines))
	w.Pitch, w.Roll, w.Depth = estimate(use, chPitch), estimate(use, chRoll), estimate(use, chDepth)
	w.Wind, w.Breeze = trueWind(use)
	w.Burnt = use[len(use)/2].burnt
	w.Drive = newDrive(use, w.Engines)
	w.electric(use)
	if w.Accepted() && math.IsNaN(w.Total.Mean) {
		w.Levels = levelsOf(ticks)
	}
	return w
}

// estimate gives the mean of a channel over the ticks that have it.
func estimate(w []tick, c channel) stat.Estimate {
	return estimateOf(gather(w, c))
}

// estimateOf leaves out NaN: a few missing ticks of a slow sensor do not void
// its mean, but a series that is mostly missing has none.
func estimateOf(x []float64) stat.Estimate {
	have := x[:0:0]
	for _, v := range x {
		if !math.IsNaN(v) {
			have = append(have, v)
		}
	}
	if len(have)*2 < len(x) || len(have) == 0 {
		return unknown
	}
	return stat.MeanOf(have)
}

// fuelStep, m³/s, is the resolution of the fuel rate in PGN 127489, 0.1 L/h.
const fuelStep = 1e-4 / 3600

// roundingError returns the standard error that rounding to a step leaves in
// the mean of x. Noise of the size of the step averages it out, a still value
// keeps it: the mean error of rounded Gaussian values is
// step/pi*exp(-2 pi² sd²/step²)*sin(2 pi mean/step) (Widrow and Kollár,
// Quantization Noise, 2008, first term), of which this is the root mean square
// over all means. 0 where there are no values.
func roundingError(x []float64, step float64) float64 {
	have := x[:0:0]
	for _, v := range x {
		if !math.IsNaN(v) {
			have = append(have, v)
		}
	}
	if len(have) == 0 {
		return 0
	}
	r := stat.SD(have) / step
	return step / math.Pi / math.Sqrt2 * math.Exp(-2*math.Pi*math.Pi*r*r)
}

// ratioError estimates the relative error of mean(a)/mean(b) from the series of
// a/mean(a) - b/mean(b): to first order its mean is the ratio's relative
// error, and what a and b have in common cancels in it as it does in the
// ratio (linearisation of a ratio estimator: Cochran, Sampling Techniques,
// 3rd ed., 1977, 6.3).
func ratioError(a, b []float64) stat.Estimate {
	ma, mb := estimateOf(a).Mean, estimateOf(b).Mean
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i]/ma - b[i]/mb
	}
	return estimateOf(d)
}

// overEngines returns the mean of a per-engine channel over a set of engines,
// those that have it, tick by tick.
func overEngines(w []tick, first channel, set EngineSet) []float64 {
	out := make([]float64, len(w))
	for i := range w {
		sum, n := 0.0, 0
		for e := 0; e < MaxEngines; e++ {
			if v := w[i].scalar[first+channel(e)]; set.Has(e) && !math.IsNaN(v) {
				sum += v
				n++
			}
		}
		out[i] = sum / float64(n) // NaN where n is 0
	}
	return out
}

// direction returns the mean direction of a vector series: that of the mean
// vector, with the error of the angles' scatter about it.
func direction(w []tick, v vector) stat.Estimate {
	mean := meanVector(w, v)
	angle := make([]float64, len(w))
	for i := range w {
		angle[i] = cmplx.Phase(w[i].vec[v] / mean)
	}
	e := estimateOf(angle)
	e.Mean = cmplx.Phase(mean)
	return e
}

// wavePeriod returns the mean spacing of the waves met, s; NaN for fewer than
// four.
func wavePeriod(w []tick) float64 {
	n := 0
	var first, last int64
	for i := range w {
		if w[i].crosses == 0 {
			continue
		}
		if n == 0 {
			// Only the last crossing of the tick has its time; those before
			// it in this first tick are left out.
			first, n = w[i].crossAt, 1
		} else {
			n += w[i].crosses
		}
		last = w[i].crossAt
	}
	if n < 4 {
		return math.NaN()
	}
	return float64(last-first) / 1e9 / float64(n-1)
}

// wholePeriods drops ticks at the start, so that a whole number of wave
// periods is averaged over and part of a wave does not tilt the mean. The
// start is dropped because the settling tail's remainder lies there.
func wholePeriods(w []tick, period float64) []tick {
	n := float64(len(w))
	if !(period > 1) || period > n/2 {
		return w
	}
	keep := int(math.Round(math.Floor(n/period) * period))
	return w[len(w)-min(keep, len(w)):]
}

// trueWind returns the mean true wind over ground as the vector it comes from,
// and its speed. From an apparent wind A at angle b from the bow, heading h and
// ground velocity G, it is A*exp(i(h+b)) - G: the air that comes from ahead only
// because the boat moves is taken off.
func trueWind(w []tick) (complex128, stat.Estimate) {
	var sum complex128
	speed := make([]float64, len(w))
	n := 0.0
	for i := range w {
		k := &w[i]
		wind := cmplx.NaN()
		switch {
		case k.hasVec(vecTrueWind):
			wind = k.vec[vecTrueWind]
		case k.hasVec(vecApparent) && k.hasVec(vecHeading) && k.hasVec(vecGround):
			wind = k.vec[vecApparent]*k.vec[vecHeading]/complex(cmplx.Abs(k.vec[vecHeading]), 0) - k.vec[vecGround]
		}
		speed[i] = cmplx.Abs(wind)
		if !cmplx.IsNaN(wind) {
			sum += wind
			n++
		}
	}
	if n == 0 {
		return cmplx.NaN(), estimateOf(speed)
	}
	mean := sum / complex(n, 0)
	e := estimateOf(speed)
	e.Mean = cmplx.Abs(mean)
	return mean, e
}
