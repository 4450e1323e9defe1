package installation

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"trialday.example/logd/calc/stat"
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
	// pushFloor, rad/s, and holdFloor, rad: scatter between stretches where few
	// agree.
	pushFloor = 0.2 * degree
	holdFloor = 0.5 * degree
	// leastPushes is how many stretches a verdict takes.
	leastPushes = 6
)

// sides watches which way unequal thrust turns the boat. A propeller to
// starboard that pushes ahead turns the bow to port, and helm to starboard holds
// it; if the day shows the opposite, the engines' places are the wrong way round.
// A propeller's own walk is smaller than that on boats whose engines stand apart,
// and is left out.
type sides struct {
	heard  uint8
	side   float64    // of the present stretch: 1 where starboard pushes more
	slow   [2]stretch // rate of turn, and rudder times speed
	quick  stretch    // rudder
	pushes []push
	hold   [2]mean // rudder, port and starboard pushing
	zero   mean    // rudder under equal thrust
}

// push is a stretch in which one side pushed, hardly any way on.
type push struct {
	side, rate float64 // rad/s
	helm       float64 // rudder times speed, rad m/s, to which it turns the boat
}

// maxPushes bounds memory; later ones are not looked at.
const maxPushes = 512

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
			s.slow[0].add(c.v[turning])
			if helm := c.v[rudder] * v; !math.IsNaN(helm) {
				s.slow[1].add(helm)
			}
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
	rate, ok := s.slow[0].take(pushSpan)
	helm, heard := s.slow[1].take(1)
	if !heard {
		helm = 0
	}
	if ok && s.side != 0 && len(s.pushes) < maxPushes {
		s.pushes = append(s.pushes, push{s.side, rate, helm})
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
	for _, e := range []stat.Estimate{pushed(s.pushes), held.estimate(holdFloor)} {
		p, t := above(e, 0)
		if math.IsNaN(t) {
			continue
		}
		z += distuv.UnitNormal.Quantile(math.Min(math.Max(p, 1e-12), 1-1e-12))
		parts++
		n += int(e.DOF) + 1
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

// pushed is the rate at which a push turns the boat away from its side, rad/s, by
// least squares of rate = -pushed*side + b*helm, as helms are used with engines.
func pushed(list []push) stat.Estimate {
	var ss, sh, hh, sr, hr float64
	for _, p := range list {
		ss += p.side * p.side
		sh += p.side * p.helm
		hh += p.helm * p.helm
		sr += p.side * p.rate
		hr += p.helm * p.rate
	}
	n, unknowns := float64(len(list)), 1.0
	a, b, det := sr/ss, 0.0, ss
	if d := ss*hh - sh*sh; d > 1e-6*ss*hh {
		unknowns = 2
		a, b, det = (sr*hh-hr*sh)/d, (hr*ss-sr*sh)/d, d/hh
	}
	squares := 0.0
	for _, p := range list {
		e := p.rate - a*p.side - b*p.helm
		squares += e * e
	}
	dof := n - unknowns
	if dof < 1 {
		return stat.Estimate{Mean: math.NaN(), SE: math.NaN(), DOF: 1}
	}
	sd := math.Max(math.Sqrt(squares/dof), pushFloor)
	return stat.Estimate{Mean: -a, SE: sd / math.Sqrt(det), DOF: dof}
}
