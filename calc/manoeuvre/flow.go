package manoeuvre

import (
	"math"
	"math/cmplx"
)

// Flow is what is known of the current at one time.
type Flow struct {
	Time     int64      // trial time, ns
	Velocity complex128 // m/s, where it flows to
	SE       float64    // m/s, of each component
}

const (
	// flowDrift, m/s²: how fast a current is taken to change, half a knot an
	// hour: a strong tidal stream (from memory).
	flowDrift = 0.257 / 3600
	// adriftError, m/s (half a knot): a boat adrift also moves with the wind.
	adriftError = 0.26
	// flowUnknown, m/s (one knot): where nothing is known, the current is
	// taken as none, with this error.
	flowUnknown = 0.51
)

// flowAt combines what is known of the current, each weighted by its variance
// and by how far the current may have changed since. Known is false where
// nothing was.
func flowAt(flows []Flow, t int64) (at Flow, known bool) {
	var sum complex128
	weight := 0.0
	for _, f := range flows {
		if cmplx.IsNaN(f.Velocity) || math.IsNaN(f.SE) {
			continue
		}
		change := flowDrift * math.Abs(float64(f.Time-t)) / 1e9
		w := 1 / (f.SE*f.SE + change*change)
		sum += complex(w, 0) * f.Velocity
		weight += w
	}
	if weight == 0 {
		return Flow{Time: t, SE: flowUnknown}, false
	}
	return Flow{Time: t, Velocity: sum / complex(weight, 0), SE: 1 / math.Sqrt(weight)}, true
}

// nearest returns the index of the flow nearest in time; -1 for none.
func nearest(flows []Flow, t int64) int {
	best := -1
	for i := range flows {
		if best < 0 || abs(flows[i].Time-t) < abs(flows[best].Time-t) {
			best = i
		}
	}
	return best
}

func abs(n int64) int64 { return max(n, -n) }
