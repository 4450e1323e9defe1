package installation

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"trialday.example/logd/calc/stat"
)

// enough is the probability above which a test of a mean speaks. A day has about
// a dozen such tests.
const enough = 0.9999

// above is the probability, by Student's t, that what is estimated lies above a
// limit, and that t.
func above(e stat.Estimate, limit float64) (p, t float64) {
	t = (e.Mean - limit) / e.SE
	if math.IsNaN(t) {
		return 0, t
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: math.Max(e.DOF, 1)}.CDF(t), t
}

// exceeds returns the finding if the size of its value is surely above a limit.
func exceeds(f Finding, limit float64) []Finding {
	size := f.Value
	size.Mean = math.Abs(size.Mean)
	if f.Probability, f.T = above(size, limit); f.Probability < enough {
		return nil
	}
	return []Finding{f}
}
