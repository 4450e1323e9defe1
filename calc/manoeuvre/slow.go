package manoeuvre

import (
	"math"
	"math/cmplx"
)

// Slow is how the boat handles at idle on one set of engines.
type Slow struct {
	Engines   uint8   // in gear, as a set; the others in neutral
	Astern    bool    // in reverse
	RPM       float64 // 1/s
	Speed     float64 // m/s through water, after ten seconds in gear; NaN if never
	Rate      float64 // rad/s, greatest rate of turn over three seconds; NaN without headings
	Seconds   float64 // in all
	Current   bool    // whether it was known and taken out
	Stretches int
}

const (
	// idleBand: an engine within this ratio above the lowest speed heard of a
	// running engine in neutral idles.
	idleBand = 1.15
	// settleSlow, cells in gear before the speed counts.
	settleSlow = 10 * perSecond
	// rateCells: over which a rate of turn is taken.
	rateCells = 3 * perSecond
	// walking, m/s (8 kn): faster than any boat idles, it coasts.
	walking = 4.1
)

// slowWatch gathers stretches at idle in gear.
type slowWatch struct {
	idle  float64             // 1/s, lowest mean of an engine in neutral so far; 0 for none
	level [MaxEngines]float64 // 1/s, slow mean of an engine in neutral; 0 out of it
	now   stretch
	turn  [rateCells]float64 // headings
	all   []stretch
}

// stretch is one time at idle in gear.
type stretch struct {
	start    int64
	set      uint8
	astern   bool
	cells    int
	rpm      float64
	velocity complex128 // sum of velocity over ground, after settling
	ahead    complex128 // sum of heading vectors
	settled  int
	rate     float64
}

func (s *slowWatch) cell(f *frame) {
	var set uint8
	rpm, n := 0.0, 0.0
	astern, idling := false, true
	for e := range MaxEngines {
		v := f.v[chRPM+channel(e)]
		if !(v > stopped) {
			continue
		}
		switch f.gear[e] {
		case forward, reverse:
			astern = f.gear[e] == reverse
			set |= 1 << e
			rpm += v
			n++
			s.level[e] = 0
			idling = idling && s.idle > 0 && v < idleBand*s.idle
		case neutral:
			s.learn(e, v)
		}
	}
	for e := range MaxEngines { // ahead on one and astern on another is neither
		if set&(1<<e) != 0 && (f.gear[e] == reverse) != astern {
			idling = false
		}
	}
	if set == 0 || !idling || !(f.speed() < walking) {
		set = 0
	}
	if set != s.now.set || astern != s.now.astern {
		s.close()
		s.now = stretch{start: f.at, set: set, astern: astern, rate: math.NaN()}
	}
	if set != 0 {
		s.now.add(f, rpm/n, &s.turn)
	}
}

// learn takes the speed of an engine in neutral; once it has been steady
// within 2 % of its slow mean, it is an idle speed.
func (s *slowWatch) learn(e int, v float64) {
	l := &s.level[e]
	if *l == 0 {
		*l = 2 * v // so that it takes some seconds to agree
	}
	*l += (v - *l) * dt / 2
	if math.Abs(v-*l) < 0.02*v && (s.idle == 0 || v < s.idle) {
		s.idle = v
	}
}

func (t *stretch) add(f *frame, rpm float64, turn *[rateCells]float64) {
	i := t.cells % rateCells
	if t.cells >= rateCells {
		if r := math.Abs(f.v[chHeading]-turn[i]) / (float64(rateCells) * dt); !math.IsNaN(r) && !(r <= t.rate) {
			t.rate = r
		}
	}
	turn[i] = f.v[chHeading]
	t.cells++
	t.rpm += rpm
	if g := f.ground(); t.cells > settleSlow && !math.IsNaN(real(g)) && !math.IsNaN(f.v[chHeading]) {
		t.velocity += g
		t.ahead += cmplx.Rect(1, f.v[chHeading])
		t.settled++
	}
}

func (s *slowWatch) close() {
	if s.now.set == 0 || s.now.cells < rateCells {
		return
	}
	if len(s.all) < maxEvents {
		s.all = append(s.all, s.now)
	}
}

// sumUp sums up stretches by set of engines and direction.
func sumUp(all []stretch, flow func(int64) (Flow, bool)) []Slow {
	var out []Slow
	var weights []float64
next:
	for i := range all {
		t := &all[i]
		for k := range out {
			if out[k].Engines == t.set && out[k].Astern == t.astern {
				weights[k] = out[k].join(t, weights[k], flow)
				continue next
			}
		}
		o := Slow{Engines: t.set, Astern: t.astern, Speed: math.NaN(), Rate: math.NaN()}
		w := o.join(t, 0, flow)
		out, weights = append(out, o), append(weights, w)
	}
	return out
}

// join adds a stretch; weight is the number of settled cells so far.
func (o *Slow) join(t *stretch, weight float64, flow func(int64) (Flow, bool)) float64 {
	seconds := float64(t.cells) * dt
	o.RPM = (o.RPM*o.Seconds + t.rpm*dt) / (o.Seconds + seconds)
	o.Seconds += seconds
	o.Stretches++
	if t.rate > o.Rate || math.IsNaN(o.Rate) {
		o.Rate = t.rate
	}
	if t.settled == 0 {
		return weight
	}
	n := float64(t.settled)
	now, known := flow(t.start + int64(t.cells)*cell/2)
	v := cmplx.Abs(t.velocity/complex(n, 0) - now.Velocity)
	if weight == 0 {
		o.Speed, o.Current = v, known
	} else {
		o.Speed = (o.Speed*weight + v*n) / (weight + n)
	}
	return weight + n
}

// driftWatch takes the velocity over ground of a boat that lies out of gear
// for the current.
type driftWatch struct {
	cells int
	sum   complex128
	n     int
	start int64
}

const (
	// coastCells: the way is off one minute after the last engine left gear.
	coastCells = 60 * perSecond
	// driftCells: over which the drift is averaged.
	driftCells = 30 * perSecond
	// stillAlongside, m/s: less than this is a boat on its lines.
	stillAlongside = 0.05
)

// cell returns a current for every half minute adrift.
func (d *driftWatch) cell(f *frame) (Flow, bool) {
	running := false
	for e := range MaxEngines {
		v := f.v[chRPM+channel(e)]
		running = running || v > stopped
		if v > stopped && f.gear[e] != neutral {
			*d = driftWatch{}
			return Flow{}, false
		}
	}
	if !running { // engines off: perhaps at the berth
		*d = driftWatch{}
		return Flow{}, false
	}
	d.cells++
	if d.cells <= coastCells || math.IsNaN(f.speed()) {
		return Flow{}, false
	}
	if d.n == 0 {
		d.start = f.at
	}
	d.sum += f.ground()
	d.n++
	if d.n < driftCells {
		return Flow{}, false
	}
	v := d.sum / complex(float64(d.n), 0)
	at := (d.start + f.at) / 2
	d.sum, d.n = 0, 0
	if cmplx.Abs(v) < stillAlongside {
		return Flow{}, false
	}
	return Flow{Time: at, Velocity: v, SE: adriftError}, true
}
