package calc

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"trialday.example/logd/calc/stat"
)

// Difference is b less a.
type Difference struct {
	stat.Estimate
	P float64 // of a difference as large by chance, two-sided
}

// Significant tells whether the two differ at 95 %.
func (d *Difference) Significant() bool { return d.P < 0.05 }

// Welch compares two independent means whose variances may differ (Welch,
// Biometrika 34 (1947) 28).
func Welch(a, b stat.Estimate) Difference {
	d := Difference{Estimate: stat.Sum([]stat.Estimate{b, a}, []float64{1, -1})}
	if d.SE == 0 {
		if d.Mean == 0 {
			d.P = 1
		}
		return d
	}
	dof := math.Max(d.DOF, 1)
	d.P = 2 * distuv.StudentsT{Sigma: 1, Nu: dof}.Survival(math.Abs(d.Mean)/d.SE)
	return d
}

// FromInterval makes an estimate of a mean and the ends of its 95 % interval
// where the degrees of freedom were not kept. It takes them as without limit,
// and so the standard error as too large rather than too small: comparisons
// claim too few differences, never too many.
func FromInterval(mean, lo, hi float64) stat.Estimate {
	const normal975 = 1.959963984540054 // what Student's quantile tends to
	return stat.Estimate{Mean: mean, SE: (hi - lo) / 2 / normal975, DOF: 1e6}
}

// Curve is a figure of one day over its steps, by rising rpm.
type Curve struct {
	RPM []float64
	Y   []stat.Estimate
}

// At returns the figure at an rpm near step i: that step's, moved along the
// line to its neighbour on that side, or on the other at the ends. Half of the
// move is taken as its standard error.
func (c *Curve) At(i int, rpm float64) stat.Estimate {
	y := c.Y[i]
	k := i + 1
	if rpm < c.RPM[i] {
		k = i - 1
	}
	if k < 0 || k >= len(c.RPM) {
		k = 2*i - k
	}
	if k < 0 || k >= len(c.RPM) || c.RPM[k] == c.RPM[i] || math.IsNaN(c.Y[k].Mean) {
		return y
	}
	move := (c.Y[k].Mean - y.Mean) / (c.RPM[k] - c.RPM[i]) * (rpm - c.RPM[i])
	y.Mean += move
	return y.WithFloor(math.Abs(move) / 2)
}

// MatchSteps pairs the steps of two days that stand for one throttle setting: rpm
// within ratio of each other or within floor, closest pairs first, each step
// once. It returns pairs of indices by rising rpm.
func MatchSteps(a, b []float64, ratio, floor float64) [][2]int {
	var near [][2]int
	distance := func(p [2]int) float64 { return math.Abs(a[p[0]] - b[p[1]]) }
	for i, x := range a {
		for j, y := range b {
			if math.Abs(x-y) <= math.Max(ratio*math.Max(x, y), floor) {
				near = append(near, [2]int{i, j})
			}
		}
	}
	sort.SliceStable(near, func(i, j int) bool { return distance(near[i]) < distance(near[j]) })
	usedA, usedB := map[int]bool{}, map[int]bool{}
	var out [][2]int
	for _, p := range near {
		if !usedA[p[0]] && !usedB[p[1]] {
			usedA[p[0]], usedB[p[1]] = true, true
			out = append(out, p)
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i][0] < out[j][0] })
	return out
}
