package choose

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const sec = int64(time.Second)

// bench feeds a Chooser and notes what it does.
type bench struct {
	*Chooser
	ranks   map[uint16]int
	changes []string
	used    map[uint16]int
}

func newBench(hold time.Duration) *bench {
	b := &bench{ranks: map[uint16]int{}, used: map[uint16]int{}}
	b.Chooser = New(hold, func(_ Group, source uint16) int { return b.ranks[source] }, func(c Change) {
		b.changes = append(b.changes, fmt.Sprintf("%s %d>%d %s at %.0f", c.Group, int16(c.From), c.To, c.Why, float64(c.Time)/1e9))
	})
	return b
}

func (b *bench) say(t int64, source uint16, q pgn.Quantity, state pgn.State) {
	if b.Use(&sample.Sample{Time: t, Source: source, Quantity: q, State: state, Value: 1}) {
		b.used[source]++
	}
}

// motion makes a source send speed and course every tenth of a second of
// [from, to).
type motion struct {
	source   uint16
	from, to int64
	every    int64 // tenths
	noCourse bool
	noFix    bool
	hdop     float64
}

func (b *bench) play(parts ...motion) {
	end := int64(0)
	for _, p := range parts {
		end = max(end, p.to)
	}
	for k := int64(0); k < end*10; k++ {
		t := k * sec / 10
		for _, p := range parts {
			if t < p.from*sec || t >= p.to*sec || k%max(p.every, 1) != 0 {
				continue
			}
			state := pgn.Valid
			if p.noFix {
				state = pgn.NotAvailable
			}
			if p.hdop > 0 {
				b.Use(&sample.Sample{Time: t, Source: p.source, Quantity: pgn.HDOP, Value: p.hdop})
			}
			b.say(t, p.source, pgn.SpeedOverGround, state)
			if !p.noCourse {
				b.say(t, p.source, pgn.CourseOverGround, state)
			}
		}
	}
}

func TestRule(t *testing.T) {
	for _, tt := range []struct {
		name  string
		ranks map[uint16]int
		parts []motion
		want  []string
	}{
		{"one source", nil, []motion{{source: 1, to: 60}}, []string{"motion -1>1 only source at 0"}},
		{"two alike", nil, []motion{{source: 1, to: 60}, {source: 2, to: 60}}, []string{"motion -1>1 only source at 0"}},
		{"the preferred one after the hold", map[uint16]int{1: 1}, []motion{{source: 1, to: 60}, {source: 2, from: 20, to: 60}},
			[]string{"motion -1>1 only source at 0", "motion 1>2 preferred at 30"}},
		{"failover and return", nil, []motion{{source: 1, to: 30}, {source: 2, to: 90}, {source: 1, from: 50, to: 90}},
			[]string{"motion -1>1 only source at 0", "motion 1>2 failover at 33", "motion 2>1 return at 60"}},
		{"no fix is no value", nil, []motion{{source: 1, to: 30}, {source: 2, to: 60}, {source: 1, from: 30, to: 60, noFix: true}},
			[]string{"motion -1>1 only source at 0", "motion 1>2 failover at 33"}},
		{"short dropout", nil, []motion{{source: 1, to: 30}, {source: 2, to: 60}, {source: 1, from: 32, to: 60}},
			[]string{"motion -1>1 only source at 0"}},
		{"whole bus silent", nil, []motion{{source: 1, to: 30}, {source: 2, to: 30}, {source: 2, from: 200, to: 260}, {source: 1, from: 200, to: 260}},
			[]string{"motion -1>1 only source at 0"}},
		{"gone after the whole bus was silent", nil, []motion{{source: 1, to: 30}, {source: 2, to: 30}, {source: 2, from: 200, to: 260}},
			[]string{"motion -1>1 only source at 0", "motion 1>2 failover at 202"}},
		{"more complete", nil, []motion{{source: 1, to: 60, noCourse: true}, {source: 2, to: 60}},
			[]string{"motion -1>1 only source at 0", "motion 1>2 more complete at 10"}},
		{"better rate", nil, []motion{{source: 1, to: 60, every: 10}, {source: 2, to: 60}},
			[]string{"motion -1>1 only source at 0", "motion 1>2 better rate at 10"}},
		{"better HDOP", nil, []motion{{source: 1, to: 60, hdop: 2.5}, {source: 2, to: 60, hdop: 0.9}},
			[]string{"motion -1>1 only source at 0", "motion 1>2 better HDOP at 10"}},
		{"HDOP nearly alike", nil, []motion{{source: 1, to: 60, hdop: 1.0}, {source: 2, to: 60, hdop: 0.9}},
			[]string{"motion -1>1 only source at 0"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := newBench(10 * time.Second)
			if tt.ranks != nil {
				b.ranks = tt.ranks
			}
			b.play(tt.parts...)
			if fmt.Sprint(b.changes) != fmt.Sprint(tt.want) {
				t.Errorf("got  %v\nwant %v", b.changes, tt.want)
			}
		})
	}
}

