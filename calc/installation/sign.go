package installation

import "math"

const (
	// planingSpeed, m/s, and planingFroude V/sqrt(g L): above both a planing boat
	// planes and leans into turns (common practice; 0.9 from memory).
	planingSpeed  = 9.0
	planingFroude = 0.9
	gravity       = 9.80665
	// leanTurn, m/s² (a tenth of g): lateral acceleration that counts as a turn;
	// leanStraight: below it the boat runs straight.
	leanTurn     = 1.0
	leanStraight = 0.2
	// turnSpan, trimSpan, s: shorter stretches are waves.
	turnSpan = 3
	trimSpan = 20
	// signLimit, rad: less lean or trim is not told from zero.
	signLimit = 1 * degree
	// signFloor, rad: scatter between stretches where few agree.
	signFloor = 0.7 * degree
)

// sign watches how a planing boat leans in turns and trims at speed: into the
// turn, and bow up.
type sign struct {
	on       bool
	fast     float64 // m/s
	straight mean    // roll when running straight; the zero of lean
	turn     stretch
	side     float64
	lean     [2]mean // roll in turns to port and to starboard
	run      stretch
	trim     mean
}

func (s *sign) init(planes bool, length float64) {
	s.on, s.fast = planes, planingSpeed
	if length > 0 {
		s.fast = math.Max(s.fast, planingFroude*math.Sqrt(gravity*length))
	}
}

func (s *sign) cell(c *cell) {
	if !s.on {
		return
	}
	planing := c.v[speed] > s.fast
	side := 0.0
	if lateral := c.v[speed] * c.v[turning]; planing && math.Abs(lateral) > leanTurn {
		side = math.Copysign(1, lateral)
	} else if planing && math.Abs(lateral) < leanStraight && !math.IsNaN(c.v[roll]) {
		s.straight.add(c.v[roll])
	}
	if side != s.side {
		s.endTurn()
		s.side = side
	}
	if side != 0 && !math.IsNaN(c.v[roll]) {
		s.turn.add(c.v[roll])
	}
	if planing && !math.IsNaN(c.v[pitch]) {
		s.run.add(c.v[pitch])
	} else if level, ok := s.run.take(trimSpan); ok {
		s.trim.add(level)
	}
}

func (s *sign) endTurn() {
	level, ok := s.turn.take(turnSpan)
	if !ok || s.side == 0 {
		return
	}
	if s.side < 0 {
		s.lean[0].add(level)
	} else {
		s.lean[1].add(level)
	}
}

// findings needs two stretches each; trim is judged against rest.
func (s *sign) findings(r *rest) []Finding {
	s.endTurn()
	if level, ok := s.run.take(trimSpan); ok {
		s.trim.add(level)
	}
	var out []Finding
	if s.straight.n > 0 {
		var inward mean
		for i, to := range [2]float64{-1, 1} {
			if s.lean[i].n > 0 {
				inward.merge(&s.lean[i], s.straight.m, to)
			}
		}
		out = append(out, outward(Finding{Kind: RollSign, Value: inward.estimate(signFloor), N: int(inward.n)})...)
	}
	if r.pitch.n > 0 {
		trim := s.trim
		trim.m -= r.pitch.m
		out = append(out, outward(Finding{Kind: PitchSign, Value: trim.estimate(signFloor), N: int(trim.n)})...)
	}
	return out
}

// outward returns the finding if its value is surely negative.
func outward(f Finding) []Finding {
	size := f.Value
	size.Mean = -size.Mean
	if f.Probability, f.T = above(size, signLimit); f.Probability < enough {
		return nil
	}
	return []Finding{f}
}

// merge adds the values of o less zero, times a sign (Chan, Golub and LeVeque
// 1979).
func (m *mean) merge(o *mean, zero, sign float64) {
	v := sign * (o.m - zero)
	d, n := v-m.m, m.n+o.n
	m.squares += o.squares + d*d*m.n*o.n/n
	m.m += d * o.n / n
	m.n = n
}
