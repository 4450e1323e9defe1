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
	// leanLimit, rad a g of lateral acceleration: less lean is not told from
	// zero; planing boats have about 0.5 to 1.
	leanLimit = 0.1
	// trimLimit, rad: likewise of trim.
	trimLimit = 1 * degree
	// leanFloor, trimFloor: scatter between stretches where few agree.
	leanFloor = 0.1
	trimFloor = 0.5 * degree
	// maxTurns bounds memory; later turns are not looked at.
	maxTurns = 256
)

// sign watches how a planing boat leans in turns and trims at speed: into the
// turn, and bow up.
type sign struct {
	on       bool
	fast     float64 // m/s
	straight mean    // roll when running straight; the zero of lean
	side     float64
	open     [2]stretch // roll and lateral acceleration of the present turn
	turns    [][2]float64
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
		s.open[0].add(c.v[roll])
		s.open[1].add(c.v[speed] * c.v[turning] / gravity)
	}
	if !planing {
		s.run = stretch{}
	} else if !math.IsNaN(c.v[pitch]) {
		if s.run.add(c.v[pitch]); s.run.n >= trimSpan {
			level, _ := s.run.take(trimSpan)
			s.trim.add(level)
		}
	}
}

func (s *sign) endTurn() {
	level, ok := s.open[0].take(turnSpan)
	lateral, _ := s.open[1].take(turnSpan)
	if ok && s.side != 0 && len(s.turns) < maxTurns {
		s.turns = append(s.turns, [2]float64{level, lateral})
	}
}

// findings judges lean by that when running straight, trim by that at rest.
func (s *sign) findings(r *rest) []Finding {
	s.endTurn()
	var out []Finding
	if s.straight.n > 0 {
		var lean mean
		for _, t := range s.turns {
			lean.add((t[0] - s.straight.m) / t[1])
		}
		out = append(out, opposite(Finding{Kind: RollSign, Value: lean.estimate(leanFloor), N: int(lean.n)}, leanLimit)...)
	}
	if r.pitch.n > 0 {
		trim := s.trim
		trim.m -= r.pitch.m
		out = append(out, opposite(Finding{Kind: PitchSign, Value: trim.estimate(trimFloor), N: int(trim.n)}, trimLimit)...)
	}
	return out
}

// opposite returns the finding if its value is surely negative by a limit.
func opposite(f Finding, limit float64) []Finding {
	size := f.Value
	size.Mean = -size.Mean
	if f.Probability, f.T = above(size, limit); f.Probability < enough {
		return nil
	}
	return []Finding{f}
}
