// Package clock keeps the time of a trial day.
//
// It works in two steps. Trial time counts nanoseconds from the first frame and
// never runs backwards: jumps of the recorder's own clock are taken out of it
// as the frames come. UTC is a line through trial time, fitted to the times that
// GNSS receivers send; it is applied at the end, so that a receiver heard an
// hour late dates the whole day. All calculation is done in trial time.
//
// # Jumps
//
// The recorder's clock jumped if it went back by more than Disorder or forward
// by more than MaxSilence. The frames that follow may come after a real pause
// (a forward jump: the bus was off), without one (the clock was set), or both
// (the recorder lost power and woke in 1970). Only an outside clock can tell:
// where GNSS time was known before, the jump stays open until two readings
// after it agree on the length of the pause, or until the caller gives up
// waiting. Where it cannot be known, a forward jump is taken as a pause, as long
// as all that were so taken stay below MaxPause together, and any other as a
// setting of the clock with no pause; the line to UTC then begins anew, so that a
// wrong guess does not spoil the dates on either side. So neither a clock that
// jumps to and fro nor a receiver that wakes with a wrong date stretches the day.
//
// # UTC
//
// Readings are messages 126992, 129033 and 129029 (the last only with a fix).
// They are thinned evenly, at most maxPoints for each sender and message, and a
// line of offset over trial time is laid through them by the slopes' median
// (Theil 1950; Sen, J. Am. Stat. Assoc. 63, 1968, 1379) and the residuals'
// median, which up to 29 % of wrong readings do not move. Of several senders
// the ones on which most agree are believed. Senders that say their time comes
// from a clock of their own are believed only if there are no others.
//
// A message is received some time after the instant that it names. Its mean
// delay cannot be seen in the data and is not corrected; Latency is allowed for
// it in the uncertainty.
package clock

import (
	"math"
	"time"
)

const (
	// MaxSilence is the longest pause on a bus in use that is not examined.
	// The slowest periodic messages come every 2.5 s, but every bus carries
	// some at 1 Hz or faster (common practice, no source).
	MaxSilence = 2 * time.Second
	// Disorder is how far frames of two interfaces may be out of order. A
	// step back of the clock by less is absorbed: time stands still for it.
	Disorder = 100 * time.Millisecond
	// MaxPause is the longest pause inside one trial day, and the longest that
	// all pauses guessed without GNSS time can be together.
	MaxPause = 12 * time.Hour
	// MaxKnownPause is the longest pause that GNSS time is believed: a trial
	// that goes on next week is another one, but a receiver without a battery
	// wakes years away.
	MaxKnownPause = 7 * 24 * time.Hour
	// Latency is allowed for the mean delay of time messages: of the reading
	// itself, the sender's queue and the bus (common practice, no source).
	Latency = 250 * time.Millisecond

	// agree is how well two measures of one pause must agree.
	agree = int64(time.Second)
	// crystal is the largest frequency error of a recorder's quartz that is
	// expected: 100 ppm (common practice, no source).
	crystal = 100e-6
)

// Clock makes trial time from capture times and UTC from trial time. The zero
// value is ready for use.
type Clock struct {
	started bool
	origin  int64 // capture time of the first frame
	shift   int64 // trial time = capture time + shift
	now     int64 // trial time of the last frame
	jump    jump
	steps   int
	guessed int64 // sum of the pauses guessed without GNSS time
	model   model
}

// jump is a jump of the recorder's clock that is not decided yet.
type jump struct {
	open bool
	at   int64 // trial time of the last frame before it
	size int64 // what the recorder's clock says has passed; can be negative
	// seen is the pause by the last reading, if any.
	seen    int64
	hasSeen bool
}

// Jumped reports whether a frame captured at t would come after a jump. A jump
// that is open must be settled before it is passed to Tick.
func (c *Clock) Jumped(t int64) bool {
	d := t + c.shift - c.now
	return c.started && (d < -int64(Disorder) || d > int64(MaxSilence))
}

