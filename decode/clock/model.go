package clock

import (
	"math"
	"time"
)

const (
	maxParts   = 32
	maxStreams = 16
	maxPoints  = 128
	// minPoints makes a part's time known.
	minPoints = 3
	// minSpan is the shortest span of readings that gives a drift: over 10 min
	// a delay that varies by 0.1 s makes a slope of 170 ppm out of two points,
	// and an order less out of maxPoints.
	minSpan = int64(10 * time.Minute)
	// same is how near the times of two senders must be to count as one.
	same = int64(2 * time.Second)
	// silenced is how long a sender without a fix is not believed.
	silenced = int64(5 * time.Second)
)

// model is the line from trial time to UTC, in one part or several: a new part
// begins where the length of a pause had to be guessed.
type model struct {
	parts []part
	// own is the recorder's own time minus trial time where it was last
	// believable: UTC for want of better, and what decides between senders
	// that contradict each other one to one.
	own   int64
	noFix map[uint16]int64 // sender to trial time until which it is silenced
}

// part is a stretch in which trial time has no guessed pause.
type part struct {
	start   int64
	streams []stream
	stale   bool // line is older than the readings
	line    line
}

// stream is the readings of one sender in one message, thinned.
type stream struct {
	source uint16
	pgn    uint32
	own    bool
	points []point
	every  int64 // least distance of two points
	stale  bool  // line is older than points
	line   line
}

type point struct{ at, utc int64 }

func (m *model) last() *part {
	if len(m.parts) == 0 {
		m.parts = append(m.parts, part{})
	}
	return &m.parts[len(m.parts)-1]
}

// part begins a new part at a trial time. When there are too many the last one
// goes on, and the robust fit has to cope.
func (m *model) part(start int64) {
	nothingLearnt := len(m.last().streams) == 0
	if !nothingLearnt && len(m.parts) < maxParts {
		m.parts = append(m.parts, part{start: start})
	}
}

func (m *model) setOwn(own int64) {
	m.own = own
	for i := range m.parts {
		m.parts[i].stale = true
	}
}

func (m *model) observe(r Reading, source uint16, at int64) {
	if r.NoFix {
		if m.noFix == nil {
			m.noFix = make(map[uint16]int64)
		}
		m.noFix[source] = at + silenced
		return
	}
	if m.isSilenced(source, at) {
		return
	}
	p := m.last()
	s := p.stream(r, source)
	if s == nil {
		return
	}
	if s.add(point{at, r.UTC}) {
		p.stale, s.stale = true, true
	}
}

func (m *model) isSilenced(source uint16, at int64) bool {
	until, ok := m.noFix[source]
	return ok && at < until
}

// stream finds or begins the stream of a reading; nil if there are too many.
func (p *part) stream(r Reading, source uint16) *stream {
	for i := range p.streams {
		if s := &p.streams[i]; s.source == source && s.pgn == r.PGN && s.own == r.Own {
			return s
		}
	}
	if len(p.streams) == maxStreams {
		return nil
	}
	p.streams = append(p.streams, stream{source: source, pgn: r.PGN, own: r.Own, every: int64(time.Second)})
	return &p.streams[len(p.streams)-1]
}

// add keeps a point if the last one is long enough ago. When the stream is full
// every other point is dropped. A reading is never kept for its value.
func (s *stream) add(p point) bool {
	n := len(s.points)
	if n > 0 && p.at-s.points[n-1].at < s.every {
		return false
	}
	if n == maxPoints {
		for i := range n / 2 {
			s.points[i] = s.points[2*i]
		}
		s.points = s.points[:n/2]
		s.every *= 2
		if p.at-s.points[n/2-1].at < s.every {
			return false
		}
	}
	s.points = append(s.points, p)
	return true
}

// fitted is the part's line, of the stream that is believed.
func (m *model) fitted(p *part) *line {
	if p.stale {
		p.stale = false
		for i := range p.streams {
			if s := &p.streams[i]; s.stale {
				s.line, s.stale = fit(s.points), false
			}
		}
		p.line = m.believed(p)
	}
	return &p.line
}

// known reports whether UTC is known in the present part.
func (m *model) known() bool { return m.fitted(m.last()).known }

func (m *model) everKnown() bool {
	return m.knownBefore(len(m.parts))
}

// believes reports whether a reading after an open jump is from a sender whose
// time was believed before it.
func (m *model) believes(r Reading, source uint16, at int64) bool {
	if r.NoFix || m.isSilenced(source, at) {
		return false
	}
	p := m.last()
	l := m.fitted(p)
	for i := range p.streams {
		s := &p.streams[i]
		if s.source == source && s.pgn == r.PGN && s.own == r.Own {
			return s.line.known && s.line.near(l)
		}
	}
	return false
}

// trial is the trial time of a UTC by the line of the present part.
func (m *model) trial(utc int64) int64 {
	l := m.fitted(m.last())
	at := utc - l.offset
	return utc - (l.utc(at) - at)
}

// utc is UTC at a trial time. Where a part has no readings the line of the
// nearest earlier one holds, before all readings the first. At the seams UTC
// waits rather than runs back.
func (m *model) utc(at int64) (utc int64, ok bool) {
	for p := range m.pieces {
		if ok && p.Start > at {
			break
		}
		utc, ok = p.utc(at), true
	}
	return utc, ok
}

// pieces are the parts that have readings, in order of time.
func (m *model) pieces(yield func(Piece) bool) {
	floor := int64(math.MinInt64)
	var use *line
	for i := range m.parts {
		p := &m.parts[i]
		l := m.fitted(p)
		if !l.known {
			continue
		}
		if use != nil {
			floor = max(floor, m.slope(use).utc(p.start))
		}
		use = l
		s := m.slope(l)
		if !yield(Piece{Start: p.start, Floor: floor, Centre: s.centre, Offset: s.offset, Drift: s.drift}) {
			return
		}
	}
}

// slope gives a line that is too short to have a drift of its own that of the
// longest.
func (m *model) slope(l *line) line {
	out := *l
	if !out.hasDrift {
		out.drift = m.drift()
	}
	return out
}

func (m *model) drift() float64 {
	drift, span := 0.0, int64(0)
	for i := range m.parts {
		if l := m.fitted(&m.parts[i]); l.known && l.hasDrift && l.to-l.from > span {
			drift, span = l.drift, l.to-l.from
		}
	}
	return drift
}

func (m *model) uncertainty(now int64) int64 {
	worst, until := int64(-1), now
	for i := len(m.parts) - 1; i >= 0; i-- {
		l := m.fitted(&m.parts[i])
		if !l.known {
			continue
		}
		from := m.parts[i].start
		if !m.knownBefore(i) {
			from = 0
		}
		beyond := max(l.from-from, until-l.to, 0)
		worst = max(worst, 2*l.spread+l.dissent+int64(Latency)+int64(l.driftError*float64(beyond)))
		until = from
	}
	if worst < 0 {
		return math.MaxInt64
	}
	return worst
}

func (m *model) knownBefore(i int) bool {
	for k := range i {
		if m.fitted(&m.parts[k]).known {
			return true
		}
	}
	return false
}

func (m *model) disbelieved() int {
	out := map[uint16]bool{}
	for i := range m.parts {
		p := &m.parts[i]
		l := m.fitted(p)
		for k := range p.streams {
			if s := &p.streams[k]; s.line.known && l.known && !s.line.near(l) {
				out[s.source] = true
			}
		}
	}
	return len(out)
}
