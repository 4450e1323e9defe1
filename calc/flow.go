package calc

import (
	"math"

	"trialday.example/logd/calc/manoeuvre"
)

// maxEngines of both packages must be one number.
var _ [MaxEngines]struct{} = [manoeuvre.MaxEngines]struct{}{}

// flow gives the day's current at a trial time with its standard error, which
// grows beyond the first and the last knot by currentDrift; NaN without a fit.
func (f *DayFit) flow(t int64) manoeuvre.Flow {
	if !f.OK || len(f.Knots) == 0 {
		return manoeuvre.Flow{Time: t, SE: math.NaN()}
	}
	first, last := f.Knots[0], f.Knots[len(f.Knots)-1]
	se := first.SE
	for _, k := range f.Knots {
		if k.Time <= t {
			se = k.SE
		}
	}
	beyond := math.Max(0, math.Max(float64(first.Time-t), float64(t-last.Time))) / 1e9
	return manoeuvre.Flow{Time: t, Velocity: f.At(t), SE: math.Hypot(se, beyond*currentDrift)}
}
