package manoeuvre

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/calc/stat"

	"gonum.org/v1/gonum/mat"
)

// entry is a turn without noise: a boat at 14.4 m/s (28 kn) that turns with the
// same lateral acceleration all the time and loses a quarter of its speed.
type entry struct {
	heading                []float64 // rad, a cell apart, from the order on
	advance, transfer, v90 float64
}

const (
	entrySpeed = 14.4
	entryLag   = 0.7 // s, of the rate of turn behind the order
)

func makeEntry() entry {
	var e entry
	var at complex128
	const step = dt / 20
	heading, rate, v := 0.0, 0.0, entrySpeed
	for i := range 20 * 12 * perSecond {
		if i%20 == 0 {
			e.heading = append(e.heading, heading)
		}
		rate += (0.4*gravity/v - rate) * step / entryLag
		heading += rate * step
		v += (0.75*entrySpeed - v) * step / 4
		at += cmplx.Rect(v*step, heading)
		if e.v90 == 0 && heading >= math.Pi/2 {
			e.advance, e.transfer, e.v90 = real(at), imag(at), v
		}
	}
	return e
}

// mostForAim is the greatest standard error, as part of a figure, with which 95
// of 100 figures are within 3 % of the truth.
const mostForAim = 0.03 / 1.96

// What is known of the receiver's latency does not allow advance and transfer
// to be within 3 % of the truth in 95 of 100 circles, whatever is made of the
// rest of the data: positions that are late by an unknown time put both off by
// speed times that time, in the direction of the motion then.
func TestLatencyBoundsAdvanceAndTransfer(t *testing.T) {
	e := makeEntry()
	late := (&lagWatch{}).lag(0.1, stat.Estimate{}).Latency.SE
	advance, transfer := late*entrySpeed/e.advance, late*e.v90/e.transfer
	t.Logf("latency of %.3f s: advance %.1f %% of %.0f m, transfer %.1f %% of %.0f m; the aim allows %.2f %%",
		late, 100*advance, e.advance, 100*transfer, e.transfer, 100*mostForAim)
	// With 1 % for all the rest.
	if math.Hypot(advance, 0.01) < mostForAim || math.Hypot(transfer, 0.01) < mostForAim {
		t.Error("the aim can be reached: say so, and reach it")
	}
}

// headingCovariance is that of simulated days between headings so many cells
// apart: helm and compass, half a degree each,
// of 5 s and 1 s memory, and white noise of the compass.
func headingCovariance(cells int) float64 {
	s := float64(cells) * dt
	const half = 0.5 * degree
	c := half * half * (math.Exp(-s/5) + math.Exp(-s))
	if cells == 0 {
		c += 1e-6
	}
	return c
}

// orderBound is the Cramér-Rao bound of the order's standard error, s, from
// headings alone, for noise of that covariance and unknown rate, lag and
// approach: the inverse of J' inv(C) J, J by finite differences.
func orderBound(t *testing.T, before, after int, rate float64) float64 {
	t.Helper()
	n := before + after
	model := func(order, r, lag, level float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = level
			if x := float64(i-before)*dt - order; x > 0 {
				out[i] += r * (x - lag*(1-math.Exp(-x/lag)))
			}
		}
		return out
	}
	at := []float64{0, rate, entryLag, 0}
	j := mat.NewDense(n, len(at), nil)
	for k := range at {
		const step = 1e-5
		lo, hi := append([]float64(nil), at...), append([]float64(nil), at...)
		lo[k] -= step
		hi[k] += step
		a, b := model(lo[0], lo[1], lo[2], lo[3]), model(hi[0], hi[1], hi[2], hi[3])
		for i := range n {
			j.Set(i, k, (b[i]-a[i])/(2*step))
		}
	}
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			c.SetSym(i, k, headingCovariance(k-i))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(c) {
		t.Fatal("no covariance")
	}
	var solved, information, inverse mat.Dense
	if err := chol.SolveTo(&solved, j); err != nil {
		t.Fatal(err)
	}
	information.Mul(j.T(), &solved)
	if err := inverse.Inverse(&information); err != nil {
		t.Fatal(err)
	}
	return math.Sqrt(inverse.At(0, 0))
}

// Without a rudder the order is found from the headings, nearly as well as they
// allow, and its standard error is told right. By the bound, the advance then
// cannot be within 3 % in 95 of 100 circles.
func TestOrderFromHeadingsIsNearItsBound(t *testing.T) {
	e := makeEntry()
	r := rand.New(rand.NewPCG(13, 14))
	const before, tries = 10 * perSecond, 150
	bound := orderBound(t, before, 4*perSecond, 0.4*gravity/entrySpeed)
	var squares, told float64
	for range tries {
		var h []float64
		slow, fast := 0.5*degree*r.NormFloat64(), 0.5*degree*r.NormFloat64()
		for i := range before + len(e.heading) {
			slow = forget(r, slow, 5)
			fast = forget(r, fast, 1)
			v := slow + fast + 0.001*r.NormFloat64()
			if i > before {
				v += e.heading[i-before]
			}
			h = append(h, v)
		}
		c := &circle{heading: h}
		smoothed, _ := smooth(h, halfSmooth)
		c.turnOnset(crossing(smoothed, float64(before), 0.1))
		d := (c.order - float64(before)) * dt
		squares += d * d
		told += c.orderSE * c.orderSE * dt * dt
	}
	rms, se := math.Sqrt(squares/tries), math.Sqrt(told/tries)
	t.Logf("order: bound %.3f s, found within %.3f s rms, told as %.3f s; advance by the bound %.1f %%", bound, rms, se, 100*bound*entrySpeed/e.advance)
	if rms > 1.6*bound || rms < 0.7*bound {
		t.Errorf("found within %.3f s, the bound is %.3f s", rms, bound)
	}
	if se < 0.7*rms || se > 1.6*rms {
		t.Errorf("found within %.3f s, told as %.3f s", rms, se)
	}
	if bound*entrySpeed/e.advance < mostForAim {
		t.Error("the aim can be reached: say so, and reach it")
	}
}

// forget is the next value of a first-order process of half a degree.
func forget(r *rand.Rand, x, memory float64) float64 {
	keep := math.Exp(-dt / memory)
	return x*keep + 0.5*degree*math.Sqrt(1-keep*keep)*r.NormFloat64()
}

// wander gives back the standard deviation of a process of which only a few
// memories were seen.
func TestWanderOfAShortApproach(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 16))
	sum := 0.0
	const tries = 2000
	for range tries {
		x := make([]float64, 8*perSecond)
		v := 0.5 * degree * r.NormFloat64()
		for i := range x {
			v = forget(r, v, yawMemory)
			x[i] = v
		}
		w := wander(x, 0, float64(len(x)), yawMemory)
		sum += w * w
	}
	near(t, "standard deviation, degrees", math.Sqrt(sum/tries)/degree, 0.5, 0.02)
}
