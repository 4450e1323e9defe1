package installation

import (
	"math"
	"math/cmplx"
	"slices"
)

const (
	// stillSpan, ns, and stillSamples: a value must have stood still for as long
	// and as often as this.
	stillSpan    = 45 * second
	stillSamples = 20
	// usual is the part of repeated values of a sensor of which too little else
	// was heard to tell.
	usual      = 0.5
	leastOther = 100
)

// witness is what the boat did while a value stood still.
type witness struct {
	slowest, fastest float64 // m/s
	lowest, highest  float64 // 1/s, of the engine, or of the fastest one
	first            complex128
	most             float64 // rad, greatest change of course while making way
	way              float64 // m
	driving          bool    // the engine was in gear, or its gear unknown; of other series always
}

// throttled: an engine went from one speed to half as much again.
func (w *witness) throttled() bool { return w.highest > 1.5*w.lowest && w.highest > 20 }

// paced: the boat's speed changed by 5 kn.
func (w *witness) paced() bool { return w.fastest-w.slowest > 2.5 && w.driving }

// revved: the engine's own speed changed.
func (w *witness) revved() bool { return w.highest > 1.3*w.lowest && w.lowest > 5 }

// turned: the course over ground changed by a right angle.
func (w *witness) turned() bool { return w.most > math.Pi/2 }

// steered: it turned, or ran through other speeds for a while, in which no boat keeps
// its heading to a part of a degree.
func (w *witness) steered() bool { return w.turned() || w.paced() && w.travelled() }

// travelled: the boat went as far as a small harbour is wide.
func (w *witness) travelled() bool { return w.way > 300 }

// still follows a value that repeats exactly.
type still struct {
	value       float64
	since, last int64
	n           int
	own         float64 // of all, in this stretch
	w           witness

	all, repeats float64 // samples under way, and those equal to the one before
	found        []Stretch
	samples      float64 // in what was found
}

func (s *still) reset() {
	s.n, s.own = 0, 0
	s.w = witness{slowest: math.Inf(1), lowest: math.Inf(1), fastest: math.Inf(-1), highest: math.Inf(-1)}
}

func (s *still) add(now int64, v float64, w *watched, moving bool) {
	repeat := s.n > 0 && v == s.value
	if moving {
		s.all++
		if repeat {
			s.repeats++
			s.own++
		}
	}
	if repeat {
		s.n++
		s.last = now
		return
	}
	s.end(w)
	s.value, s.since, s.last, s.n = v, now, now, 1
}

// see adds a second to what the boat did; own tells that the series is that
// engine's.
func (s *still) see(c *cell, engine int, own bool) {
	if s.n < 2 || c.at < s.since {
		return
	}
	w := &s.w
	v, n := c.v[speed], c.fast()
	if own {
		n = c.v[revs+quantity(engine)]
	} else if c.free() {
		n = math.NaN() // warmed up alongside, an engine moves nothing
	}
	if v >= 0 {
		w.slowest, w.fastest = math.Min(w.slowest, v), math.Max(w.fastest, v)
		w.way += v
	}
	if n >= 0 {
		w.lowest, w.highest = math.Min(w.lowest, n), math.Max(w.highest, n)
	}
	w.driving = w.driving || !own || c.gear[engine] == forward || c.gear[engine] == gearUnknown
	if v > 2 && !cmplx.IsNaN(c.course) {
		if w.first == 0 {
			w.first = c.course
		}
		away := math.Acos(math.Max(-1, math.Min(1, real(c.course)*real(w.first)+imag(c.course)*imag(w.first))))
		w.most = math.Max(w.most, away)
	}
}

// end judges the stretch that is over.
func (s *still) end(w *watched) {
	long := s.last - s.since
	// An engine that sends zero is stopped, not stuck.
	if s.n >= stillSamples && long >= stillSpan && !(w.engine && s.value == 0) && w.moves(&s.w) {
		// A copy of the watch that goes on by itself shares the earlier ones.
		s.found = append(slices.Clip(s.found), Stretch{s.since, s.last})
		s.samples += s.own
	}
	s.reset()
}

// findings gives the probability that a sensor that is alive did not repeat
// itself so by chance: the part of its other values that repeat, to the power of
// the seconds of the shortest stretch, as values within a second are hardly
// independent.
func (s *still) findings() []Finding {
	if len(s.found) == 0 {
		return nil
	}
	seconds, shortest := 0.0, math.Inf(1)
	for _, f := range s.found {
		seconds += f.seconds()
		shortest = math.Min(shortest, f.seconds())
	}
	part := usual
	if other := s.all - s.samples; other > leastOther {
		part = (s.repeats - s.samples) / other
	}
	p := 1 - math.Pow(math.Max(part, 0), shortest)
	if p < enough {
		return nil
	}
	f := Finding{Kind: Stuck, N: len(s.found), Seconds: seconds, From: s.found[0].From, To: s.found[len(s.found)-1].To,
		Stretches: s.found, Probability: p}
	f.Value.Mean = s.value
	return []Finding{f}
}
