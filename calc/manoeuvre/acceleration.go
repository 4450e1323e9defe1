package manoeuvre

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc/stat"
)

// Limits that tell an acceleration from other openings of the throttle.
const (
	// startSpeed, m/s (10 kn): over ground, at the start; the idle speed of a
	// fast boat in a strong current.
	startSpeed = 5.1
	// coasting, m/s²: a boat that loses more has not come to rest or to its
	// idle speed; opening the throttle again is then no start.
	coasting = 0.25
	// rise: engine speed must rise at once by this ratio of the idle speed.
	rise = 0.25
	// highest: and in the end reach this multiple of it.
	highest = 1.6
	// gained, m/s (8 kn): and the boat must gain this much.
	gained = 4.1
	// stillGaining, m/s²: below it the speed has settled.
	stillGaining = 0.05
	// leadCells come before the start of a clip: the boat adrift or at idle.
	leadCells = 10 * perSecond
	// longestRun, cells: 90 s.
	longestRun = 90 * perSecond
)

// Acceleration is one start. Speeds are through water; a figure that could
// not be derived is NaN.
type Acceleration struct {
	Start, End int64   // trial time, ns
	Heading    float64 // rad, direction of motion through water
	FromRest   bool    // an engine was out of gear within ten seconds before; false: idling ahead
	StartSpeed float64 // m/s, over the second before
	EndSpeed   float64 // m/s
	RPM        float64 // 1/s at the end
	Engines    uint8   // that drive, as a set
	To         []Reached
	Plane      stat.Estimate // s
	PlaneSpeed float64       // m/s then
	Froude     float64       // volume Froude number then
	PeakPitch  float64       // rad
	Peak       float64       // greatest acceleration over one second, m/s²
	// Current tells whether it was known and taken out; CurrentSE, m/s, is its
	// error along the track.
	Current   bool
	CurrentSE float64
}

// Reached is a mark and when and where it was reached.
type Reached struct {
	Mark     Mark
	Time     stat.Estimate // s from the start
	Distance float64       // m through water
	// slowness is the part of the time's error that one error of the current
	// along the track causes: 1/acceleration, s²/m.
	slowness float64
	own      float64 // the time's standard error without current and lag, s
}

// accelWatch finds accelerations.
type accelWatch struct {
	clips []accelClip

	running bool
	start   int64 // number of the cell at which the rise was seen
	set     uint8
	idle    float64
	top     float64
	quiet   int
}

// accelClip is an acceleration that waits for the day's current and lag.
type accelClip struct {
	frames []frame
	seen   int // place of the cell at which the rise was seen
	set    uint8
	period float64 // s between messages of engine speed
}

func (a *accelWatch) cell(g *grid, n int64, f *frame, r *Report) {
	if a.running {
		if a.over(g, n, f) {
			a.end(g, n, r)
		}
		return
	}
	rpm, set := driving(f)
	if set == 0 {
		return
	}
	before := g.cellAt(n - int64(perSecond))
	if before == nil || !(before.speed() < startSpeed) || slowing(g, n-int64(perSecond)) || !(rpm > (1+rise)*meanOf(before, set)) {
		return
	}
	if idle, ok := quietLevel(g, n-int64(perSecond), set); ok && rpm > (1+rise)*idle {
		*a = accelWatch{clips: a.clips, running: true, start: n, set: set, idle: idle, top: rpm}
	}
}

// slowing tells whether the boat lost speed in the two seconds before cell n.
func slowing(g *grid, n int64) bool {
	now, before := g.cellAt(n), g.cellAt(n-2*int64(perSecond))
	return now != nil && before != nil && before.speed()-now.speed() > 2*coasting
}

