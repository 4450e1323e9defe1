// Package dayburn tells what was burnt over a whole day on a boat without fuel
// meters: from the fall of the tank level between rest at the dock before and
// after, and from what was pumped in to the same mark. It is pure, like all of
// calc. What a level tells of single rpm steps is in calc (TankBurn).
package dayburn

import (
	"math"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const (
	second = int64(1e9)
	// restSpeed, m/s: slower is at rest.
	restSpeed = 0.3
	// block, ns: levels are averaged over a minute, many periods of slosh.
	block = 60 * second
	// leastLevels in a block: tanks come every 2.5 s.
	leastLevels = 5
	// senderError is the standard error of a level that averaging does not remove,
	// as part of the capacity: hysteresis and trim of the boat (from memory of
	// float senders).
	senderError = 0.005
	// shapeError is that of the fall by a tank whose section is not even, as part
	// of the fall (our own judgement, no source).
	shapeError = 0.05
	// filled: a level that rises by this part of the capacity was a filling.
	filled = 0.02
	// tanks is the number that PGN 127505 tells apart; fuel is fluid type 0.
	tanks = 16
)

// Watch takes samples in order of time.
type Watch struct {
	e       Evidence
	started bool
	end     int64 // of the block
	sum, n  [tanks]float64
	pace    float64 // fastest in the block
	heard   bool    // of speed
	rest    [tanks]level
	last    int64
	speed   float64
}

// level is the mean of blocks at one stretch of rest.
type level struct{ n, sum float64 }

// Evidence is what the day shows. It is plain data and can be kept with
// encoding/gob.
type Evidence struct {
	Tanks    [tanks]Tank
	Distance float64 // m over ground
	Moving   float64 // s faster than restSpeed
}

// Tank is one tank's level at the first and the last rest of the day, ratios of
// its capacity.
type Tank struct {
	Capacity         float64 // m³ as sent; 0 for none
	Latest           float64 // ratio, as last heard
	First, Last      float64
	FirstN, LastN    float64 // minutes behind them
	Filled, Resolved bool    // it rose in between; both ends are known
}

// Add takes a sample.
func (w *Watch) Add(s *sample.Sample) {
	if s.State != pgn.Valid {
		return
	}
	if !w.started {
		w.started, w.end = true, s.Time+block
	}
	for s.Time >= w.end {
		w.close()
	}
	switch s.Quantity {
	case pgn.SpeedOverGround:
		if dt := s.Time - w.last; w.heard && dt < 5*second {
			w.e.Distance += w.speed * float64(dt) / 1e9
			if w.speed > restSpeed {
				w.e.Moving += float64(dt) / 1e9
			}
		}
		w.heard, w.last, w.speed = true, s.Time, s.Value
		w.pace = math.Max(w.pace, s.Value)
	case pgn.FluidCapacity:
		if s.Instance < tanks {
			w.e.Tanks[s.Instance].Capacity = s.Value
		}
	case pgn.FluidLevel:
		if s.Instance < tanks {
			w.sum[s.Instance] += s.Value
			w.n[s.Instance]++
			w.e.Tanks[s.Instance].Latest = s.Value
		}
	}
}

// close ends a block. A block that moves, or that knows no speed, ends the
// stretch of rest.
func (w *Watch) close() {
	still := w.heard && w.pace < 2*restSpeed
	for i := range w.sum {
		if still && w.n[i] >= leastLevels {
			w.rest[i].n++
			w.rest[i].sum += w.sum[i] / w.n[i]
		}
		if !still {
			w.e.keep(i, &w.rest[i])
			w.rest[i] = level{}
		}
		w.sum[i], w.n[i] = 0, 0
	}
	w.pace = 0
	w.end += block
}

// keep takes a tank's level at a stretch of rest.
func (e *Evidence) keep(tank int, l *level) {
	if l.n == 0 {
		return
	}
	t, mean := &e.Tanks[tank], l.sum/l.n
	switch {
	case t.FirstN == 0:
		t.First, t.FirstN = mean, l.n
	default:
		before := t.First
		if t.Resolved {
			before = t.Last
		}
		t.Filled = t.Filled || mean > before+filled
		t.Last, t.LastN, t.Resolved = mean, l.n, true
	}
}

// Evidence is that of the day so far.
func (w *Watch) Evidence() *Evidence {
	e := w.e
	for i := range w.rest {
		e.keep(i, &w.rest[i])
	}
	return &e
}

// Fall is what left the tanks, m³, with its error; capacity stands for a single
// tank that sends none (NaN where not known). Its mean is NaN where it cannot be
// told, and why says why.
func (e *Evidence) Fall(capacity float64) (fall stat.Estimate, why string) {
	fall = stat.Estimate{Mean: 0, DOF: 1e6}
	none := stat.Estimate{Mean: math.NaN(), SE: math.NaN(), DOF: 1}
	n := 0
	for i := range e.Tanks {
		if e.Tanks[i].FirstN > 0 {
			n++
		}
	}
	if n == 0 {
		return none, "no level of a fuel tank was heard at rest (PGN 127505)"
	}
	variance := 0.0
	for i := range e.Tanks {
		t := &e.Tanks[i]
		if t.FirstN == 0 {
			continue
		}
		size := t.Capacity
		if !(size > 0) && n == 1 {
			size = capacity
		}
		switch {
		case !(size > 0):
			return none, "the capacity of a tank is not known: its sender gives none, and fuel.tank_l can only stand for a single one"
		case t.Filled:
			return none, "a tank was filled during the day"
		case !t.Resolved:
			return none, "a tank's level was not heard at rest both before and after"
		}
		fall.Mean += (t.First - t.Last) * size
		variance += 2 * senderError * senderError * size * size
	}
	fall.SE = math.Sqrt(variance + shapeError*shapeError*fall.Mean*fall.Mean)
	return fall, ""
}
