package calc

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// MaxEngines is the number of engines that are told apart.
const MaxEngines = 8

// second is one tick: the spacing of the series that everything after the
// samples works on. One second averages over the fast sensors' noise and is
// short against every manoeuvre that ends or starts a steady stretch.
const second = int64(1e9)

// holdTicks is how long a value is kept where its sensor sends less than once
// a tick (or a message came late): after that it is missing.
const holdTicks = 2

// channel numbers the scalar series of a tick.
type channel int

const (
	chSOG channel = iota
	chSTW
	chPitch
	chRoll
	chDepth
	chRudder
	chRPM   // in 1/s; one channel an engine from here on
	chFuel  = chRPM + MaxEngines
	chLoad  = chFuel + MaxEngines
	chTrim  = chLoad + MaxEngines
	chBoost = chTrim + MaxEngines

	numChannels = chBoost + MaxEngines
)

// vector numbers the vector series of a tick. Real is north (or ahead),
// imaginary east (or starboard).
type vector int

const (
	vecGround   vector = iota // velocity over ground
	vecHeading                // unit vector of the heading
	vecApparent               // apparent wind: where it comes from, from the bow
	vecTrueWind               // true wind: where it comes from, from north
	numVectors
)

// channelOf returns where a quantity's values go, or -1.
func channelOf(q pgn.Quantity, engine uint8) channel {
	e := channel(engine)
	switch q {
	case pgn.SpeedOverGround:
		return chSOG
	case pgn.SpeedThroughWater:
		return chSTW
	case pgn.Pitch:
		return chPitch
	case pgn.Roll:
		return chRoll
	case pgn.Depth:
		return chDepth
	case pgn.RudderAngle:
		return chRudder
	}
	if engine >= MaxEngines {
		return -1
	}
	switch q {
	case pgn.EngineSpeed:
		return chRPM + e
	case pgn.FuelRate:
		return chFuel + e
	case pgn.EngineLoad:
		return chLoad + e
	case pgn.EngineTrim:
		return chTrim + e
	case pgn.EngineBoost:
		return chBoost + e
	}
	return -1
}

// gearUnknown stands where no transmission message was heard.
const gearUnknown = -1

// tick is one second of the day: means of the valid samples in it, NaN where
// there was none.
type tick struct {
	at      int64 // start, trial time in ns
	scalar  [numChannels]float64
	vec     [numVectors]complex128
	gear    [MaxEngines]int8
	crosses int   // times that pitch rose through its slow mean: waves met
	crossAt int64 // trial time of the last of them
	changed bool  // a source of a quantity used for steadiness changed
	burnt   float64
	power   float64 // W out of the batteries that drive the boat
	blunt   float64 // W, the step it is told in
	motors  EngineSet
	cubes   float64 // n³ of all engines, integrated over the day so far: (1/s)³ s
	tanks   tankLevel
}

// ticker gathers samples into ticks.
//
// Invariant: ticks are handed on in time order with none left out; a stretch
// without any sample gives ticks of NaN.
type ticker struct {
	out func(*tick)

	started bool
	at      int64
	sum     [numChannels]float64
	count   [numChannels]int
	vsum    [numVectors]complex128
	vcount  [numVectors]int
	gear    [MaxEngines]int8
	gearAge [MaxEngines]int
	changed bool

	held    [numChannels]float64
	age     [numChannels]int
	vheld   [numVectors]complex128
	vage    [numVectors]int
	waves   waveCounter
	levels  levelMeter
	cells   electricMeter
	motors  EngineSet // that burn nothing
	burnt   float64   // m³ since the first sample
	cubes   float64
	course  float64
	courses bool
	angle   [2]float64 // last wind angle, apparent and true
}

func newTicker(out func(*tick)) *ticker {
	t := &ticker{out: out}
	for i := range t.gear {
		t.gear[i] = gearUnknown
	}
	for i := range t.held {
		t.held[i] = math.NaN()
	}
	for i := range t.vheld {
		t.vheld[i] = cmplx.NaN()
	}
	return t
}

