package installation

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"trialday.example/logd/calc/stat"
)

const (
	// offsetLimit, rad: a compass within 2 degrees is a good one.
	offsetLimit = 2 * degree
	// compassError, rad, is the usual error of a compass well set up, and
	// anyError that of one that is not (our own judgement, no source).
	compassError = 1.5 * degree
	anyError     = 10 * degree
	// Priors of the four explanations of an offset; they sum to 1.
	priorGood, priorMagnetic, priorTwice, priorMounted = 0.85, 0.05, 0.02, 0.08
	// leastExplained is the probability from which one explanation is named.
	leastExplained = 0.5
)

// compass explains the offset that reciprocal runs show. True heading is
// magnetic heading plus variation: a sensor that calls magnetic north true needs
// the variation added, one whose true heading is taken for magnetic needs it
// taken off again.
func compass(offset stat.Estimate, variation float64) []Finding {
	if math.IsNaN(offset.Mean) || math.IsNaN(offset.SE) {
		return nil
	}
	f := Finding{Kind: HeadingOffset, Value: offset}
	size := offset
	size.Mean = math.Abs(size.Mean)
	if f.Probability, f.T = above(size, offsetLimit); f.Probability < 0.99 {
		return nil
	}
	if !(math.Abs(variation) >= offsetLimit) {
		return []Finding{f}
	}
	likely := func(prior, centre, sd float64) float64 {
		return prior * distuv.Normal{Mu: centre, Sigma: math.Hypot(sd, offset.SE)}.Prob(offset.Mean)
	}
	magnetic := likely(priorMagnetic, variation, compassError)
	twice := likely(priorTwice, -variation, compassError)
	all := magnetic + twice + likely(priorGood, 0, compassError) + likely(priorMounted, 0, anyError)
	switch {
	case magnetic/all > leastExplained:
		f.Kind, f.Probability = MagneticAsTrue, magnetic/all
	case twice/all > leastExplained:
		f.Kind, f.Probability = VariationTwice, twice/all
	}
	return []Finding{f}
}
