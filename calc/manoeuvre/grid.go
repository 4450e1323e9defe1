package manoeuvre

import (
	"math"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// MaxEngines is the number of engines that are told apart.
const MaxEngines = 8

const (
	second = int64(1e9)
	// cell is the spacing of the grid: the shortest period of the bus's
	// motion messages. Interpolation between their samples adds less than
	// their own resolution.
	cell = second / 10
	// perSecond is the number of cells in one second.
	perSecond = int(second / cell)
	// keep is the number of cells kept: six minutes, which holds a full circle
	// at idle.
	keep = 3600
	// late, ns: how long after its time a cell is looked at. The next sample
	// of a sensor that sends once a second has then come.
	late = 3 * second
	// maxHole, ns: a channel silent for longer is not interpolated.
	maxHole = 5 * second / 2
	// gearSilence, ns: a transmission unheard for longer is unknown.
	gearSilence = 10 * second
)

// channel numbers the series of the grid.
type channel int

const (
	chGroundN channel = iota // velocity over ground, m/s
	chGroundE
	chNorth // position, m
	chEast
	chHeading // rad, without jumps of a full circle
	chPitch
	chRoll
	chRudder
	chRPM // 1/s; one an engine

	numChannels = chRPM + MaxEngines
)

// Gears, as in pgn.Gear.
const (
	forward int8 = iota
	neutral
	reverse
	gearUnknown int8 = -1
)

// frame is one cell: the values at its time, NaN where there are none.
type frame struct {
	at   int64
	v    [numChannels]float64
	gear [MaxEngines]int8
}

func (f *frame) ground() complex128   { return complex(f.v[chGroundN], f.v[chGroundE]) }
func (f *frame) position() complex128 { return complex(f.v[chNorth], f.v[chEast]) }
func (f *frame) speed() float64       { return math.Hypot(f.v[chGroundN], f.v[chGroundE]) }

// line is the last sample of a channel.
type line struct {
	known  bool
	at     int64
	value  float64
	source uint16
	period float64 // s between samples, running mean
}

// grid puts samples on to cells.
//
// Invariants: cells are created in order of time with none left out; a cell is
// handed on once, late after its time, and does not change afterwards; no more
// than keep of them exist.
type grid struct {
	out func(n int64) // takes the number of a cell that is final

	started bool
	frames  [keep]frame
	next    int64 // number of the next cell to create; its time is next*cell
	final   int64 // number of the next cell to hand on
	lines   [numChannels]line
	gear    [MaxEngines]int8
	heard   [MaxEngines]int64
	// gearStep is the time between the last two messages of a gear, ns.
	gearStep int64

	course, latitude pending
	place            place
}

// pending is the first half of a pair of fields of one message.
type pending struct {
	at     int64
	value  float64
	source uint16
	known  bool
}

// take returns the value if it is of the same message.
func (p *pending) take(s *sample.Sample) (float64, bool) {
	ok := p.known && p.at == s.Time && p.source == s.Source
	p.known = false
	return p.value, ok
}

func newGrid(out func(int64)) *grid {
	g := &grid{out: out}
	for e := range g.gear {
		g.gear[e] = gearUnknown
	}
	return g
}

// cellAt returns the cell of a number, nil if it is not kept or not yet made.
func (g *grid) cellAt(n int64) *frame {
	if n < 0 || n >= g.next || n < g.next-keep {
		return nil
	}
	f := &g.frames[n%keep]
	if f.at != n*cell {
		return nil
	}
	return f
}

// clip copies the cells from, up to and without, to, as far as they are kept.
func (g *grid) clip(from, to int64) []frame {
	from = max(from, g.next-keep, 0)
	return g.copy(make([]frame, 0, max(to-from, 0)), from, to)
}

// copy appends cells to out, the kept ones of those from, up to and without, to.
func (g *grid) copy(out []frame, from, to int64) []frame {
	for n := from; n < to; n++ {
		if f := g.cellAt(n); f != nil {
			out = append(out, *f)
		}
	}
	return out
}

// advance makes the cells up to time now, and hands on those that are final.
func (g *grid) advance(now int64) {
	if !g.started {
		g.started = true
		g.next = now/cell + 1
		g.final = g.next
	}
	for ; g.next*cell <= now; g.next++ {
		f := &g.frames[g.next%keep]
		*f = frame{at: g.next * cell, gear: g.gear}
		for c := range f.v {
			f.v[c] = math.NaN()
		}
		for e := range f.gear {
			if f.at-g.heard[e] > gearSilence {
				f.gear[e] = gearUnknown
			}
		}
		// Hand on as cells are made, so that a long silence cannot push out
		// what nobody has seen.
		g.handOn(f.at)
	}
}

func (g *grid) handOn(now int64) {
	for ; g.final*cell <= now-late; g.final++ {
		g.out(g.final)
	}
}

// finish hands on what is left.
func (g *grid) finish() {
	if g.started {
		g.handOn(g.next*cell + late)
	}
}

// add takes one sample; samples come in order of time.
func (g *grid) add(s *sample.Sample) {
	g.advance(s.Time)
	if s.State != pgn.Valid {
		return
	}
	e := int(s.Instance)
	switch s.Quantity {
	case pgn.CourseOverGround, pgn.CourseMagnetic:
		g.course = pending{s.Time, s.Value, s.Source, true}
	case pgn.SpeedOverGround:
		if course, ok := g.course.take(s); ok {
			sin, cos := math.Sincos(course)
			g.set(chGroundN, s, s.Value*cos)
			g.set(chGroundE, s, s.Value*sin)
		}
	case pgn.Latitude:
		g.latitude = pending{s.Time, s.Value, s.Source, true}
	case pgn.Longitude:
		if latitude, ok := g.latitude.take(s); ok {
			at := g.place.move(latitude, s.Value)
			g.set(chNorth, s, real(at))
			g.set(chEast, s, imag(at))
		}
	case pgn.Heading, pgn.HeadingMagnetic:
		v := s.Value
		if l := &g.lines[chHeading]; l.known {
			v = l.value + math.Remainder(v-l.value, 2*math.Pi)
		}
		g.set(chHeading, s, v)
	case pgn.Pitch:
		g.set(chPitch, s, s.Value)
	case pgn.Roll:
		g.set(chRoll, s, s.Value)
	case pgn.RudderAngle:
		if s.Instance == 0 {
			g.set(chRudder, s, s.Value)
		}
	case pgn.EngineSpeed:
		if e < MaxEngines {
			g.set(chRPM+channel(e), s, s.Value)
		}
	case pgn.Gear:
		if e < MaxEngines {
			if step := s.Time - g.heard[e]; step < gearSilence {
				g.gearStep = step
			}
			g.gear[e], g.heard[e] = int8(s.Value), s.Time
		}
	}
}

// set fills the cells of a channel between its last sample and this one. A
// change of source, or a hole, is not bridged.
func (g *grid) set(c channel, s *sample.Sample, v float64) {
	l := &g.lines[c]
	step := s.Time - l.at
	if l.known && l.source == s.Source && step > 0 && step <= maxHole {
		if l.period == 0 {
			l.period = float64(step) / 1e9
		}
		l.period += 0.05 * (float64(step)/1e9 - l.period)
		for n := l.at/cell + 1; n*cell <= s.Time; n++ {
			if f := g.cellAt(n); f != nil {
				x := float64(n*cell-l.at) / float64(step)
				f.v[c] = l.value + x*(v-l.value)
			}
		}
	}
	l.known, l.at, l.value, l.source = true, s.Time, v, s.Source
}

// place turns geographic positions into metres by adding up small steps, each
// with the radii of curvature of the WGS 84 ellipsoid at its latitude.
type place struct {
	known               bool
	latitude, longitude float64
	at                  complex128
}

// WGS 84 (NIMA TR8350.2): semi-major axis in m and first eccentricity squared.
const (
	semiMajor    = 6378137.0
	eccentricity = 6.69437999014e-3
)

// move takes the next position in rad and returns where it lies in m from the
// first.
func (p *place) move(latitude, longitude float64) complex128 {
	if p.known {
		sin, cos := math.Sincos((latitude + p.latitude) / 2)
		q := 1 - eccentricity*sin*sin
		prime := semiMajor / math.Sqrt(q)
		meridian := prime * (1 - eccentricity) / q
		p.at += complex(meridian*(latitude-p.latitude),
			prime*cos*math.Remainder(longitude-p.longitude, 2*math.Pi))
	}
	p.known, p.latitude, p.longitude = true, latitude, longitude
	return p.at
}
