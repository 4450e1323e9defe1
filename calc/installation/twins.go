package installation

import (
	"math"

	"trialday.example/logd/decode/sample"
)

const (
	// leastTurns: so often in a row a value must have gone to and fro. By chance a
	// value comes back to within agree of a jump no more than once in four times.
	leastTurns = 30
	// twinTurns and twinTime, ns, in all such rows.
	twinTurns = 120
	twinTime  = 60 * second
)

// twins tells two senders that one address and instance hides: their values come
// in turn, each going on from its own last one and away from the other's, for
// minutes. Pitch, roll and rate of turn are not looked at: a wave met every second
// sample does the same to them for a while. Senders that do not take turns, as those of
// different rates, are not found.
type twins struct {
	row      int   // turns up to now
	since    int64 // begin of the row
	sign     float64
	turns    int // in rows that were long enough
	spent    int64
	from, to int64
	apart    float64 // of the two, last seen
}

// add judges a sample by the two of its track.
func (s *twins) add(t *track, v *sample.Sample, w *watched) {
	away, back := w.apart(t.value[1], v.Value), w.apart(t.value[0], v.Value)
	if math.Abs(away) < w.twins || math.Abs(back) > agree*math.Abs(away) || away*s.sign > 0 {
		s.row, s.sign = 0, 0
		return
	}
	if s.row == 0 {
		s.since = t.time[0]
	}
	s.row++
	s.sign = away
	if s.row < leastTurns {
		return
	}
	step := v.Time - t.time[1]
	if s.row == leastTurns {
		s.turns += leastTurns - 1
		step = v.Time - s.since
		if s.from == 0 {
			s.from = s.since
		}
	}
	s.turns++
	s.spent += step
	s.to, s.apart = v.Time, math.Abs(away)
}

func (s *twins) findings() []Finding {
	if s.turns < twinTurns || s.spent < twinTime {
		return nil
	}
	f := Finding{Kind: DuplicateAddress, N: s.turns, Seconds: float64(s.spent) / 1e9, From: s.from, To: s.to, Probability: 1}
	f.Value.Mean = s.apart
	return []Finding{f}
}
