package installation

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// steerage, m/s: below it the boat turns as the propellers push, above it the
	// helm holds it straight and the rudder shows what they do.
	steerage = 1.5
	// unequal is the imbalance of thrust, from -1 to 1, from which a stretch
	// counts.
	unequal = 0.4
	// equalThrust is the imbalance below which rudder shows its zero.
	equalThrust = 0.05
	// straightRate, rad/s: turning less is holding a course.
	straightRate = 0.5 * degree
	// astern is the thrust of a propeller astern against ahead (from memory of
	// bollard pulls).
	astern = 0.6
	// pushSpan, holdSpan, s: least length of a stretch.
	pushSpan, holdSpan = 2, 10
	// leastPushes is how many stretches a verdict takes.
	leastPushes = 6
)

// sides watches which way unequal thrust turns the boat. A propeller to
// starboard that pushes ahead turns the bow to port, and helm to starboard holds
// it; if the day shows the opposite, the engines' places are the wrong way round.
// A propeller's own walk is smaller than that on boats whose engines stand apart,
// and is left out.
type sides struct {
	heard uint8
	side  float64 // of the present stretch: 1 where starboard pushes more
	slow  stretch // rate of turn
	quick stretch // rudder
	push  mean    // rate of turn away from the pushing side, rad/s
	hold  [2]mean // rudder, port and starboard pushing
	zero  mean    // rudder under equal thrust
}

func (s *sides) cell(c *cell) {
	for e := range MaxEngines {
		if !math.IsNaN(c.v[revs+quantity(e)]) {
			s.heard |= 1 << e
		}
	}
	thrust := s.imbalance(c)
	side := 0.0
	if math.Abs(thrust) > unequal {
		side = math.Copysign(1, thrust)
	}
	if side != s.side {
		s.end()
		s.side = side
	}
	switch v := c.v[speed]; {
	case v < steerage:
		if side != 0 && !math.IsNaN(c.v[turning]) {
			s.slow.add(c.v[turning])
		}
	case v > 0 && math.Abs(c.v[turning]) < straightRate && !math.IsNaN(c.v[rudder]):
		if side != 0 {
			s.quick.add(c.v[rudder])
		} else if math.Abs(thrust) < equalThrust {
			s.zero.add(c.v[rudder])
		}
	}
}

// imbalance is thrust to starboard less thrust to port over their sum, by
// propeller speeds squared; NaN where a gear is unknown or nothing pushes.
func (s *sides) imbalance(c *cell) float64 {
	last := 0
	for e := range MaxEngines {
		if s.heard&(1<<e) != 0 {
			last = e
		}
	}
	if last == 0 {
		return math.NaN()
	}
	diff, sum := 0.0, 0.0
	for e := 0; e <= last; e++ {
		n := c.v[revs+quantity(e)]
		push := n * n
		switch c.gear[e] {
		case gearUnknown:
			if n > 0 {
				return math.NaN()
			}
			continue
		case neutral:
			continue
		case reverse:
			push *= -astern
		}
		if math.IsNaN(push) {
			continue
		}
		diff += push * (2*float64(e)/float64(last) - 1)
		sum += math.Abs(push)
	}
	if sum == 0 {
		return math.NaN()
	}
	return diff / sum
}

func (s *sides) end() {
	rate, ok := s.slow.take(pushSpan)
	if ok && s.side != 0 {
		s.push.add(-s.side * rate)
	}
	angle, ok := s.quick.take(holdSpan)
	if !ok || s.side == 0 {
		return
	}
	if s.side < 0 {
		s.hold[0].add(angle)
	} else {
		s.hold[1].add(angle)
	}
}

// finding combines what pushes at rest and the rudder under way say (Stouffer's
// sum of z).
func (s *sides) finding() ([]Finding, Verdict) {
	s.end()
	var held mean
	for i, to := range [2]float64{-1, 1} {
		if s.hold[i].n > 0 && s.zero.n > 0 {
			held.merge(&s.hold[i], s.zero.m, to)
		}
	}
	z, parts, n := 0.0, 0.0, 0
	for _, m := range []struct {
		mean
		floor float64
	}{{s.push, 0.2 * degree}, {held, 0.5 * degree}} {
		if m.n < 2 {
			continue
		}
		e := m.estimate(m.floor)
		p, _ := above(e, 0)
		z += distuv.UnitNormal.Quantile(math.Min(math.Max(p, 1e-12), 1-1e-12))
		parts++
		n += int(m.n)
	}
	if parts == 0 || n < leastPushes {
		return nil, Open
	}
	z /= math.Sqrt(parts)
	wrong := distuv.UnitNormal.CDF(-z)
	switch {
	case wrong > enough:
		return []Finding{{Kind: EnginesSwapped, N: n, T: -z, Probability: wrong}}, Wrong
	case 1-wrong > 0.99:
		return nil, Right
	}
	return nil, Open
}
