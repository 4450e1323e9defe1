package manoeuvre

import (
	"math"

	"trialday.example/logd/calc/stat"
)

const (
	// planeFroude: the volume Froude number below which no boat planes; see
	// the package comment.
	planeFroude = 1.3
	// leastFall, rad (0.4 degrees): a smaller fall of the bow is no sign of
	// planing.
	leastFall = 0.4 * math.Pi / 180
	// trimBand: half the width of the local parabola of trim over speed, as
	// part of the speed at the end. A planing boat passes it in a second or
	// two, the period of the waves met. A wider one (0.2, 0.27) takes a third
	// off the error in moderate waves and nothing in high ones, but puts a boat
	// that comes over the hump quickly off by 0.3 s, with nothing to show for
	// it in the interval.
	trimBand = 0.15
	// trimPoints of the curve.
	trimPoints = 100
	// pitchMemory, s: how long pitch in waves stays correlated, half a period
	// of the waves met.
	pitchMemory = 1.0
	// endBand: the trim at the end is the mean at speeds above this part of
	// the speed at the end.
	endBand = 0.97
	// seaWater, kg/m³ at 15 °C (ITTC 7.5-02-01-03, from memory, 1026).
	seaWater = 1026.0
	gravity  = 9.80665
)

var noEstimate = stat.Estimate{Mean: math.NaN(), SE: math.NaN(), DOF: 1}

// Froude returns the volume Froude number V/sqrt(g*vol^(1/3)) of a speed in
// m/s for a mass in kg.
func Froude(speed, mass float64) float64 {
	return speed / math.Sqrt(gravity*math.Cbrt(mass/seaWater))
}

// trim is the running trim over speed of attempts alike.
type trim struct {
	speed, pitch []float64 // all cells of all attempts
	top          float64   // speed at the end, m/s
}

// planeTimes times the plane of the attempts alike. Waves hide when the bow
// comes down, but the speed at which it does is the boat's own: trim over
// speed is taken from all attempts together, by local least squares, and each
// attempt is then timed to that speed.
//
// No smoothing gets the waves out altogether: a fall of the bow by 2.5 degrees
// within 3 s, in a sea that pitches the boat by 1 degree with a memory of half
// a second, is timed to no better than 0.35 s by four attempts, even if its
// shape were known (a matched filter: 1/SE² = energy of the slope over the
// noise's spectral density). What the sea leaves is in the interval.
func planeTimes(group []int, all []Acceleration, runs []*run, mass float64) {
	var t trim
	for _, i := range group {
		t.add(runs[i])
		t.top = math.Max(t.top, all[i].EndSpeed)
	}
	peak, speed, se := t.bowDown()
	for _, i := range group {
		a := &all[i]
		a.PeakPitch = peak
		if math.IsNaN(speed) {
			continue
		}
		a.PlaneSpeed, a.Froude = speed, Froude(speed, mass)
		r, ok := runs[i].reach(Mark{Speed: speed})
		if !ok || a.Froude < planeFroude {
			continue
		}
		a.Plane = r.Time.WithFloor(se * r.slowness)
	}
}

func (t *trim) add(r *run) {
	for i := int(math.Ceil(r.start)); i < len(r.speed); i++ {
		if p := r.clip[i].v[chPitch]; !math.IsNaN(p) && !math.IsNaN(r.speed[i]) {
			t.speed, t.pitch = append(t.speed, r.speed[i]), append(t.pitch, p)
		}
	}
}

// bowDown returns the peak of the trim, the speed at which it has come half way
// down to that at the end, and this speed's standard error; NaN where the bow
// does not come down.
func (t *trim) bowDown() (peak, speed, se float64) {
	var end []float64
	for i, v := range t.speed {
		if v > endBand*t.top {
			end = append(end, t.pitch[i])
		}
	}
	curve := make([]float64, trimPoints)
	errs := make([]float64, trimPoints)
	step := t.top / trimPoints
	best := -1
	for i := range curve {
		curve[i], errs[i] = t.at(float64(i) * step)
		if !math.IsNaN(curve[i]) && (best < 0 || curve[i] > curve[best]) {
			best = i
		}
	}
	if best < 0 || len(end) < 2*perSecond {
		return math.NaN(), math.NaN(), math.NaN()
	}
	peak = curve[best]
	level := (peak + stat.Mean(end)) / 2
	down := make([]float64, len(curve))
	for i, v := range curve {
		down[i] = -v
	}
	p := crossing(down, float64(best), -level)
	if math.IsNaN(p) || !(peak-level > leastFall/2) {
		return peak, math.NaN(), math.NaN()
	}
	k := int(p)
	rate := math.Max(math.Abs(curve[min(k+2, trimPoints-1)]-curve[max(k-2, 0)])/(4*step), (peak-level)/(t.top/4))
	return peak, p * step, hypot(errs[k], errs[best]/2) / rate
}

// at returns the trim at a speed by a parabola through the cells within
// trimBand, weighted by their distance (Epanechnikov's kernel; local
// regression as in Cleveland, J. Am. Stat. Assoc. 74 (1979) 829), and its
// standard error.
func (t *trim) at(speed float64) (value, se float64) {
	band := trimBand * t.top
	var x [][]float64
	var y, w []float64
	below, above := 0, 0
	for i, v := range t.speed {
		d := (v - speed) / band
		if d <= -1 || d >= 1 {
			continue
		}
		if d < 0 {
			below++
		} else {
			above++
		}
		k := math.Sqrt(1 - d*d)
		x, y, w = append(x, []float64{k, k * d, k * d * d}), append(y, k*t.pitch[i]), append(w, k*k)
	}
	if min(below, above) < 3 { // no extrapolation
		return math.NaN(), math.NaN()
	}
	c, ok := leastSquares(x, y)
	if !ok {
		return math.NaN(), math.NaN()
	}
	sum, weight := 0.0, 0.0
	for i := range x {
		d := y[i] - c[0]*x[i][0] - c[1]*x[i][1] - c[2]*x[i][2]
		sum += d * d
		weight += w[i]
	}
	// A local parabola's value has 2.25 times a mean's variance.
	return c[0], math.Sqrt(sum / weight * 2.25 / (weight * dt / pitchMemory))
}
