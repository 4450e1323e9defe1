package manoeuvre

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// dt is the spacing of series, s.
const dt = 1.0 / float64(perSecond)

// halfSmooth is half the width of the parabola that smooths, in cells: over
// 1.1 s a planing boat's speed is a parabola, and noise of 0.03 m/s leaves
// 0.03 m/s² in its slope.
const halfSmooth = 5

// smooth returns value and slope (per s) at every place of x by a
// least-squares parabola over half cells to either side (Savitzky and Golay
// 1964). NaN within reach of an end or of a NaN.
func smooth(x []float64, half int) (value, slope []float64) {
	value, slope = make([]float64, len(x)), make([]float64, len(x))
	k := float64(half)
	norm := (2*k - 1) * (2*k + 1) * (2*k + 3) / 3
	squares := k * (k + 1) * (2*k + 1) / 3
	for i := range x {
		if i < half || i+half >= len(x) {
			value[i], slope[i] = math.NaN(), math.NaN()
			continue
		}
		for j := -half; j <= half; j++ {
			value[i] += x[i+j] * (3*k*k + 3*k - 1 - 5*float64(j*j)) / norm
			slope[i] += x[i+j] * float64(j) / squares / dt
		}
	}
	return value, slope
}

// smoothVectors smooths both parts.
func smoothVectors(x []complex128, half int) (value, slope []complex128) {
	north, east := make([]float64, len(x)), make([]float64, len(x))
	for i, z := range x {
		north[i], east[i] = real(z), imag(z)
	}
	n, dn := smooth(north, half)
	e, de := smooth(east, half)
	value, slope = make([]complex128, len(x)), make([]complex128, len(x))
	for i := range x {
		value[i], slope[i] = complex(n[i], e[i]), complex(dn[i], de[i])
	}
	return value, slope
}

// crossing returns the first place at or after from where x reaches level,
// rising, interpolated linearly between two values; NaN if it never does.
func crossing(x []float64, from, level float64) float64 {
	for i := max(int(math.Ceil(from)), 0); i < len(x); i++ {
		if !(x[i] >= level) {
			continue
		}
		if i > 0 && x[i-1] < level {
			return math.Max(from, float64(i-1)+(level-x[i-1])/(x[i]-x[i-1]))
		}
		return float64(i)
	}
	return math.NaN()
}

// valueAt interpolates x linearly at place p; NaN outside.
func valueAt(x []float64, p float64) float64 {
	if !(p >= 0 && p <= float64(len(x)-1)) {
		return math.NaN()
	}
	i := min(int(p), len(x)-2)
	if i < 0 {
		return x[0]
	}
	return x[i] + (p-float64(i))*(x[i+1]-x[i])
}

func vectorAt(x []complex128, p float64) complex128 {
	if !(p >= 0 && p <= float64(len(x)-1)) {
		return cmplx.NaN()
	}
	i := min(int(p), len(x)-2)
	if i < 0 {
		return x[0]
	}
	return x[i] + complex(p-float64(i), 0)*(x[i+1]-x[i])
}

// mean averages x from place a up to and without b, leaving out NaN; NaN if
// nothing is left.
func mean(x []float64, a, b float64) float64 {
	sum, n := 0.0, 0
	for i := max(0, int(math.Ceil(a))); i < len(x) && float64(i) < b; i++ {
		if !math.IsNaN(x[i]) {
			sum += x[i]
			n++
		}
	}
	return sum / float64(n)
}

// spread returns the standard deviation of x from place a up to b.
func spread(x []float64, a, b float64) float64 {
	m := mean(x, a, b)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = (v - m) * (v - m)
	}
	return math.Sqrt(mean(d, a, b))
}

// series gathers one figure of a clip's cells.
func series(clip []frame, f func(*frame) float64) []float64 {
	out := make([]float64, len(clip))
	for i := range clip {
		out[i] = f(&clip[i])
	}
	return out
}

func vectors(clip []frame, f func(*frame) complex128) []complex128 {
	out := make([]complex128, len(clip))
	for i := range clip {
		out[i] = f(&clip[i])
	}
	return out
}

// one returns a function that reads one channel.
func one(c channel) func(*frame) float64 { return func(f *frame) float64 { return f.v[c] } }

