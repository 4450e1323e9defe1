package installation

import (
	"math"
	"math/cmplx"
	"slices"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// quantity numbers what a cell has a mean of.
type quantity int

const (
	speed quantity = iota // over ground, m/s
	pitch
	roll
	rudder
	turning       // rad/s
	revs          // 1/s, one an engine
	numQuantities = revs + MaxEngines
)

// Gears, as in pgn.Gear.
const (
	forward int8 = iota
	neutral
	reverse
	gearUnknown int8 = -1
)

// gearSilence is how many cells a gear is taken as it was last heard.
const gearSilence = 10

// cell is one second of the boat: means of the samples in it, NaN where there
// was none.
type cell struct {
	at     int64
	v      [numQuantities]float64
	course complex128 // unit vector over ground, NaN without
	gear   [MaxEngines]int8
}

// fast is the highest engine speed, 1/s; NaN where none is heard.
func (c *cell) fast() float64 {
	top := math.NaN()
	for e := range MaxEngines {
		if v := c.v[revs+quantity(e)]; !math.IsNaN(v) && !(v <= top) {
			top = v
		}
	}
	return top
}

// engaged tells whether a gear is known to be engaged.
func (c *cell) engaged() bool {
	for _, g := range c.gear {
		if g == forward || g == reverse {
			return true
		}
	}
	return false
}

// free tells whether every gear that is heard is out.
func (c *cell) free() bool {
	return !c.engaged() && slices.Contains(c.gear[:], neutral)
}

// cells gathers samples into seconds, and hands each on when it has passed.
type cells struct {
	out     func(*cell)
	started bool
	at      int64
	sum     [numQuantities]float64
	n       [numQuantities]float64
	course  complex128
	gear    [MaxEngines]int8
	silent  [MaxEngines]int
}

func (c *cells) init(out func(*cell)) {
	c.out = out
	for e := range c.gear {
		c.gear[e] = gearUnknown
	}
}

func (c *cells) add(s *sample.Sample) {
	if !c.started {
		c.started, c.at = true, s.Time-s.Time%second
	}
	for s.Time >= c.at+second {
		c.close()
	}
	if s.State != pgn.Valid {
		return
	}
	e := int(s.Instance)
	switch s.Quantity {
	case pgn.SpeedOverGround:
		c.put(speed, s.Value)
	case pgn.CourseOverGround:
		c.course += cmplx.Rect(1, s.Value)
	case pgn.Pitch:
		c.put(pitch, s.Value)
	case pgn.Roll:
		c.put(roll, s.Value)
	case pgn.RudderAngle:
		c.put(rudder, s.Value)
	case pgn.RateOfTurn:
		c.put(turning, s.Value)
	case pgn.EngineSpeed:
		if e < MaxEngines {
			c.put(revs+quantity(e), s.Value)
		}
	case pgn.Gear:
		if e < MaxEngines {
			c.gear[e], c.silent[e] = int8(s.Value), 0
		}
	}
}

func (c *cells) put(q quantity, v float64) {
	c.sum[q] += v
	c.n[q]++
}

func (c *cells) close() {
	if !c.started {
		return
	}
	k := cell{at: c.at}
	for q := range k.v {
		k.v[q] = c.sum[q] / c.n[q] // NaN without a sample
		c.sum[q], c.n[q] = 0, 0
	}
	k.course = c.course / complex(cmplx.Abs(c.course), 0)
	c.course = 0
	for e := range c.gear {
		if c.silent[e]++; c.silent[e] > gearSilence {
			c.gear[e] = gearUnknown
		}
	}
	k.gear = c.gear
	c.at += second
	c.out(&k)
}

// stretch is a time in which one condition holds, and a mean over it.
type stretch struct {
	n, sum float64
}

func (s *stretch) add(v float64) {
	s.n++
	s.sum += v
}

// take returns the mean if the stretch was long enough, s, and begins anew.
func (s *stretch) take(least float64) (mean float64, ok bool) {
	mean, ok = s.sum/s.n, s.n >= least
	*s = stretch{}
	return mean, ok
}
