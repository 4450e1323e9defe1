package installation

import (
	"math"

	"trialday.example/logd/decode/sample"
)

const (
	// leastSpikes: a few in a day do no harm to means and are not worth a word.
	leastSpikes = 5
	// agree is how closely the neighbours of a spike must agree, as part of the
	// jump.
	agree = 0.25
)

// spikes counts single values that jump away from both neighbours.
type spikes struct {
	n        int
	from, to int64
	largest  float64
}

// add judges the middle one of three samples: the two of the track and v.
func (s *spikes) add(t *track, v *sample.Sample, w *watched) {
	if t.time[1]-t.time[0] > w.spacing || v.Time-t.time[1] > w.spacing {
		return
	}
	out, back := w.apart(t.value[0], t.value[1]), w.apart(t.value[1], v.Value)
	if math.Abs(out) < w.jump || math.Abs(back) < w.jump || out*back > 0 ||
		math.Abs(w.apart(t.value[0], v.Value)) > agree*w.jump {
		return
	}
	if s.n == 0 {
		s.from = t.time[1]
	}
	s.n++
	s.to = t.time[1]
	s.largest = math.Max(s.largest, math.Abs(out))
}

func (s *spikes) findings() []Finding {
	if s.n < leastSpikes {
		return nil
	}
	f := Finding{Kind: Spikes, N: s.n, From: s.from, To: s.to, Probability: 1}
	f.Value.Mean = s.largest
	return []Finding{f}
}
