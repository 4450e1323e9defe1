package manoeuvre

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc/stat"
)

const (
	// stopSpeed, m/s (8 kn): a stop from less is manoeuvring.
	stopSpeed = 4.1
	// stillMoving, m/s (3 kn): the boat still makes this way ahead when the
	// first engine goes astern.
	stillMoving = 1.5
	// leadStop, cells before the first reverse: the approach, and the time the
	// engines need to come down.
	leadStop = 25 * perSecond
	// longestStop, cells: 90 s.
	longestStop = 90 * perSecond
	// afterStop, cells: what is kept after the way over ground is nearly off,
	// since a following current keeps it up.
	afterStop = 15 * perSecond
)

// Stop is a crash stop; see the package comment for the definitions.
type Stop struct {
	Start, End int64         // trial time, ns
	EntrySpeed stat.Estimate // m/s through water
	Time       stat.Estimate // s
	TrackReach stat.Estimate // m through water
	HeadReach  stat.Estimate // m through water, along the original course
	GroundPath stat.Estimate // m over ground along the track
	Astern     stat.Estimate // s from the start to the first engine in reverse
	RPM        float64       // 1/s at the entry
	Current    bool          // whether it was known and taken out
	CurrentSE  float64       // m/s
}

// stopWatch finds crash stops.
type stopWatch struct {
	clips   []stopClip
	on      bool
	reverse int64 // number of the cell of the first reverse
	slow    int64 // number of the cell at which way over ground was nearly off; 0 before
}

// stopClip is a stop that waits for the day's current and lag.
type stopClip struct {
	frames  []frame
	reverse int     // place of the first reverse
	period  float64 // s between messages of the gear
}

func (s *stopWatch) cell(g *grid, n int64, f *frame, r *Report) {
	v := f.speed()
	if !s.on {
		if inReverse(f) && v > stillMoving && s.fast(g, n) {
			*s = stopWatch{clips: s.clips, on: true, reverse: n}
		}
		return
	}
	if s.slow == 0 && v < stillMoving {
		s.slow = n
	}
	if s.slow != 0 && n-s.slow > int64(afterStop) || n-s.reverse > int64(longestStop) {
		s.end(g, n, r)
	}
}

// fast tells whether the boat was fast some seconds before cell n.
func (s *stopWatch) fast(g *grid, n int64) bool {
	for i := n - 20*int64(perSecond); i < n; i += int64(perSecond) {
		if f := g.cellAt(i); f != nil && f.speed() > stopSpeed {
			return true
		}
	}
	return false
}

func inReverse(f *frame) bool {
	for e := range MaxEngines {
		if f.gear[e] == reverse && f.v[chRPM+channel(e)] > stopped {
			return true
		}
	}
	return false
}

func (s *stopWatch) end(g *grid, n int64, r *Report) {
	s.on = false
	if s.slow == 0 {
		return
	}
	if len(s.clips) == maxOfKind {
		r.More++
		return
	}
	c := stopClip{frames: g.clip(s.reverse-int64(leadStop), n), period: float64(g.gearStep) / 1e9}
	c.reverse = len(c.frames) - int(n-s.reverse)
	s.clips = append(s.clips, c)
}

func (s *stopWatch) finish(g *grid, r *Report) {
	if s.on {
		s.end(g, g.final, r)
	}
}

// measure derives the figures of a stop.
func (c *stopClip) measure(lag *Lag, flow func(int64) (Flow, bool)) (Stop, bool) {
	set := c.drove()
	rpm := series(c.frames, func(f *frame) float64 { return meanOf(f, set) })
	start := chopped(rpm, c.reverse)
	if math.IsNaN(start) {
		return Stop{}, false
	}
	t := c.frames[0].at + int64(start*float64(cell))
	now, known := flow(t)
	v, slope := lag.corrected(vectors(c.frames, (*frame).ground))
	shift := lag.Latency.Mean / dt
	water := make([]complex128, len(v))
	for i := range v {
		water[i] = vectorAt(v, float64(i)+shift) - now.Velocity
	}
	var course complex128
	for i := max(0, int(start)-approach); i < int(start); i++ {
		if !math.IsNaN(real(water[i])) {
			course += water[i]
		}
	}
	course /= complex(cmplx.Abs(course), 0)
	back := make([]float64, len(water))
	for i, z := range water {
		back[i] = -dot(z, course)
	}
	end := crossing(back, float64(c.reverse), 0)
	if math.IsNaN(end) || math.IsNaN(real(course)) {
		return Stop{}, false
	}
	s := Stop{
		Start: t, End: c.frames[0].at + int64(end*float64(cell)),
		Time: stat.Estimate{Mean: (end - start) * dt, DOF: 30},
		// The shift was up to one message before it was heard.
		Astern: stat.Estimate{
			Mean: (float64(c.reverse)-start)*dt - c.period/2, SE: hypot(stopStart, dt, c.period/math.Sqrt(12)), DOF: 30,
		},
		RPM: mean(rpm, start-float64(2*perSecond), start), Current: known, CurrentSE: now.SE,
	}
	s.EntrySpeed = meanOver(back, start-float64(approach), start).Scale(-1).WithFloor(math.Hypot(now.SE, slowError))
	braking := math.Max(math.Abs(dot(vectorAt(slope, end+shift), course)), stillGaining)
	late := hypot(lag.Filter.SE, lag.Latency.SE, stopStart)
	s.Time.SE = hypot(now.SE/braking, late)
	var reach complex128
	for p := start; p < end; p++ {
		h := math.Min(1, end-p)
		z := vectorAt(water, p+h/2)
		reach += z * complex(h*dt, 0)
		s.TrackReach.Mean += cmplx.Abs(z) * h * dt
		s.GroundPath.Mean += cmplx.Abs(z+now.Velocity) * h * dt
	}
	s.HeadReach.Mean = dot(reach, course)
	s.errors(now, lag, late)
	return s, true
}

// slowError, m/s: what a receiver's speed is off by for many seconds (from
// memory of data sheets and tests).
const slowError = 0.03

// stopStart, s: error of the first movement of the throttles.
const stopStart = 0.03

// errors fills in the standard errors of the distances: the entry speed times
// what is late, the current over the time, and the velocities' random walk.
// At the end the boat makes no way, so that an error of the end adds nothing
// but over ground, where the current goes on.
func (s *Stop) errors(now Flow, lag *Lag, late float64) {
	seconds := s.Time.Mean
	own := hypot(s.EntrySpeed.Mean*late, lag.Walk*math.Sqrt(seconds))
	for _, e := range []*stat.Estimate{&s.TrackReach, &s.HeadReach} {
		e.SE, e.DOF = hypot(own, now.SE*seconds), 30
	}
	drift := cmplx.Abs(now.Velocity) * s.Time.SE
	s.GroundPath.SE, s.GroundPath.DOF = hypot(own, drift), 30
}

// drove returns the engines that drove ahead at the beginning of the clip.
func (c *stopClip) drove() (set uint8) {
	for i := 0; i < c.reverse && set == 0; i++ {
		_, set = driving(&c.frames[i])
	}
	return set
}

// chopped returns the place at which the throttles were first moved back
// before the reverse.
func chopped(rpm []float64, reverse int) float64 {
	top := 0.0
	for _, v := range rpm[:reverse] {
		top = math.Max(top, v)
	}
	i := reverse - 1
	for i > 0 && rpm[i] < 0.9*top {
		i--
	}
	return onset(rpm, i+1)
}
