// Package track derives speed and course over ground from positions, for boats
// whose receiver sends no velocity. It is pure, like all of calc.
//
// Velocity is the slope of north and east by least squares over the last three
// seconds of positions: long enough that the noise of a position, which wanders
// slowly, leaves about 0.05 m/s, short against every manoeuvre. It lags by half of
// that, which calc/manoeuvre measures and takes out as it does the lag of a
// receiver.
package track

import (
	"math"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const (
	second = int64(1e9)
	// span, ns, of the positions that a velocity is made of.
	span = 3 * second
	// least is how many positions it takes.
	least = 3
	// patience, ns: for so long a receiver may be without a velocity before it is
	// derived.
	patience = 5 * second
	// keep bounds the positions kept: three seconds at 20 Hz.
	keep = 64
	// hole, ns: over a longer silence nothing is derived.
	hole = 5 * second / 2
)

// Track takes samples in order of time.
type Track struct {
	velocity int64 // trial time at which one was last heard
	started  bool
	latitude sample.Sample
	pending  bool
	points   [keep]point
	n        int // points kept, the last ones of the ring
	next     int
	// course and speed are the last ones made.
	course, speed sample.Sample
	// Seconds counts those in which a velocity was made.
	Seconds int64
	counted int64 // number of the last of them
}

// point is a position in m from the one before, summed up.
type point struct {
	at                  int64
	north, east         float64
	latitude, longitude float64 // rad
}

// Add takes a sample. Where it completes a position of a boat that sends no
// velocity it returns samples of course and speed at the same moment, which stand
// until the next call; else nil.
func (t *Track) Add(s *sample.Sample) (course, speed *sample.Sample) {
	if !t.started { // a receiver is given time to say its first word
		t.velocity, t.started = s.Time, true
	}
	if s.State != pgn.Valid {
		return nil, nil
	}
	switch s.Quantity {
	case pgn.SpeedOverGround:
		t.velocity = s.Time
	case pgn.Latitude:
		t.latitude, t.pending = *s, true
	case pgn.Longitude:
		return t.position(s)
	}
	return nil, nil
}

// position takes the second half of a position.
func (t *Track) position(longitude *sample.Sample) (course, speed *sample.Sample) {
	s := longitude
	if !t.pending || t.latitude.Time != s.Time || t.latitude.Source != s.Source {
		return nil, nil
	}
	t.pending = false
	t.put(s.Time, t.latitude.Value, s.Value)
	if s.Time-t.velocity < patience {
		return nil, nil
	}
	v, dir, known := t.slope()
	if !known {
		return nil, nil
	}
	if at := s.Time/second + 1; at != t.counted {
		t.counted = at
		t.Seconds++
	}
	t.course, t.speed = *s, *s
	t.course.Quantity, t.course.Value = pgn.CourseOverGround, dir
	t.speed.Quantity, t.speed.Value = pgn.SpeedOverGround, v
	return &t.course, &t.speed
}

// The ellipsoid of WGS 84 (from memory), for the radii of curvature at a latitude.
const (
	semiAxis     = 6378137.0
	eccentricity = 0.00669438 // squared
)

// put adds a position. Steps are summed, so that neither the date line nor a long
// way matters.
func (t *Track) put(now int64, latitude, longitude float64) {
	p := point{at: now, latitude: latitude, longitude: longitude}
	if t.n > 0 {
		last := &t.points[(t.next+keep-1)%keep]
		if now-last.at > hole || now <= last.at {
			t.n = 0
		} else {
			sin, cos := math.Sincos(latitude)
			q := 1 - eccentricity*sin*sin
			prime := semiAxis / math.Sqrt(q)
			p.north = last.north + (latitude-last.latitude)*prime*(1-eccentricity)/q
			p.east = last.east + math.Remainder(longitude-last.longitude, 2*math.Pi)*prime*cos
		}
	}
	t.points[t.next] = p
	t.next = (t.next + 1) % keep
	t.n = min(t.n+1, keep)
}

// slope is speed in m/s and course in rad, 0 to 2 pi.
func (t *Track) slope() (speed, course float64, ok bool) {
	last := &t.points[(t.next+keep-1)%keep]
	var n, st, stt, sn, se, stn, ste float64
	for i := 1; i <= t.n; i++ {
		p := &t.points[(t.next+keep-i)%keep]
		if last.at-p.at > span {
			break
		}
		x := float64(p.at-last.at) / 1e9
		north, east := p.north-last.north, p.east-last.east
		n++
		st += x
		stt += x * x
		sn += north
		se += east
		stn += x * north
		ste += x * east
	}
	d := n*stt - st*st
	if n < least || d < 1e-6 {
		return 0, 0, false
	}
	north, east := (n*stn-st*sn)/d, (n*ste-st*se)/d
	course = math.Atan2(east, north)
	if course < 0 {
		course += 2 * math.Pi
	}
	return math.Hypot(north, east), course, true
}