// Tick takes the capture time of the next frame and returns its trial time.
// While a jump is open the pause at it is not in the trial time yet.
func (c *Clock) Tick(t int64) int64 {
	if !c.started {
		c.started, c.origin, c.shift, c.model.own = true, t, -t, t
	}
	if c.Jumped(t) {
		if c.jump.open {
			c.Settle()
		}
		c.jump = jump{open: true, at: c.now, size: t + c.shift - c.now}
		c.shift = c.now - t
		if !c.model.known() {
			c.Settle()
		}
	}
	c.now = max(c.now, t+c.shift)
	return c.now
}

// Open reports whether a jump waits for GNSS time.
func (c *Clock) Open() bool { return c.jump.open }

// Judge looks at a reading that came at a trial time after an open jump. It
// reports true once the length of the pause is known; the jump is then closed,
// and the pause must be added to all trial times given since.
func (c *Clock) Judge(r Reading, source uint16, at int64) (pause int64, decided bool) {
	if !c.jump.open || !c.model.believes(r, source, at) {
		return 0, false
	}
	pause = c.model.trial(r.UTC) - at
	slack := agree + int64(crystal*math.Abs(float64(pause)))
	if pause < -slack || pause > int64(MaxKnownPause) {
		return 0, false
	}
	if !c.jump.hasSeen || abs(pause-c.jump.seen) > agree {
		c.jump.seen, c.jump.hasSeen = pause, true
		return 0, false
	}
	switch {
	case c.jump.size > 0 && abs(pause-c.jump.size) <= slack:
		pause = c.jump.size // the recorder's clock ran on
	case pause < slack:
		pause = 1 // see Settle
	}
	c.close(pause)
	return pause, true
}

// Settle closes an open jump by the rule for want of GNSS time and returns the
// pause, to be added to all trial times given since.
func (c *Clock) Settle() (pause int64) {
	if !c.jump.open {
		return 0
	}
	// At least 1 ns, so that no trial time lies on both sides.
	pause = 1
	if s := c.jump.size; s > 0 && s < int64(MaxPause)-c.guessed {
		pause = s
		c.guessed += s
	}
	seam := c.jump.at + pause
	c.close(pause)
	c.model.part(seam)
	return pause
}

func (c *Clock) close(pause int64) {
	if pause != c.jump.size {
		c.steps++
	}
	c.jump = jump{}
	c.shift += pause
	c.now += pause
	if own := -c.shift; own+c.now >= earliest {
		c.model.setOwn(own)
	}
}

// Observe takes a reading that came at a trial time, no jump being open.
func (c *Clock) Observe(r Reading, source uint16, at int64) { c.model.observe(r, source, at) }

// Steps is the number of jumps of the recorder's clock taken out.
func (c *Clock) Steps() int { return c.steps }

// Known reports whether UTC is from GNSS time. Where it is not, UTC is the
// recorder's own time where that was last believable.
func (c *Clock) Known() bool { return c.model.everKnown() }

// UTC is nanoseconds since 1970 at a trial time. It never falls as trial time
// rises, and becomes better as readings come.
func (c *Clock) UTC(trial int64) int64 {
	if utc, ok := c.model.utc(trial); ok {
		return utc
	}
	return trial + c.model.own
}

// Offset is UTC minus the recorder's time at the first frame, in nanoseconds.
func (c *Clock) Offset() int64 { return c.UTC(0) - c.origin }

// Drift is the frequency error of the recorder's clock as a ratio; positive if
// it is slow.
func (c *Clock) Drift() float64 { return c.model.drift() }

// Uncertainty is that of UTC in nanoseconds, coverage about 95 %: the spread of
// the readings about the line, the disagreement of the senders believed, the
// allowance Latency, and what an unknown drift adds where the line reaches
// beyond the readings. It is MaxInt64 while UTC is not known.
func (c *Clock) Uncertainty() int64 { return c.model.uncertainty(c.now) }

// Disbelieved is the number of senders whose time is far from what is used.
func (c *Clock) Disbelieved() int { return c.model.disbelieved() }

func abs(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}