// quietLevel returns the mean engine speed over the second before cell n, if
// it hardly changes there; a motor that stands still is quiet too.
func quietLevel(g *grid, n int64, set uint8) (float64, bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := n - int64(perSecond); i <= n; i++ {
		f := g.cellAt(i)
		if f == nil {
			return 0, false
		}
		v := meanOf(f, set)
		if math.IsNaN(v) {
			return 0, false
		}
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	return (lo + hi) / 2, hi-lo < 0.1*lo || hi < stopped
}

// over tells whether the acceleration has ended: throttle taken back, speed
// settled, course changed, or no more speed heard.
func (a *accelWatch) over(g *grid, n int64, f *frame) bool {
	rpm := meanOf(f, a.set)
	a.top = math.Max(a.top, rpm)
	if n-a.start > int64(longestRun) || !(rpm > 0.9*a.top) {
		return true
	}
	if n-a.start < 60 {
		return false
	}
	five := g.cellAt(n - 50)
	first := g.cellAt(a.start)
	if five == nil || first == nil || math.IsNaN(f.speed()) {
		return true
	}
	if math.Abs(f.v[chHeading]-first.v[chHeading]) > 30*math.Pi/180 {
		return true
	}
	if f.speed()-five.speed() < 5*stillGaining {
		a.quiet++
	} else {
		a.quiet = 0
	}
	return a.quiet > 2*perSecond
}

func (a *accelWatch) end(g *grid, n int64, r *Report) {
	a.running = false
	first, last := g.cellAt(a.start-int64(perSecond)), g.cellAt(n-1)
	if first == nil || last == nil || !(a.top > highest*a.idle) || !(last.speed()-first.speed() > gained) {
		return
	}
	if len(a.clips) == maxOfKind {
		r.More++
		return
	}
	from := a.start - int64(leadCells)
	c := accelClip{frames: g.clip(from, n), set: a.set, period: g.lines[chRPM+lowest(a.set)].period}
	c.seen = len(c.frames) - int(n-a.start)
	a.clips = append(a.clips, c)
}

// lowest returns the first engine of a set.
func lowest(set uint8) channel {
	for e := range channel(MaxEngines) {
		if set&(1<<e) != 0 {
			return e
		}
	}
	return 0
}

func (a *accelWatch) finish(g *grid, r *Report) {
	if a.running {
		a.end(g, g.final, r)
	}
}

// run is an acceleration being measured. Places count cells of the clip.
type run struct {
	clip   []frame
	start  float64   // place of the start
	speed  []float64 // through water, along the track, m/s
	slope  []float64 // m/s²
	noise  float64   // of speed, m/s
	jerk   []float64 // m/s³
	lag    *Lag
	flow   float64 // standard error of the current along the track, m/s
	starts float64 // standard error of the start, s
}

// measure derives all but the time to plane; no run where it cannot.
func (c *accelClip) measure(set *Settings, lag *Lag, flow func(int64) (Flow, bool)) (Acceleration, *run) {
	rpm := series(c.frames, func(f *frame) float64 { return meanOf(f, c.set) })
	// The rise was seen a second after a quiet one: it began in between.
	start := onset(rpm, risen(rpm, c.seen))
	if math.IsNaN(start) {
		return Acceleration{}, nil
	}
	t := c.frames[0].at + int64(start*float64(cell))
	now, known := flow(t)
	r := newRun(c, start, lag, now)
	if r == nil {
		return Acceleration{}, nil
	}
	last := len(rpm) - 1
	a := Acceleration{
		Start: t, End: c.frames[last].at, Heading: r.heading(now), FromRest: fromRest(c, start),
		StartSpeed: mean(r.speed, start-1.5*float64(perSecond), start-float64(halfSmooth)), EndSpeed: mean(r.speed, float64(last-2*perSecond), float64(last+1)),
		RPM: mean(rpm, float64(last-perSecond), float64(last+1)), Engines: c.set,
		Peak: r.peak(), Current: known, CurrentSE: now.SE,
		Plane: noEstimate, PlaneSpeed: math.NaN(), Froude: math.NaN(), PeakPitch: math.NaN(),
	}
	for _, m := range set.Marks {
		if reached, ok := r.reach(m); ok {
			a.To = append(a.To, reached)
		}
	}
	return a, r
}

// risen returns the place, at or before seen, at which the engine speed has
// risen by a tenth from the quiet second.
func risen(rpm []float64, seen int) int {
	level := mean(rpm, float64(seen-2*perSecond), float64(seen-perSecond))
	for seen > 1 && rpm[seen-1] > 1.1*level {
		seen--
	}
	return seen
}

// fromRest tells whether an engine was out of gear in the lead of the clip.
func fromRest(c *accelClip, start float64) bool {
	for i := 0; i < int(start) && i < len(c.frames); i++ {
		if c.frames[i].gear[lowest(c.set)] == neutral {
			return true
		}
	}
	return false
}

// newRun derives the speed through water along the track; nil where no
// velocity was heard.
func newRun(c *accelClip, start float64, lag *Lag, now Flow) *run {
	v, dv := lag.corrected(vectors(c.frames, (*frame).ground))
	shift := lag.Latency.Mean / dt
	r := &run{clip: c.frames, start: start, lag: lag, flow: now.SE, starts: 0.01 + 0.1*c.period}
	var track complex128
	for i := len(v) / 2; i < len(v); i++ {
		if w := v[i] - now.Velocity; !cmplx.IsNaN(w) && !math.IsNaN(real(w)) {
			track += w
		}
	}
	if track == 0 {
		return nil
	}
	track /= complex(cmplx.Abs(track), 0)
	// The value heard at a cell belongs to the time latency before it.
	for i := range v {
		p := float64(i) + shift
		r.speed = append(r.speed, dot(vectorAt(v, p)-now.Velocity, track))
		r.slope = append(r.slope, dot(vectorAt(dv, p), track))
	}
	raw := series(c.frames, func(f *frame) float64 { return dot(f.ground(), track) })
	r.noise = speedNoise(raw, lag.Filter.Mean)
	_, r.jerk = smooth(r.slope, halfSmooth)
	return r
}

func dot(a, b complex128) float64 { return real(a)*real(b) + imag(a)*imag(b) }

// speedNoise returns the standard error of a corrected speed: the noise of one
// value about the smoothing parabola, times what the parabola and its slope
// (times the lag) leave of it.
func speedNoise(raw []float64, tau float64) float64 {
	s, _ := smooth(raw, halfSmooth)
	d := make([]float64, len(raw))
	for i := range raw {
		d[i] = raw[i] - s[i]
	}
	k := float64(halfSmooth)
	value := 3 * (3*k*k + 3*k - 1) / ((2*k - 1) * (2*k + 1) * (2*k + 3))
	slope := 3 / (k * (k + 1) * (2*k + 1)) / dt / dt
	return spread(d, 0, float64(len(d))) * math.Sqrt(value+tau*tau*slope)
}

func (r *run) heading(now Flow) float64 {
	last := len(r.clip) - 1
	return cmplx.Phase(r.clip[max(0, last-perSecond)].ground() - now.Velocity)
}

func (r *run) speedAt(place float64) float64 { return valueAt(r.speed, place) }

// reach times a mark. The standard error takes in noise and current over the
// acceleration there, the start, lag and latency, and the unknown shape of the
// receiver's filter.
func (r *run) reach(m Mark) (Reached, bool) {
	p := crossing(r.speed, r.start, m.Speed)
	if math.IsNaN(p) || r.speedAt(r.start) >= m.Speed {
		return Reached{}, false
	}
	gain := math.Max(mean(r.slope, math.Max(r.start, p-float64(wobble)), p+float64(wobble)+1), stillGaining)
	shape := r.lag.Filter.Mean * r.lag.Filter.Mean / 2 * math.Abs(valueAt(r.jerk, p)) / gain / math.Sqrt(3)
	if math.IsNaN(shape) {
		shape = 0
	}
	own := hypot(r.noise/gain, r.starts, shape, r.wobbleAt(p)/gain)
	return Reached{
		Mark: m, Distance: r.distance(p), slowness: 1 / gain, own: own,
		Time: stat.Estimate{
			Mean: (p - r.start) * dt, DOF: 30,
			SE: hypot(own, r.flow/gain, r.lag.Filter.SE, r.lag.Latency.SE),
		},
	}, true
}

// wobble, cells to either side: the span of a wave or a gust.
const wobble = 2 * perSecond

// wobbleAt is the standard deviation of speed about a straight line, m/s,
// where the speed does not rise all the time around place p: whether it first
// comes to a mark with this wave or the next is then a matter of chance. 0
// where it rises throughout.
func (r *run) wobbleAt(p float64) float64 {
	from, to := max(int(math.Ceil(r.start)), int(p)-wobble), min(len(r.speed), int(p)+wobble+1)
	rises := true
	for i := from + 1; i < to; i++ {
		rises = rises && !(r.speed[i] <= r.speed[i-1])
	}
	if rises {
		return 0
	}
	var x [][]float64
	var y []float64
	for i := from; i < to; i++ {
		if !math.IsNaN(r.speed[i]) {
			x, y = append(x, []float64{1, float64(i)}), append(y, r.speed[i])
		}
	}
	k, ok := leastSquares(x, y)
	if !ok {
		return 0
	}
	sum := 0.0
	for i := range x {
		d := y[i] - k[0] - k[1]*x[i][1]
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(x)))
}

func hypot(x ...float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum)
}

// distance returns the way through water from the start to a place, m.
func (r *run) distance(p float64) float64 {
	sum, before := 0.0, r.speedAt(r.start)
	at := r.start
	for at < p {
		next := math.Min(math.Floor(at)+1, p)
		v := r.speedAt(next)
		sum += (before + v) / 2 * (next - at) * dt
		at, before = next, v
	}
	return sum
}

// peak returns the greatest acceleration over one second, m/s².
func (r *run) peak() float64 {
	best := math.NaN()
	for i := int(math.Ceil(r.start)); i+perSecond < len(r.speed); i++ {
		if a := r.speed[i+perSecond] - r.speed[i]; !(a <= best) && !math.IsNaN(a) {
			best = a
		}
	}
	return best
}
