package journal

import (
	"math/bits"
	"slices"

	"trialday.example/logd/decode/frame"
)

// clock predicts the step in time to the next frame. Most messages on a boat's
// bus are periodic, so a frame is expected one period after the entry's frame
// before. An entry of period 0 is not periodic: it is expected with no step.
//
// All times are in units since the first frame of the block. They may wrap
// around: both sides wrap alike.
type clock struct {
	period []int64
	last   []int64 // time of the entry's last frame
	seen   []bool
	now    int64
}

// restart goes back to the first frame, with the periods as they are.
func (c *clock) restart() {
	n := len(c.period)
	c.last = slices.Grow(c.last[:0], n)[:n]
	c.seen = slices.Grow(c.seen[:0], n)[:n]
	clear(c.seen)
	c.now = 0
}

// expect returns the step that is expected between a frame of entry before and
// the next one, of entry next.
func (c *clock) expect(before, next int) int64 {
	c.last[before], c.seen[before] = c.now, true
	if c.period[next] == 0 || !c.seen[next] {
		return 0
	}
	return c.last[next] + c.period[next] - c.now
}

func (c *clock) advance(step int64) { c.now += step }

// measure sets the period of each entry to its mean interval, where that
// predicts better than nothing does.
func (c *clock) measure(e *encoder, frames []frame.Frame, unit int64) {
	c.period = append(c.period[:0], make([]int64, len(e.entries))...)
	c.intervals(e, frames, unit, func(k int, interval, _ int64) { c.period[k] += interval })
	for k, n := range e.counts {
		if c.period[k] = max(c.period[k], 0) / max(int64(n)-1, 1); c.period[k] > maxPeriod {
			c.period[k] = 0
		}
	}
	gain := make([]int, len(e.entries))
	c.intervals(e, frames, unit, func(k int, interval, step int64) {
		gain[k] += bits.Len64(zigzag(step)) - bits.Len64(zigzag(interval-c.period[k]))
	})
	for k := range gain {
		if gain[k] <= 0 {
			c.period[k] = 0
		}
	}
}

// maxPeriod in time units keeps nonsense, such as a clock that was set, out of
// the periods.
const maxPeriod = 1 << 40

// intervals calls visit with the time since the entry's frame before, and
// since the frame before, for each frame that has both.
func (c *clock) intervals(e *encoder, frames []frame.Frame, unit int64, visit func(k int, interval, step int64)) {
	c.restart()
	for i := range frames {
		step := int64(0)
		if i > 0 {
			step = (frames[i].Time - frames[i-1].Time) / unit
		}
		c.now += step
		k := e.index[i]
		if c.seen[k] {
			visit(int(k), c.now-c.last[k], step)
		}
		c.last[k], c.seen[k] = c.now, true
	}
}
