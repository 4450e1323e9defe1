// Package choose decides which of several devices gives a quantity. Quantities
// that belong together (course and speed over ground, say) form a group, and
// all samples of a group come from one device at a time.
//
// # The rule
//
// The first device with a value is used at once. Another takes over
//
//   - when the one in use has had no value for the group's patience and the
//     other has had values all the time (failover): then the best that has;
//   - when it has been better, without a break, for the hold time.
//
// Better is, in this order: standing earlier in the configured preference;
// having more of the group's main quantities; for position and motion an HDOP
// lower by a quarter; a rate of values higher by half; being the one that a
// failover left (return). Otherwise the one in use stays. The margins keep two
// equal devices from changing places; what is compared is looked at every
// Block.
//
// Only samples already seen count, and only their trial time: the same samples
// always give the same choice.
package choose

import (
	"time"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const (
	// Block is the time over which rates are counted. It holds some values
	// even of a sensor that sends once a second.
	Block = 5 * time.Second
	// Candidates bounds the devices compared in one group.
	Candidates = 8
	// None stands for no device in a Change.
	None = 0xFFFF

	// proven is how long a device must have had values to take over at once;
	// after a silence of the whole bus it gives the one in use time to speak.
	proven = int64(2 * time.Second)
	// courseMemory is how long a course counts after it was last given: many
	// receivers give none at rest, and are not worse for it.
	courseMemory = int64(5 * time.Minute)

	hdopMargin = 1.25
	rateMargin = 1.5
)

// Why says what made a change of source.
type Why uint8

// The reasons for a change.
const (
	OnlySource Why = iota
	Preferred
	Complete
	BetterHDOP
	BetterRate
	Failover
	Return
	FinerSteps
	Configured
	SameRPM
	OtherRPM
	AddressOrder
)

func (w Why) String() string {
	return [...]string{"only source", "preferred", "more complete", "better HDOP", "better rate", "failover", "return", "finer steps",
		"configured", "rpm agrees", "rpm agrees with no other engine", "order of address"}[w]
}

// Change tells that a group's samples come from another device from Time on.
type Change struct {
	Time     int64 // trial time, ns
	Group    Group
	Quantity pgn.Quantity // of the group, that changes alone; None: all
	Instance uint8        // of engine, tank or battery
	From, To uint16       // device index; None
	Why      Why
}

// Chooser chooses for all groups. Make it with New.
type Chooser struct {
	hold      int64
	rank      func(g Group, source uint16) int
	changed   func(Change)
	selectors [numGroups][256]*selector
	hdop      map[uint16]float64
	refused   [numGroups]int64
}

// New makes a Chooser. Hold is how long a better device must be heard before it
// takes over. Rank gives a device's place in the preference of a group, lower
// is better; it is asked again every Block. Changed is called at each change,
// before the samples it concerns.
func New(hold time.Duration, rank func(g Group, source uint16) int, changed func(Change)) *Chooser {
	return &Chooser{hold: int64(hold), rank: rank, changed: changed, hdop: map[uint16]float64{}}
}

// Refused counts the samples of a group that were not used because another
// device was.
func (c *Chooser) Refused(g Group) int64 { return c.refused[g] }

// Use takes the next sample in the order of trial time and reports whether it
// is from the device in use. A quantity without a group is always used. So are
// samples that say why there is no value, in groups where that is told, until a
// device is in use.
func (c *Chooser) Use(s *sample.Sample) bool {
	m := &members[s.Quantity]
	if m.group == Free {
		return true
	}
	if s.Quantity == pgn.HDOP && s.State == pgn.Valid {
		c.hdop[s.Source] = s.Value
	}
	sel := c.selectors[m.group][s.Instance&m.instances]
	if sel == nil {
		sel = c.begin(m.group, s.Instance&m.instances, s.Time)
	}
	if s.Time-sel.block >= int64(Block) {
		c.review(sel, s.Time)
	}
	i := sel.current
	if i < 0 || sel.candidates[i].source != s.Source {
		i = c.find(sel, s.Source, s.Time)
	}
	if i >= 0 && m.role != extra && s.State == pgn.Valid {
		sel.candidates[i].heard(m.role, s.Time, m.patience)
		if i != sel.current {
			c.failover(sel, i, s.Time)
		}
	}
	if i < 0 || i != sel.current {
		if sel.current < 0 && s.State != pgn.Valid && m.group.explained() {
			return true
		}
		c.refused[m.group]++
		return false
	}
	return true
}

func (c *Chooser) begin(g Group, instance uint8, t int64) *selector {
	sel := &selector{group: g, instance: instance, current: -1, home: -1, block: t}
	c.selectors[g][instance] = sel
	return sel
}

// selector is the choice in one group.
type selector struct {
	group      Group
	instance   uint8
	candidates []candidate
	current    int // index in candidates, -1 for none
	home       int // the one that a failover left, -1 for none
	block      int64
}

// candidate is a device that sends the group's quantities.
type candidate struct {
	source uint16
	rank   int
	given  bool  // has had a value
	last   int64 // time of the last value
	since  int64 // of the first value after the last long silence
	main   [2]int64
	has    [2]bool
	values int   // of the first main quantity, for want of it of others, in the present block
	rate   int   // values in the block before
	better int64 // better than the one in use since
	leads  bool
}

func (k *candidate) heard(r role, t, patience int64) {
	if !k.given || t-k.last > patience {
		k.since = t
	}
	k.given, k.last = true, t
	if r == first || r == alive && !k.has[0] {
		k.values++
	}
	if r >= first {
		k.main[r-first], k.has[r-first] = t, true
	}
}

func (k *candidate) alive(t, patience int64) bool { return k.given && t-k.last <= patience }

// find is the index of a device's candidate, -1 if there are too many. One long
// silent makes room.
func (c *Chooser) find(sel *selector, source uint16, t int64) int {
	for i := range sel.candidates {
		if sel.candidates[i].source == source {
			return i
		}
	}
	k := candidate{source: source, rank: c.rank(sel.group, source)}
	if len(sel.candidates) < Candidates {
		sel.candidates = append(sel.candidates, k)
		return len(sel.candidates) - 1
	}
	for i := range sel.candidates {
		if i != sel.current && !sel.candidates[i].alive(t, sel.group.Patience()) {
			if sel.home == i {
				sel.home = -1
			}
			sel.candidates[i] = k
			return i
		}
	}
	return -1
}

// failover lets the best living device take over if the one in use is silent.
// Candidate i, another, has just given a value.
func (c *Chooser) failover(sel *selector, i int, t int64) {
	if sel.current < 0 {
		c.change(sel, i, t, OnlySource)
		return
	}
	patience := sel.group.Patience()
	if sel.candidates[sel.current].alive(t, patience) || !sel.candidates[i].proven(t, patience) {
		return
	}
	best := i
	for k := range sel.candidates {
		if k == sel.current || !sel.candidates[k].alive(t, patience) || !sel.candidates[k].proven(t, patience) {
			continue
		}
		if _, better := c.better(sel, k, best, t); better {
			best = k
		}
	}
	if sel.home < 0 {
		sel.home = sel.current
	}
	c.change(sel, best, t, Failover)
}

func (k *candidate) proven(t, patience int64) bool { return t-k.since >= min(proven, patience) }

// review compares all candidates with the one in use, once a block.
func (c *Chooser) review(sel *selector, t int64) {
	whole := t-sel.block < 2*int64(Block) // else there was a silence: no rates
	for i := range sel.candidates {
		k := &sel.candidates[i]
		k.rank = c.rank(sel.group, k.source)
		k.rate, k.values = k.values, 0
		if !whole {
			k.rate = 0
		}
	}
	sel.block = t
	if sel.current < 0 || !sel.candidates[sel.current].alive(t, sel.group.Patience()) {
		return
	}
	best, why := -1, OnlySource
	for i := range sel.candidates {
		if w, ok := c.leads(sel, i, t); ok {
			if _, over := c.betterOrFirst(sel, i, best, t); over {
				best, why = i, w
			}
		}
	}
	if best >= 0 {
		c.change(sel, best, t, why)
	}
}

// leads reports whether candidate i has been better than the one in use for
// the hold time.
func (c *Chooser) leads(sel *selector, i int, t int64) (Why, bool) {
	k := &sel.candidates[i]
	why, better := c.better(sel, i, sel.current, t)
	if i == sel.current || !better || !k.alive(t, sel.group.Patience()) {
		k.leads = false
		return why, false
	}
	if !k.leads {
		k.leads, k.better = true, max(k.since, t-int64(Block))
	}
	if i == sel.home {
		why = Return
	}
	return why, t-k.better >= c.hold
}

func (c *Chooser) betterOrFirst(sel *selector, i, than int, t int64) (Why, bool) {
	if than < 0 {
		return OnlySource, true
	}
	return c.better(sel, i, than, t)
}

// better reports whether candidate i is better than another, and by what.
func (c *Chooser) better(sel *selector, i, than int, t int64) (Why, bool) {
	a, b := &sel.candidates[i], &sel.candidates[than]
	if a.rank != b.rank {
		return Preferred, a.rank < b.rank
	}
	if x, y := a.complete(sel.group, t), b.complete(sel.group, t); x != y {
		return Complete, x > y
	}
	if sel.group == Position || sel.group == Motion {
		x, xKnown := c.hdop[a.source]
		y, yKnown := c.hdop[b.source]
		if xKnown && yKnown && (x*hdopMargin < y || y*hdopMargin < x) {
			return BetterHDOP, x < y
		}
	}
	x, y := float64(a.rate), float64(b.rate)
	if x > y*rateMargin || y > x*rateMargin {
		return BetterRate, x > y
	}
	return Return, i == sel.home
}

// complete is the number of the group's main quantities that the device gives.
func (k *candidate) complete(g Group, t int64) int {
	n := 0
	for i := range k.main {
		memory := g.Patience()
		if g == Motion && i == 1 {
			memory = courseMemory
		}
		if k.has[i] && t-k.main[i] <= memory {
			n++
		}
	}
	return n
}

func (c *Chooser) change(sel *selector, to int, t int64, why Why) {
	from := uint16(None)
	if sel.current >= 0 {
		from = sel.candidates[sel.current].source
	}
	sel.current = to
	if why != Failover || to == sel.home {
		sel.home = -1
	}
	for i := range sel.candidates {
		sel.candidates[i].leads = false
	}
	c.changed(Change{Time: t, Group: sel.group, Instance: sel.instance, From: from, To: sel.candidates[to].source, Why: why})
}
