package manoeuvre

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc/stat"
)

// Together is several accelerations alike, combined: on the same engines, from
// the same gear, to engine speeds within alike of each other.
type Together struct {
	Attempts   []int // indices of accelerations
	Reciprocal bool  // they ran both ways
	Engines    uint8
	FromRest   bool
	To         []Reached
	Plane      stat.Estimate
	Peak       float64
}

// alike is the ratio by which engine speeds at the end may differ.
const alike = 0.03

// combine groups the accelerations, times the plane in each group, and
// averages each group.
func combine(all []Acceleration, runs []*run, mass float64) []Together {
	var out []Together
next:
	for i := range all {
		for k := range out {
			first := &all[out[k].Attempts[0]]
			if first.Engines == all[i].Engines && first.FromRest == all[i].FromRest && math.Abs(first.RPM-all[i].RPM) < alike*first.RPM {
				out[k].Attempts = append(out[k].Attempts, i)
				continue next
			}
		}
		out = append(out, Together{Attempts: []int{i}, Engines: all[i].Engines, FromRest: all[i].FromRest})
	}
	for k := range out {
		planeTimes(out[k].Attempts, all, runs, mass)
		out[k].average(all)
	}
	return out
}

func (g *Together) average(all []Acceleration) {
	n := float64(len(g.Attempts))
	var direction complex128
	var planes []stat.Estimate
	g.Peak = 0
	for _, i := range g.Attempts {
		direction += cmplx.Rect(1/n, all[i].Heading)
		g.Peak += all[i].Peak / n
		if !math.IsNaN(all[i].Plane.Mean) {
			planes = append(planes, all[i].Plane)
		}
	}
	g.Reciprocal = len(g.Attempts) > 1 && cmplx.Abs(direction) < 0.5
	// The trim curve is common to the attempts.
	common := math.Inf(1)
	for _, p := range planes {
		common = math.Min(common, p.SE)
	}
	if len(planes) == 0 {
		common = 0
	}
	g.Plane = averageOf(planes, common)
	for _, m := range all[g.Attempts[0]].To {
		if r, ok := g.mark(all, m.Mark, cmplx.Abs(direction)); ok {
			g.To = append(g.To, r)
		}
	}
}

// mark averages the times to one mark, if every attempt reached it. Lag and
// latency are the same error in all attempts; the current's error is too, with
// a sign that turns with the course, so it shrinks by the length of the mean
// course vector.
func (g *Together) mark(all []Acceleration, m Mark, direction float64) (Reached, bool) {
	out := Reached{Mark: m}
	var times []stat.Estimate
	common, n := 0.0, float64(len(g.Attempts))
	for _, i := range g.Attempts {
		for _, r := range all[i].To {
			if r.Mark != m {
				continue
			}
			current := all[i].CurrentSE * r.slowness
			rest := math.Sqrt(math.Max(0, r.Time.SE*r.Time.SE-r.own*r.own-current*current))
			common = math.Max(common, hypot(rest, current*direction))
			times = append(times, stat.Estimate{Mean: r.Time.Mean, SE: r.own, DOF: r.Time.DOF})
			out.Distance += r.Distance / n
		}
	}
	if len(times) < len(g.Attempts) {
		return out, false
	}
	out.Time = averageOf(times, common)
	return out, true
}

// averageOf averages independent times that share a common standard error. The
// own part is the greater of what each is thought to have and of what their
// scatter shows.
func averageOf(x []stat.Estimate, common float64) stat.Estimate {
	if len(x) == 0 {
		return noEstimate
	}
	n := len(x)
	weights, values := make([]float64, n), make([]float64, n)
	for i := range x {
		weights[i], values[i] = 1/float64(n), x[i].Mean
	}
	sum := stat.Sum(x, weights)
	if n > 1 {
		if scatter := stat.SD(values) / math.Sqrt(float64(n)); scatter > sum.SE {
			sum.SE, sum.DOF = scatter, math.Max(float64(n-1), 3)
		}
	}
	return sum.WithFloor(common)
}