// add takes one sample; samples come in time order.
func (t *ticker) add(s *sample.Sample) {
	t.advance(s.Time)
	if s.State != pgn.Valid {
		return
	}
	if c := channelOf(s.Quantity, s.Instance); c >= 0 {
		t.sum[c] += s.Value
		t.count[c]++
	}
	switch s.Quantity {
	case pgn.CourseOverGround:
		t.course, t.courses = s.Value, true
	case pgn.SpeedOverGround:
		if t.courses {
			t.addVector(vecGround, cmplx.Rect(s.Value, t.course))
		}
	case pgn.Heading, pgn.HeadingMagnetic:
		t.addVector(vecHeading, cmplx.Rect(1, s.Value))
	case pgn.WindAngleApparent:
		t.angle[0] = s.Value
	case pgn.WindAngleTrue:
		t.angle[1] = s.Value
	case pgn.WindSpeedApparent:
		t.addVector(vecApparent, cmplx.Rect(s.Value, t.angle[0]))
	case pgn.WindSpeedTrue:
		t.addVector(vecTrueWind, cmplx.Rect(s.Value, t.angle[1]))
	case pgn.Gear:
		if s.Instance < MaxEngines {
			t.gear[s.Instance], t.gearAge[s.Instance] = int8(s.Value), 0
		}
	case pgn.Pitch:
		t.waves.add(s.Time, s.Value)
	case pgn.BatteryVoltage, pgn.BatteryPower:
		t.cells.add(s)
	case pgn.FluidLevel, pgn.FluidCapacity:
		t.levels.add(s)
	}
}

func (t *ticker) addVector(v vector, z complex128) {
	t.vsum[v] += z
	t.vcount[v]++
}

// advance closes ticks up to the one that holds time now.
func (t *ticker) advance(now int64) {
	if !t.started {
		t.started = true
		t.at = now - now%second
	}
	for now >= t.at+second {
		t.close()
	}
}

func (t *ticker) close() {
	k := tick{at: t.at, changed: t.changed}
	for c := range t.sum {
		if t.count[c] > 0 {
			t.held[c], t.age[c] = t.sum[c]/float64(t.count[c]), 0
		} else if t.age[c]++; t.age[c] > holdTicks {
			t.held[c] = math.NaN()
		}
		k.scalar[c] = t.held[c]
		t.sum[c], t.count[c] = 0, 0
	}
	for v := range t.vsum {
		if t.vcount[v] > 0 {
			t.vheld[v], t.vage[v] = t.vsum[v]/complex(float64(t.vcount[v]), 0), 0
		} else if t.vage[v]++; t.vage[v] > holdTicks {
			t.vheld[v] = cmplx.NaN()
		}
		k.vec[v] = t.vheld[v]
		t.vsum[v], t.vcount[v] = 0, 0
	}
	for e := range t.gear {
		// Transmissions report on change or slowly; ten seconds of silence
		// says that the sender is gone.
		if t.gearAge[e]++; t.gearAge[e] > 10 {
			t.gear[e] = gearUnknown
		}
		if f := k.scalar[chFuel+channel(e)]; !math.IsNaN(f) {
			t.burnt += f
		}
		if n := k.scalar[chRPM+channel(e)]; !math.IsNaN(n) {
			t.cubes += n * n * n
		}
	}
	k.gear, k.burnt, k.cubes, k.tanks = t.gear, t.burnt, t.cubes, t.levels.take()
	k.crosses, k.crossAt = t.waves.take()
	k.power, k.blunt = t.cells.take()
	k.motors = t.motors
	t.changed = false
	t.at += second
	t.out(&k)
}

// waveCounter counts how often pitch rises through its slow mean. Each rise is
// one wave met; their spacing is the encounter period.
type waveCounter struct {
	started    bool
	mean, amp  float64
	below      bool
	crosses    int
	crossAt    int64
	lastSample int64
}