// No course at rest does not make a receiver worse than one that invents it.
func TestNoCourseAtRest(t *testing.T) {
	b := newBench(10 * time.Second)
	b.play(motion{source: 1, to: 30}, motion{source: 1, from: 30, to: 200, noCourse: true}, motion{source: 2, to: 200})
	if len(b.changes) != 1 {
		t.Errorf("changes %v", b.changes)
	}
}

func TestInstancesAreApart(t *testing.T) {
	b := newBench(10 * time.Second)
	for _, s := range []sample.Sample{
		{Source: 1, Instance: 0, Quantity: pgn.FluidLevel},
		{Source: 2, Instance: 1, Quantity: pgn.FluidLevel},
	} {
		if !b.Use(&s) {
			t.Errorf("not used: %+v", s)
		}
	}
	if b.Use(&sample.Sample{Source: 2, Instance: 0, Quantity: pgn.FluidLevel}) {
		t.Error("two devices used for one tank")
	}
	if b.Refused(Tank) != 1 {
		t.Errorf("refused %d", b.Refused(Tank))
	}
}

func TestEveryQuantityHasAPlace(t *testing.T) {
	free := map[pgn.Quantity]bool{pgn.None: true, pgn.EngineSpeed: true, pgn.EngineBoost: true, pgn.EngineTrim: true}
	for q := pgn.None; q < pgn.NumQuantities; q++ {
		if (Of(q) == Free) != free[q] {
			t.Errorf("%v is in group %v", q, Of(q))
		}
	}
}

// Property: at any time one device at most is used in a group, it is the one
// of the last change, and memory stays bounded.
func TestRandom(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	current := map[Group]uint16{}
	c := New(7*time.Second, func(_ Group, s uint16) int { return int(s % 3) }, func(c Change) {
		if was, ok := current[c.Group]; ok && was != c.From {
			t.Fatalf("change from %d, in use was %d", c.From, was)
		}
		current[c.Group] = c.To
	})
	quantities := []pgn.Quantity{pgn.SpeedOverGround, pgn.CourseOverGround, pgn.Heading, pgn.HeadingMagnetic, pgn.HDOP, pgn.Latitude}
	at := int64(0)
	for range 100000 {
		at += rng.Int64N(sec)
		s := sample.Sample{Time: at, Source: uint16(rng.IntN(20)), Quantity: quantities[rng.IntN(len(quantities))], State: pgn.State(rng.IntN(3)), Value: rng.Float64() * 5}
		if rng.IntN(1000) == 0 {
			at += 60 * sec
		}
		used := c.Use(&s)
		if to, ok := current[Of(s.Quantity)]; used != (ok && to == s.Source) {
			t.Fatalf("source %d used: %v, in use is %d", s.Source, used, to)
		}
	}
	for g := range c.selectors {
		for _, sel := range c.selectors[g] {
			if sel != nil && len(sel.candidates) > Candidates {
				t.Fatal("too many candidates")
			}
		}
	}
}
