package manoeuvre

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc/stat"
)

// Lag is how late the receiver's velocity is.
type Lag struct {
	// Filter is the lag of velocity behind position, s: the time constant tau
	// of a filter of first order.
	Filter stat.Estimate
	// Latency is how late both are, s.
	Latency stat.Estimate
	// Measured tells that Filter comes from this day's data and not from what
	// is usual alone.
	Measured bool
	// Walk is by how much positions and integrated velocities drift apart in
	// one second, m: the errors of both.
	Walk float64
}

const (
	// lagPrior, lagPriorSE, s: what is usual of receivers for small craft,
	// whose filters suit a plotter (from memory of data sheets and tests).
	lagPrior, lagPriorSE = 0.5, 0.25
	// latencyBase, s: computing a fix and sending it (from memory); half a
	// period of the message is added, since a fix is that old on average.
	latencyBase, latencySE = 0.05, 0.05
	// lagMove, m/s: a second counts where the velocity changes by more.
	// Smaller changes are mostly noise, which would bias the slope to zero.
	lagMove = 0.5
	// lagNoise, m: error of a position's change over a second where the day
	// does not tell.
	lagNoise = 0.15
)

// lagWatch estimates the filter lag of velocity against position, which is
// taken from the same satellites but not filtered alike: for a filter
// tau*dS/dt + S = V of first order, integrated over a time in which position
// moves by dP,
//
//	dP - integral(S dt) = tau * dS
//
// exactly, whatever the motion, and for any other filter of lag tau wherever
// the acceleration is steady. Least squares over all seconds of the day with a
// marked change of velocity (accelerations, turns, stops), as vectors:
// tau = sum(dS . (dP - int S)) / sum(|dS|²). Differences over a second make
// the errors independent where position's error wanders like a random walk.
//
// What delays both alike (latency) does not show, and no other sensor tells it
// better than what is usual (0.06 s):
//
//   - Engine speed comes without delay, and the boat follows it. But by which
//     law is not known: fitted to the first seconds of a start as
//     a*n² - b*n*u - c*u² + d, the latency's standard error is 0.1 to 0.15 s an
//     attempt on simulated days, since a to d take up most of what a delay
//     does; with fewer terms the gear, put in just before, and the hump of the
//     resistance put it off by as much.
//   - Trim follows thrust as well as speed, so pitch tells no more.
//   - Turning shows the track later than the compass by rate times latency, but
//     together with the hull's drift angle and the antenna's distance from the
//     pivot, which go as rate over speed. Circles at two speeds could part
//     them, with a compass good to a quarter of a degree; few are.
//
// So the whole of it stays in the intervals, unless the latency is told by a
// person who knows the receiver.
type lagWatch struct {
	n          int
	dd, dy, yy float64
}

// add takes one second: its cells, ends included.
func (l *lagWatch) add(second []frame) {
	a, b := &second[0], &second[len(second)-1]
	var way complex128
	for i := 1; i < len(second); i++ {
		way += (second[i-1].ground() + second[i].ground()) * complex(dt/2, 0)
	}
	y := b.position() - a.position() - way
	d := b.ground() - a.ground()
	if cmplx.IsNaN(y) || math.IsNaN(real(y)) || !(cmplx.Abs(d) > lagMove) || cmplx.Abs(y) > 5*cmplx.Abs(d) {
		return
	}
	l.n++
	l.dd += real(d)*real(d) + imag(d)*imag(d)
	l.dy += real(d)*real(y) + imag(d)*imag(y)
	l.yy += real(y)*real(y) + imag(y)*imag(y)
}

// lag combines the day's data with what is usual, weighted by their variances.
// The latency is as told, or what is usual where it is not.
func (l *lagWatch) lag(period float64, told stat.Estimate) Lag {
	if math.IsNaN(period) || period <= 0 {
		period = 1
	}
	out := Lag{Latency: stat.Estimate{
		Mean: latencyBase + period/2, SE: math.Hypot(latencySE, period/math.Sqrt(12)), DOF: 30,
	}}
	if told.DOF > 0 {
		out.Latency = told
	}
	variance := lagNoise * lagNoise
	if l.n > 10 {
		tau := l.dy / l.dd
		variance = math.Max(l.yy-tau*l.dy, 0)/float64(2*l.n-1) + 1e-6
	}
	data, prior := l.dd/variance, 1/(lagPriorSE*lagPriorSE)
	out.Filter = stat.Estimate{
		Mean: (l.dy/variance + lagPrior*prior) / (data + prior),
		SE:   1 / math.Sqrt(data+prior), DOF: math.Max(30, float64(l.n)),
	}
	out.Filter.Mean = math.Max(0, out.Filter.Mean)
	out.Walk = math.Sqrt(variance)
	out.Measured = data > prior
	return out
}

// corrected returns velocities over ground with the lag taken out, on the
// cells' times less latency, and their slope.
func (l *Lag) corrected(ground []complex128) (v, slope []complex128) {
	s, ds := smoothVectors(ground, halfSmooth)
	for i := range s {
		s[i] += ds[i] * complex(l.Filter.Mean, 0)
	}
	return s, ds
}
