package choose

import (
	"time"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// Bus is the kind of bus that an engine is heard on.
type Bus uint8

// The two buses.
const (
	Backbone  Bus = iota // the boat's own
	EngineBus            // the engines' own
)

// Twins chooses, for each quantity of an engine that is heard on two buses, the
// bus that gives it.
//
// The rule: the backbone is used if the engine was heard there before, else the
// bus that gave the first value. The other takes over when the one in use has had
// no value for the group's patience (failover), or when it has been better, without a break, for the hold time. Better is a rate of values
// higher by half; else finer steps. So finer steps win unless they come more
// seldom by a third.
//
// Make it with NewTwins.
type Twins struct {
	hold    int64
	changed func(Change)
	engines [256]*engine
}

// engine is the choices for one engine.
type engine struct {
	twins [pgn.NumQuantities]twin
	told  [numGroups]bool // that the engines' own bus gives the group
}

// twin is the choice for one quantity.
type twin struct {
	heard [2]voice // by Bus
	used  Bus
	begun bool
	block int64
	since int64 // the other has been better
	leads bool
}

// voice is what one bus says.
type voice struct {
	source uint16
	given  bool
	last   int64 // time of the last value
	values int   // in the present block
	rate   int   // in the block before
	def    *pgn.Message
	step   float64 // SI
}

// NewTwins makes a Twins. Changed is called at each change, before the sample it
// concerns.
func NewTwins(hold time.Duration, changed func(Change)) *Twins {
	return &Twins{hold: int64(hold), changed: changed}
}

// Forget forgets what was heard of an engine.
func (c *Twins) Forget(index uint8) { c.engines[index] = nil }

// Begin begins with an engine that the backbone has given so far.
func (c *Twins) Begin(index uint8, at int64) {
	e := &engine{}
	for q := range e.twins {
		t := &e.twins[q]
		t.begun, t.used, t.block = true, Backbone, at
		t.heard[Backbone].last = at
	}
	c.engines[index] = e
}

// Use takes the next sample of an engine in the order of trial time and reports
// whether it is from the bus in use. Its instance is the engine's index; m is
// the message that it was in.
func (c *Twins) Use(s *sample.Sample, from Bus, m *pgn.Message) bool {
	e := c.engines[s.Instance]
	if e == nil {
		e = &engine{}
		c.engines[s.Instance] = e
	}
	t := &e.twins[s.Quantity]
	if s.State == pgn.Valid {
		t.heard[from].value(s, m)
	}
	if !t.begun {
		if s.State == pgn.Valid {
			t.begun, t.used, t.block = true, from, s.Time
			c.first(e, s, from)
		}
		return true
	}
	if s.Time-t.block >= int64(Block) {
		if why, ok := t.review(s.Time, c.hold); ok {
			c.change(t, s, why)
		}
	}
	silent := s.Time-t.heard[t.used].last > Of(s.Quantity).Patience()
	if from != t.used && s.State == pgn.Valid && silent {
		c.change(t, s, Failover)
	}
	return from == t.used
}

// first tells of a group that the engines' own bus alone gives so far.
func (c *Twins) first(e *engine, s *sample.Sample, from Bus) {
	g := Of(s.Quantity)
	if from == EngineBus && g != Free && !e.told[g] {
		e.told[g] = true
		c.changed(Change{Time: s.Time, Group: g, Instance: s.Instance, From: None, To: s.Source, Why: OnlySource})
	}
}

func (c *Twins) change(t *twin, s *sample.Sample, why Why) {
	from := t.heard[t.used].source
	if !t.heard[t.used].given {
		from, why = None, OnlySource
	}
	t.used, t.leads = 1-t.used, false
	g := Of(s.Quantity)
	if g == Free {
		g = EngineSpeed
	}
	c.changed(Change{Time: s.Time, Group: g, Quantity: s.Quantity, Instance: s.Instance,
		From: from, To: t.heard[t.used].source, Why: why})
}

func (v *voice) value(s *sample.Sample, m *pgn.Message) {
	v.source, v.given, v.last = s.Source, true, s.Time
	v.values++
	if v.def != m {
		v.def, v.step = m, m.Step(s.Quantity)
	}
}

// review compares the two, once a block, and reports whether the other has been
// better for the hold time.
func (t *twin) review(at, hold int64) (Why, bool) {
	whole := at-t.block < 2*int64(Block) // else there was a silence: no rates
	t.block = at
	for i := range t.heard {
		v := &t.heard[i]
		if v.rate, v.values = v.values, 0; !whole {
			v.rate = 0
		}
	}
	why, better := t.heard[1-t.used].better(&t.heard[t.used])
	if !better {
		t.leads = false
		return why, false
	}
	if !t.leads {
		t.leads, t.since = true, at-int64(Block)
	}
	return why, at-t.since >= hold
}

// better reports whether a voice is better than another, and by what.
func (v *voice) better(than *voice) (Why, bool) {
	x, y := float64(v.rate), float64(than.rate)
	switch {
	case !v.given || v.rate == 0:
		return BetterRate, false
	case v.step < than.step && x*rateMargin >= y:
		return FinerSteps, true
	case v.step > than.step && y*rateMargin >= x:
		return FinerSteps, false
	}
	return BetterRate, x > y*rateMargin
}
