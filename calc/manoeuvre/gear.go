package manoeuvre

import (
	"math"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// GearEvent is a shift.
type GearEvent struct {
	Time     int64   // trial time, ns: half way between the two messages
	Error    int64   // ns: half the time between them
	Engine   int     // index
	From, To int8    // gears, as in pgn.Gear
	RPM      float64 // 1/s at the time; NaN where not heard
}

// Engagement is the order in which several engines were put in gear, all of
// them having been out of it, or taken out of it, all having been in it.
type Engagement struct {
	Time    int64     // trial time of the first shift, ns
	Engaged bool      // false for taken out
	Gear    int8      // that was engaged or left
	Engines []int     // indices, in order
	Delays  []float64 // s after the first
}

// group: shifts further apart, ns, belong to different manoeuvres.
const group = 6 * second

// gearWatch lists shifts as they are heard. It works on the messages, not on
// the grid.
type gearWatch struct {
	gear [MaxEngines]int8
	at   [MaxEngines]int64
	rpm  [MaxEngines]float64
	last [MaxEngines]int64 // of rpm
	open *Engagement
	left uint8 // engines that the open group still waits for
	time int64 // of its last shift
}

func (g *gearWatch) init() {
	for e := range g.gear {
		g.gear[e], g.rpm[e] = gearUnknown, math.NaN()
	}
}

func (g *gearWatch) add(s *sample.Sample, r *Report) {
	e := int(s.Instance)
	if s.State != pgn.Valid || e >= MaxEngines {
		return
	}
	switch s.Quantity {
	case pgn.EngineSpeed:
		g.rpm[e], g.last[e] = s.Value, s.Time
	case pgn.Gear:
		to := int8(s.Value)
		if from := g.gear[e]; from != to && from != gearUnknown && s.Time-g.at[e] <= gearSilence {
			g.shift(e, from, to, s.Time, r)
		}
		g.gear[e], g.at[e] = to, s.Time
	}
}

func (g *gearWatch) shift(e int, from, to int8, now int64, r *Report) {
	ev := GearEvent{
		Time: (g.at[e] + now) / 2, Error: (now - g.at[e]) / 2, Engine: e, From: from, To: to, RPM: g.rpm[e],
	}
	if now-g.last[e] > 2*second {
		ev.RPM = math.NaN()
	}
	if len(r.Gears) == maxEvents {
		r.More++
		return
	}
	r.Gears = append(r.Gears, ev)
	g.order(&ev, r)
}

// order adds a shift to the open group or starts one. Messages of different
// engines come in any order within their period, so the group is kept sorted.
func (g *gearWatch) order(ev *GearEvent, r *Report) {
	bit := uint8(1) << ev.Engine
	gear := ev.To
	if gear == neutral {
		gear = ev.From
	}
	engaged := ev.To != neutral
	if o := g.open; o != nil && o.Engaged == engaged && o.Gear == gear && g.left&bit != 0 && ev.Time-g.time <= group {
		o.insert(ev)
		g.left &^= bit
		g.time = ev.Time
	} else {
		g.open = nil
		if others, ok := g.others(ev.Engine, ev.From); ok && others != 0 && (ev.From == neutral) == engaged {
			g.open = &Engagement{
				Time: ev.Time, Engaged: engaged, Gear: gear, Engines: []int{ev.Engine}, Delays: []float64{0},
			}
			g.left, g.time = others, ev.Time
		}
	}
	if g.open != nil && g.left == 0 && len(r.Engagements) < maxEvents {
		r.Engagements = append(r.Engagements, *g.open)
		g.open = nil
	}
}

// others returns the engines beside e that run; ok is false unless all of them
// are in this gear.
func (g *gearWatch) others(e int, gear int8) (set uint8, ok bool) {
	for i := range g.gear {
		if i == e || !(g.rpm[i] > stopped) || g.gear[i] == gearUnknown {
			continue
		}
		if g.gear[i] != gear {
			return 0, false
		}
		set |= 1 << i
	}
	return set, true
}

func (o *Engagement) insert(ev *GearEvent) {
	delay := float64(ev.Time-o.Time) / 1e9
	i := len(o.Engines)
	for i > 0 && o.Delays[i-1] > delay {
		i--
	}
	o.Engines = append(o.Engines[:i:i], append([]int{ev.Engine}, o.Engines[i:]...)...)
	o.Delays = append(o.Delays[:i:i], append([]float64{delay}, o.Delays[i:]...)...)
	if first := o.Delays[0]; first < 0 {
		o.Time += int64(first * 1e9)
		for k := range o.Delays {
			o.Delays[k] -= first
		}
	}
}

// EngineOut is a stretch in which some engines drove and others did not.
type EngineOut struct {
	Start, End int64 // trial time, ns
	Driving    uint8 // sets of engines
	Idle       uint8 // running, in neutral
	Stopped    uint8
	Speed      float64 // mean speed over ground, m/s
}

// leastOut, ns: a shorter stretch is manoeuvring, or the pause between two
// shifts.
const leastOut = 15 * second

// outWatch finds them.
type outWatch struct {
	now   EngineOut
	heard uint8 // engines heard so far
	sum   float64
	n     int
}

func (o *outWatch) cell(f *frame, r *Report) {
	_, driving := driving(f)
	var idle, still uint8
	for e := range MaxEngines {
		bit := uint8(1) << e
		v := f.v[chRPM+channel(e)]
		if !math.IsNaN(v) {
			o.heard |= bit
		}
		switch {
		case v > stopped && f.gear[e] == neutral:
			idle |= bit
		case o.heard&bit != 0 && !(v > stopped):
			still |= bit
		}
	}
	if driving == 0 || idle|still == 0 {
		driving, idle, still = 0, 0, 0
	}
	if driving != o.now.Driving || idle != o.now.Idle || still != o.now.Stopped {
		o.finish(r)
		*o = outWatch{now: EngineOut{Start: f.at, Driving: driving, Idle: idle, Stopped: still}, heard: o.heard}
	}
	o.now.End = f.at
	if v := f.speed(); !math.IsNaN(v) {
		o.sum += v
		o.n++
	}
}

func (o *outWatch) finish(r *Report) {
	if o.now.Driving == 0 || o.now.End-o.now.Start < leastOut {
		return
	}
	if len(r.EngineOut) == maxEvents {
		r.More++
		return
	}
	o.now.Speed = o.sum / float64(o.n)
	r.EngineOut = append(r.EngineOut, o.now)
}
