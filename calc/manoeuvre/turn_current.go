package manoeuvre

import (
	"math"
	"math/cmplx"
)

// speedTaus, s: time constants tried for the loss of speed in the turn.
var speedTaus = []float64{2, 3, 4.5, 6.5, 9, 13, 20}

// current fits the track of the turn to a boat that moves where it heads, at a
// speed that falls off exponentially, in water that drifts:
//
//	track = p0 + C*t + integral((a + b*exp(-t/T)) * exp(i*heading) dt)
//
// a and b are complex: a compass offset and a constant drift angle do not
// matter. With b = 0 and a constant rate of turn this is the drifting circle
// centre + C*t + R*(cos, sin). Linear least squares for every T of a list; the
// best one is taken. The standard error allows for residuals that stay
// correlated for two seconds.
func (c *circle) current() (Flow, bool) {
	begin := crossing(c.heading, c.order, c.level+math.Pi/6)
	if math.IsNaN(begin) {
		return Flow{}, false
	}
	from, to := int(begin), int(c.end)
	best := math.Inf(1)
	var flow complex128
	for _, tau := range speedTaus {
		x, y := c.drifting(from, to, tau)
		if len(x) < 8*perSecond {
			return Flow{}, false
		}
		if k, rms, ok := complexLeastSquares(x, y); ok && rms < best {
			best, flow = rms, k[1]
		}
	}
	if math.IsInf(best, 1) {
		return Flow{}, false
	}
	span := float64(to-from) * dt
	// Standard error of a slope over n independent values of spacing 2 s.
	se := best * math.Sqrt(12/(span/2)) / span
	return Flow{Time: c.time(float64(from+to) / 2), Velocity: flow, SE: math.Hypot(2*se, 0.02)}, true
}

// drifting gives the rows of the fit in current.
func (c *circle) drifting(from, to int, tau float64) (x [][]complex128, y []complex128) {
	var plain, decay complex128
	ahead := func(i int) complex128 { return cmplx.Rect(1, c.sign*c.heading[i]) }
	for i := from; i <= to; i++ {
		t := float64(i-from) * dt
		if i > from {
			a, b := ahead(i-1), ahead(i)
			plain += (a + b) * complex(dt/2, 0)
			decay += (a*complex(math.Exp(-(t-dt)/tau), 0) + b*complex(math.Exp(-t/tau), 0)) * complex(dt/2, 0)
		}
		x = append(x, []complex128{1, complex(t, 0), plain, decay})
		y = append(y, c.track[i])
	}
	return x, y
}