// onset returns the place where x leaves its level for good, given a place
// seen at which the departure is plain: a parabola through the first part of
// the departure, extended back to the level. NaN where the level is not quiet
// against the departure.
//
// The first value beyond the noise is left out: interpolated between the last
// still sample and the first moving one, it would place the onset early.
func onset(x []float64, seen int) float64 {
	level := mean(x, float64(seen-3*perSecond), float64(seen-perSecond/2))
	noise := spread(x, float64(seen-3*perSecond), float64(seen-perSecond/2))
	if math.IsNaN(level) || seen >= len(x) {
		return math.NaN()
	}
	sign := math.Copysign(1, x[seen]-level)
	top := 0.0
	for i := seen; i < min(len(x), seen+2*perSecond); i++ {
		top = math.Max(top, sign*(x[i]-level))
	}
	if !(top > 6*noise) {
		return math.NaN()
	}
	first := seen
	for first > 0 && sign*(x[first-1]-level) > math.Max(3*noise, 0.03*top) {
		first--
	}
	first++
	var t, y []float64
	for i := first; i < len(x) && len(t) < perSecond; i++ {
		d := sign * (x[i] - level)
		if math.IsNaN(d) || len(t) >= 5 && d > 0.6*top {
			break
		}
		t, y = append(t, float64(i-first)), append(y, d)
	}
	if p := float64(first) + rootBefore(t, y); p >= 0 {
		return p
	}
	return math.NaN()
}

// rootBefore fits y = a + b*t + c*t² by least squares and returns its root
// between one second before 0 and two cells after it, by a straight line where
// the parabola has none there; NaN where the line has none either.
func rootBefore(t, y []float64) float64 {
	if len(t) < 4 {
		return math.NaN()
	}
	x := make([][]float64, len(t))
	for i, v := range t {
		x[i] = []float64{1, v, v * v}
	}
	if k, ok := leastSquares(x, y); ok {
		a, b, c := k[0], k[1], k[2]
		if d := b*b - 4*a*c; d >= 0 && b > 0 {
			// The root that goes to -a/b as c vanishes.
			if r := nearRoot(-2 * a / (b + math.Sqrt(d))); !math.IsNaN(r) {
				return r
			}
		}
	}
	for i := range x {
		x[i] = x[i][:2]
	}
	k, ok := leastSquares(x, y)
	if !ok || k[1] <= 0 {
		return math.NaN()
	}
	return nearRoot(-k[0] / k[1])
}

func nearRoot(r float64) float64 {
	if r > 2 || r < -float64(perSecond) {
		return math.NaN()
	}
	return r
}

// regress fits y = k*x + constant by least squares, leaving out NaN in y, and
// returns k and the sum of squared residuals.
func regress(x, y []float64) (k, squares float64, ok bool) {
	var n, sx, sy, xx, xy, yy float64
	for i, v := range y {
		if math.IsNaN(v) {
			continue
		}
		n++
		sx += x[i]
		sy += v
		xx += x[i] * x[i]
		xy += x[i] * v
		yy += v * v
	}
	det := xx - sx*sx/n
	if !(n > 10) || !(det > 0) {
		return 0, 0, false
	}
	k = (xy - sx*sy/n) / det
	return k, yy - sy*sy/n - k*(xy-sx*sy/n), true
}

// leastSquares solves x*k = y; x is by rows.
func leastSquares(x [][]float64, y []float64) (k []float64, ok bool) {
	if len(x) < len(x[0]) {
		return nil, false
	}
	a := mat.NewDense(len(x), len(x[0]), nil)
	for i, row := range x {
		a.SetRow(i, row)
	}
	var qr mat.QR
	qr.Factorize(a)
	var out mat.VecDense
	if err := qr.SolveVecTo(&out, false, mat.NewVecDense(len(y), y)); err != nil {
		return nil, false
	}
	return out.RawVector().Data, true
}

// complexLeastSquares solves x*k = y for complex numbers, by way of the real
// matrix [[Re,-Im],[Im,Re]] that acts as x does. It also returns the residuals'
// root mean square.
func complexLeastSquares(x [][]complex128, y []complex128) (k []complex128, rms float64, ok bool) {
	m := len(x[0])
	rows, values := make([][]float64, 0, 2*len(x)), make([]float64, 0, 2*len(x))
	for i, row := range x {
		re, im := make([]float64, 2*m), make([]float64, 2*m)
		for j, z := range row {
			re[j], re[m+j] = real(z), -imag(z)
			im[j], im[m+j] = imag(z), real(z)
		}
		rows = append(rows, re, im)
		values = append(values, real(y[i]), imag(y[i]))
	}
	r, ok := leastSquares(rows, values)
	if !ok {
		return nil, math.NaN(), false
	}
	k = make([]complex128, m)
	for j := range k {
		k[j] = complex(r[j], r[m+j])
	}
	sum := 0.0
	for i, row := range x {
		d := y[i]
		for j, z := range row {
			d -= z * k[j]
		}
		sum += real(d)*real(d) + imag(d)*imag(d)
	}
	return k, math.Sqrt(sum / float64(len(x))), true
}
