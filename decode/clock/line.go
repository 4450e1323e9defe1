package clock

import (
	"math"
	"slices"
)

// line is UTC as a function of trial time: at + offset + drift*(at-centre).
type line struct {
	known    bool
	from, to int64 // trial times of the first and last reading
	centre   int64
	offset   int64
	drift    float64
	hasDrift bool
	// driftError is what the drift may be wrong by, as a ratio.
	driftError float64
	// spread is the standard deviation of the readings about the line, from
	// the median absolute deviation.
	spread int64
	// dissent is how far the other senders believed are from the line.
	dissent int64
}

func (l line) utc(at int64) int64 {
	return at + l.offset + int64(l.drift*float64(at-l.centre))
}

// near reports whether two lines give one time, allowing for a drift not known
// to either.
func (l *line) near(k *line) bool {
	return l.apart(k) <= same+int64(2*crystal*math.Abs(float64(l.centre-k.centre)))
}

// apart is the distance of two lines midway between their centres.
func (l *line) apart(k *line) int64 {
	at := l.centre + (k.centre-l.centre)/2
	return abs(l.utc(at) - k.utc(at))
}

// fit lays a line through points in order of time.
func fit(points []point) line {
	n := len(points)
	if n < minPoints {
		return line{}
	}
	l := line{known: true, from: points[0].at, to: points[n-1].at, driftError: crystal}
	l.centre = l.from + (l.to-l.from)/2
	// Offsets are kept small to be exact as float64.
	base := points[0].utc - points[0].at
	at, offset := make([]float64, n), make([]float64, n)
	for i, p := range points {
		at[i], offset[i] = float64(p.at-l.centre), float64(p.utc-p.at-base)
	}
	if span := l.to - l.from; span >= minSpan {
		if d := slope(at, offset); math.Abs(d) <= 5*crystal {
			l.drift, l.hasDrift = d, true
		}
	}
	for i := range offset {
		offset[i] -= l.drift * at[i]
	}
	mid := median(offset)
	for i := range offset {
		offset[i] = math.Abs(offset[i] - mid)
	}
	// 1.4826: standard deviation over median absolute deviation of a normal
	// distribution.
	sd := 1.4826 * median(offset)
	l.offset, l.spread = base+int64(mid), int64(sd)
	if l.hasDrift {
		// The slope's standard error for even spacing is sd*sqrt(12/n)/span.
		// One ppm is added for a quartz that wanders with temperature.
		l.driftError = min(crystal, 2*sd*math.Sqrt(12/float64(n))/float64(l.to-l.from)+1e-6)
	}
	return l
}

// slope is the median of the slopes of all pairs of points.
func slope(x, y []float64) float64 {
	slopes := make([]float64, 0, len(x)*(len(x)-1)/2)
	for i := range x {
		for j := range i {
			slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
		}
	}
	return median(slopes)
}

// median orders v.
func median(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// believed chooses among a part's streams: first those not from a sender's own
// clock, then those on which most senders agree, then those within a day of the
// recorder's own time. Of the streams that agree with that choice the one with
// the least spread is used that covers most of the time.
func (m *model) believed(p *part) line {
	best := -1
	var bestRank [3]int
	for i := range p.streams {
		s := &p.streams[i]
		if !s.line.known {
			continue
		}
		rank := [3]int{0, p.support(s), 0}
		if !s.own {
			rank[0] = 1
		}
		const day = 24 * 3600e9
		if abs(s.line.offset-m.own) < day {
			rank[2] = 1
		}
		if best < 0 || slices.Compare(rank[:], bestRank[:]) > 0 {
			best, bestRank = i, rank
		}
	}
	if best < 0 {
		return line{}
	}
	return p.steadiest(&p.streams[best])
}

// support is the number of senders that give the stream's time, itself
// included.
func (p *part) support(s *stream) int {
	n := 1
	for i := range p.streams {
		o := &p.streams[i]
		if o.source == s.source || !o.line.known || o.own && !s.own || !o.line.near(&s.line) {
			continue
		}
		// Count each sender once, at its first stream that agrees.
		first := true
		for k := range i {
			e := &p.streams[k]
			first = first && !(e.source == o.source && e.line.known && e.line.near(&s.line))
		}
		if first {
			n++
		}
	}
	return n
}

// steadiest is the line to use of the streams that agree with s.
func (p *part) steadiest(s *stream) line {
	longest := int64(0)
	agrees := func(o *stream) bool {
		return o.line.known && o.own == s.own && o.line.near(&s.line)
	}
	for i := range p.streams {
		if o := &p.streams[i]; agrees(o) {
			longest = max(longest, o.line.to-o.line.from)
		}
	}
	use := s.line
	found := false
	for i := range p.streams {
		o := &p.streams[i]
		if !agrees(o) || o.line.to-o.line.from < longest/5*4 {
			continue
		}
		if !found || o.line.spread < use.spread {
			use, found = o.line, true
		}
	}
	for i := range p.streams {
		if o := &p.streams[i]; agrees(o) {
			use.dissent = max(use.dissent, o.line.apart(&use))
		}
	}
	return use
}