// add takes one pitch value in rad at trial time now. The slow mean has a time
// constant of 15 s, and a rise counts once pitch has been below the mean by a
// quarter of the mean deviation, so that sensor noise is not a wave.
func (w *waveCounter) add(now int64, pitch float64) {
	if !w.started || now-w.lastSample > 5*second {
		*w = waveCounter{started: true, mean: pitch, crosses: w.crosses, crossAt: w.crossAt}
	}
	dt := float64(now-w.lastSample) / 1e9
	if w.lastSample == 0 {
		dt = 0
	}
	w.lastSample = now
	a := dt / (15 + dt)
	w.mean += a * (pitch - w.mean)
	w.amp += a * (math.Abs(pitch-w.mean) - w.amp)
	d := pitch - w.mean
	switch {
	case d < -w.amp/4:
		w.below = true
	case d > w.amp/4 && w.below:
		w.below = false
		w.crosses++
		w.crossAt = now
	}
}

func (w *waveCounter) take() (int, int64) {
	n := w.crosses
	w.crosses = 0
	return n, w.crossAt
}

// has tells whether a channel has a value in the tick.
func (k *tick) has(c channel) bool { return !math.IsNaN(k.scalar[c]) }

func (k *tick) hasVec(v vector) bool { return !cmplx.IsNaN(k.vec[v]) }

// heading returns the heading in rad, by the compass or, where there is none
// and the boat makes way, by the course over ground; NaN otherwise.
func (k *tick) heading() float64 {
	if k.hasVec(vecHeading) {
		return cmplx.Phase(k.vec[vecHeading])
	}
	if k.hasVec(vecGround) && cmplx.Abs(k.vec[vecGround]) > 1 {
		return cmplx.Phase(k.vec[vecGround])
	}
	return math.NaN()
}

// speed returns the speed over ground in m/s, through water where there is no
// satellite receiver.
func (k *tick) speed() float64 {
	if k.has(chSOG) {
		return k.scalar[chSOG]
	}
	return k.scalar[chSTW]
}

// topRPM returns the highest engine speed in 1/s; NaN if none is heard.
func (k *tick) topRPM() float64 {
	top := math.NaN()
	for e := channel(0); e < MaxEngines; e++ {
		if v := k.scalar[chRPM+e]; !math.IsNaN(v) && !(v <= top) {
			top = v
		}
	}
	return top
}

// driving returns the set of engines that push the boat ahead: in forward gear
// (or gear not heard) and turning at no less than 70 % of the fastest.
func (k *tick) driving() EngineSet {
	top := k.topRPM()
	var set EngineSet
	for e := 0; e < MaxEngines; e++ {
		v := k.scalar[chRPM+channel(e)]
		if v > 0 && v >= 0.7*top && (k.gear[e] == gearForward || k.gear[e] == gearUnknown) {
			set |= 1 << e
		}
	}
	return set
}

const (
	gearForward = 0
	gearNeutral = 1
	gearReverse = 2
)

// engaged tells whether any propeller is driven; where no gear is heard, an
// engine that turns counts when the boat makes way.
func (k *tick) engaged() bool {
	for e := 0; e < MaxEngines; e++ {
		v := k.scalar[chRPM+channel(e)]
		if !(v > 0) {
			continue
		}
		switch k.gear[e] {
		case gearForward, gearReverse:
			return true
		case gearUnknown:
			if k.speed() > restSpeed {
				return true
			}
		}
	}
	return false
}

func (k *tick) inReverse() bool {
	for e := 0; e < MaxEngines; e++ {
		if k.gear[e] == gearReverse && k.scalar[chRPM+channel(e)] > 0 {
			return true
		}
	}
	return false
}

// EngineSet is a set of engine indices, bit 0 the most port.
type EngineSet uint8

// Has tells whether engine e is in the set.
func (s EngineSet) Has(e int) bool { return s&(1<<e) != 0 }

// Count returns the number of engines in the set.
func (s EngineSet) Count() int {
	n := 0
	for ; s != 0; s &= s - 1 {
		n++
	}
	return n
}
