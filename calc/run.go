package calc

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc/stat"
)

// Kind says what the boat does in a run.
type Kind uint8

// The kinds of run.
const (
	AtRest       Kind = iota // out of gear and hardly moving
	Manoeuvring              // in gear at walking pace, or going astern
	Accelerating             // gaining speed, or throttle being opened
	HeldThrottle             // throttle held: where steady windows are looked for
	Turning                  // course being changed
	Slowing                  // losing speed, or throttle being closed
)

var kindNames = [...]string{"at_rest", "manoeuvring", "accelerating", "held_throttle", "turning", "slowing"}

func (k Kind) String() string { return kindNames[k] }

// Limits of the cutting. They only separate one kind of run from the next;
// what counts as steady inside a held run is decided by the tests in steady.go.
const (
	// restSpeed, m/s (1 kn): below it and out of gear the boat is at rest;
	// the drift of a boat alongside or at anchor in a current.
	restSpeed = 0.514
	// walkSpeed, m/s (2 kn): below it in gear the boat is manoeuvring; fenders
	// and lines, not trials.
	walkSpeed = 1.03
	// turnRate, rad/s (1.5 degrees a second): a boat that holds a course in a
	// seaway yaws less than this over seven seconds; a turn of a trial is
	// several times faster.
	turnRate = 1.5 * math.Pi / 180
	// gain, m/s² (0.25 kn a second): more is a change of speed anyone aboard
	// feels; the settling tail lies below it.
	gain = 0.13
	// throttleMove: relative change of engine speed across seven seconds that
	// only the lever gives; waves and hunting stay below it.
	throttleMove = 0.06
	// confirm, ticks: a new kind must last this long, so that one wave is not
	// a run.
	confirm = 3
	// side, ticks looked at before and after the one that is judged.
	side = 3
	// maxRunTicks bounds memory: a passage of more than two hours becomes
	// several runs.
	maxRunTicks = 7200
)

// Run is one stretch of the day of one kind.
type Run struct {
	ID         int
	Kind       Kind
	Start, End int64 // trial time, ns
}

// cutter cuts the stream of ticks into runs.
//
// Invariants: runs follow each other without overlap or hole; a run's ticks
// are handed on once, together, when the next run has lasted for confirm
// ticks; at most maxRunTicks + confirm + 2*side ticks are kept.
type cutter struct {
	out func(Kind, []tick)

	ticks     []tick // from the start of the present run
	judged    int    // ticks[:judged] have been judged
	kind      Kind
	candidate Kind
	since     int // index of the first tick of the candidate
	begun     bool
}

func (c *cutter) add(k *tick) {
	c.ticks = append(c.ticks, *k)
	if len(c.ticks) > c.judged+side {
		c.judge()
	}
}

// judge gives the next unjudged tick its kind and ends the run if the kind has
// changed for good.
func (c *cutter) judge() {
	i := c.judged
	c.judged++
	lo, hi := max(0, i-side), min(len(c.ticks), i+side+1)
	kind := c.kind // without a speed nothing tells that the kind has changed
	if v := c.ticks[i].speed(); !math.IsNaN(v) || !c.begun {
		kind = kindOf(c.ticks[lo:hi], i-lo)
	}
	switch {
	case !c.begun:
		c.kind, c.candidate, c.begun = kind, kind, true
	case kind == c.kind:
		c.candidate = kind
	case kind != c.candidate:
		c.candidate, c.since = kind, i
	}
	if c.candidate != c.kind && i-c.since+1 >= confirm {
		c.end(snap(c.ticks, c.since, c.kind, c.candidate), c.candidate)
	} else if c.candidate == c.kind && c.judged >= maxRunTicks {
		c.end(c.judged, c.kind)
	}
}

// end hands on the first n ticks as one run and starts the next.
func (c *cutter) end(n int, next Kind) {
	if n > 0 {
		c.out(c.kind, c.ticks[:n])
	}
	c.ticks = append(c.ticks[:0:0], c.ticks[n:]...)
	c.judged = max(0, c.judged-n)
	c.kind, c.candidate, c.since = next, next, 0
}

// finish judges what is left and hands it on.
func (c *cutter) finish() {
	for c.judged < len(c.ticks) {
		c.judge()
	}
	if len(c.ticks) > 0 {
		c.out(c.kind, c.ticks)
	}
	c.ticks = nil
}

