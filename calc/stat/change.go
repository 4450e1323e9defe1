package stat

import (
	"math"
	"sort"
)

// Changes returns the starts of the pieces into which the series fall when
// their levels jump together; the first is always 0.
//
// The pieces minimise the sum over series of squared deviation from the piece
// mean over the series' noise variance, plus a penalty per piece, exactly, by
// pruned dynamic programming (PELT: Killick, Fearnhead and Eckley, J. Am.
// Stat. Assoc. 107 (2012) 1590). The noise variance comes from first
// differences by the median absolute deviation, which a jump does not disturb;
// floor, one a series, is the smallest standard deviation that is believed
// (the resolution of the sensor, and what waves add that differences miss).
// The penalty 3*(k+1)*ln(n), for k series, is the modified Bayes criterion of
// Zhang and Siegmund (Biometrics 63 (2007) 22) without its length term.
func Changes(series [][]float64, floor []float64) []int {
	n := len(series[0])
	if n < 4 {
		return []int{0}
	}
	c := newCost(series, floor)
	penalty := 3 * float64(len(series)+1) * math.Log(float64(n))
	best := make([]float64, n+1) // best[t]: least cost of the first t ticks
	last := make([]int, n+1)     // last[t]: where the last piece of that starts
	best[0] = -penalty
	starts := []int{0}
	for t := 1; t <= n; t++ {
		best[t] = math.Inf(1)
		for _, s := range starts {
			if v := best[s] + c.of(s, t) + penalty; v < best[t] {
				best[t], last[t] = v, s
			}
		}
		keep := starts[:0]
		for _, s := range starts {
			if best[s]+c.of(s, t) <= best[t] {
				keep = append(keep, s)
			}
		}
		starts = append(keep, t)
	}
	var cuts []int
	for t := n; t > 0; t = last[t] {
		cuts = append(cuts, last[t])
	}
	sort.Ints(cuts)
	return cuts
}

// cost gives the scaled squared deviation of any piece in constant time.
type cost struct {
	sum, square [][]float64 // running sums of each series
	inverse     []float64   // 1/noise variance
}

func newCost(series [][]float64, floor []float64) *cost {
	c := &cost{}
	for i, x := range series {
		m := Mean(x) // taken off first, so that the running squares stay small
		sum, square := make([]float64, len(x)+1), make([]float64, len(x)+1)
		for t, v := range x {
			sum[t+1] = sum[t] + v - m
			square[t+1] = square[t] + (v-m)*(v-m)
		}
		sd := math.Max(floor[i], differenceSD(x))
		c.sum = append(c.sum, sum)
		c.square = append(c.square, square)
		c.inverse = append(c.inverse, 1/(sd*sd))
	}
	return c
}

func (c *cost) of(s, t int) float64 {
	total := 0.0
	for i := range c.sum {
		d := c.sum[i][t] - c.sum[i][s]
		total += (c.square[i][t] - c.square[i][s] - d*d/float64(t-s)) * c.inverse[i]
	}
	return total
}

// differenceSD estimates the noise of x from its first differences: 1.4826
// times their median absolute deviation, over sqrt 2 (Gaussian consistency).
func differenceSD(x []float64) float64 {
	d := make([]float64, len(x)-1)
	for i := range d {
		d[i] = math.Abs(x[i+1] - x[i])
	}
	sort.Float64s(d)
	return 1.4826 / math.Sqrt2 * d[len(d)/2]
}
