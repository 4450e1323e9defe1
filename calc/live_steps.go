package calc

import (
	"math"
	"reflect"
)

// StepSoFar is a step as far as the day has come.
type StepSoFar struct {
	Step
	Directions []float64 // rad, of each pass, in order of time
	// Reciprocal is the heading, rad, of a pass that would let the current be
	// taken out; NaN where that is done, or directions are not known.
	Reciprocal float64
}

// stepsSoFar derives the steps from the windows so far, as Derive does from
// all of them.
func (t *Trial) stepsSoFar(amendments []Amendment, frozen []Frozen) []StepSoFar {
	from := stepsFrom{len(t.found.Windows), amendments, frozen}
	if !reflect.DeepEqual(from, t.live.from) {
		t.live.from, t.live.steps = from, nil
		windows, steps, _ := stepsOf(&Evidence{Found: t.found, Frozen: frozen}, t.set, amendments)
		for _, s := range steps {
			t.live.steps = append(t.live.steps, soFar(s, windows))
		}
	}
	return t.live.steps
}

// stepsFrom is what steps hang on.
type stepsFrom struct {
	windows int // how many
	amended []Amendment
	frozen  []Frozen
}

func soFar(s Step, windows []Window) StepSoFar {
	out := StepSoFar{Step: s, Reciprocal: math.NaN()}
	var group []int
	for _, id := range s.Windows {
		group = append(group, id-1)
	}
	var passes []Pass
	for _, g := range passesOf(windows, group) {
		p := g.pass()
		passes = append(passes, p)
		out.Directions = append(out.Directions, p.Heading)
	}
	if !s.Corrected && directed(passes) {
		out.Reciprocal = circularMean(out.Directions) + math.Pi
	}
	return out
}