// kindOf judges tick i of w from its neighbours.
func kindOf(w []tick, i int) Kind {
	k := &w[i]
	v := k.speed()
	if !k.engaged() && !(v >= restSpeed) {
		return AtRest
	}
	if v > walkSpeed/2 && math.Abs(headingSlope(w)) > turnRate {
		return Turning
	}
	push := speedSlope(w)/gain + rpmShift(w)/throttleMove
	switch {
	case k.inReverse() && v < 2*walkSpeed:
		return Manoeuvring
	case push > 1:
		return Accelerating
	case push < -1:
		return Slowing
	case !(v > walkSpeed) || !k.engaged():
		return Manoeuvring
	}
	return HeldThrottle
}

// headingSlope returns the rate of change of heading over w in rad/s; 0 where
// it is not known.
func headingSlope(w []tick) float64 {
	h := unwrapped(w, (*tick).heading)
	if len(h) < 4 {
		return 0
	}
	return stat.LineSlope(h)
}

func speedSlope(w []tick) float64 {
	v := unwrappedScalar(w, (*tick).speed)
	if len(v) < 4 {
		return 0
	}
	return stat.LineSlope(v)
}

// rpmShift returns the largest relative change of an engine's speed from the
// first three to the last three ticks of w.
func rpmShift(w []tick) float64 {
	if len(w) < 2*side {
		return 0
	}
	shift := 0.0
	for e := channel(0); e < MaxEngines; e++ {
		var a, b float64
		for j := 0; j < side; j++ {
			a += w[j].scalar[chRPM+e]
			b += w[len(w)-1-j].scalar[chRPM+e]
		}
		if m := (a + b) / 2; m > 0 && math.Abs(b-a)/m > math.Abs(shift) {
			shift = (b - a) / m
		}
	}
	return shift
}

// unwrappedScalar gathers f over w, leaving out NaN.
func unwrappedScalar(w []tick, f func(*tick) float64) []float64 {
	out := make([]float64, 0, len(w))
	for i := range w {
		if v := f(&w[i]); !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	return out
}

// unwrapped gathers an angle over w without jumps of a full circle, leaving
// out NaN.
func unwrapped(w []tick, f func(*tick) float64) []float64 {
	out := unwrappedScalar(w, f)
	for i := 1; i < len(out); i++ {
		out[i] -= 2 * math.Pi * math.Round((out[i]-out[i-1])/(2*math.Pi))
	}
	return out
}

// snap moves the border at index since, between a held run and another, to
// where the boat really left (or reached) the held state: the kinds are judged
// over seven ticks and so see a change up to three ticks early or late. Lever
// and wheel stand where they stood if each engine is within 1.5 % and the
// heading within 2 degrees.
func snap(ticks []tick, since int, from, to Kind) int {
	stands := func(k *tick, ref []tick) bool { return near(k, ref, 0.015, 2*math.Pi/180) }
	switch {
	case from == HeldThrottle:
		ref := ticks[max(0, since-6):max(1, since-1)]
		for n := 0; n < side && since < len(ticks)-1 && stands(&ticks[since], ref); n++ {
			since++
		}
	case to == HeldThrottle:
		ref := ticks[min(since+1, len(ticks)-1):]
		for n := 0; n < side && since > 1 && stands(&ticks[since-1], ref); n++ {
			since--
		}
	}
	return since
}

// near tells whether each engine's speed at k is within ratio of ref's mean,
// and the heading within angle.
func near(k *tick, ref []tick, ratio, angle float64) bool {
	if len(ref) == 0 {
		return false
	}
	for e := channel(0); e < MaxEngines; e++ {
		m := meanOf(ref, chRPM+e)
		if v := k.scalar[chRPM+e]; math.Abs(v-m) > ratio*m {
			return false
		}
	}
	var u complex128
	for i := range ref {
		if h := ref[i].heading(); !math.IsNaN(h) {
			u += cmplx.Rect(1, h)
		}
	}
	h := k.heading()
	if u == 0 || math.IsNaN(h) {
		return true
	}
	return math.Abs(cmplx.Phase(cmplx.Rect(1, h)/u)) < angle
}

func meanOf(w []tick, c channel) float64 {
	return stat.Mean(unwrappedScalar(w, func(k *tick) float64 { return k.scalar[c] }))
}
