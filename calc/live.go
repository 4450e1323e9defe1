package calc

import (
	"math"
	"math/cmplx"
)

// Moment is one second of the day: means over it, NaN where nothing was heard.
type Moment struct {
	At      int64   // start, trial time, ns
	SOG     float64 // m/s
	STW     float64 // m/s
	Course  float64 // rad, over ground
	Heading float64 // rad, by the compass
	Pitch   float64 // rad
	Roll    float64 // rad
	Depth   float64 // m
	Fuel    float64 // m³/s, all engines; NaN unless each that runs gives it
	Power   float64 // W out of all batteries that drive the boat; NaN unless each gives it
	RPM     [MaxEngines]float64
	Rate    [MaxEngines]float64 // m³/s
	Load    [MaxEngines]float64 // ratio
	Trim    [MaxEngines]float64 // ratio
	// Gear is 0 forward, 1 neutral, 2 reverse; below 0 where not heard.
	Gear [MaxEngines]int8
}

func (k *tick) moment() Moment {
	m := Moment{
		At: k.at, SOG: k.scalar[chSOG], STW: k.scalar[chSTW],
		Course: cmplx.Phase(k.vec[vecGround]), Heading: cmplx.Phase(k.vec[vecHeading]),
		Pitch: k.scalar[chPitch], Roll: k.scalar[chRoll], Depth: k.scalar[chDepth],
		Fuel: fuelTotal([]tick{*k})[0], Power: k.power, Gear: k.gear,
	}
	copy(m.RPM[:], k.scalar[chRPM:])
	copy(m.Rate[:], k.scalar[chFuel:])
	copy(m.Load[:], k.scalar[chLoad:])
	copy(m.Trim[:], k.scalar[chTrim:])
	return m
}

// Each has f called with every second of the day, in order and none left out,
// as soon as it is over. It must be set before the first sample.
func (t *Trial) Each(f func(*Moment)) { t.live.each = f }

// Heard are the engines that sent their speed so far.
func (t *Trial) Heard() EngineSet { return t.found.Heard }

// liveState is what looking on needs beside the trial.
type liveState struct {
	each   func(*Moment)
	from   stepsFrom // that steps are of
	steps  []StepSoFar
	judged judgedPart // that hold is of
	hold   Hold
}

func (s *liveState) tick(k *tick) {
	if s.each != nil {
		m := k.moment()
		s.each(&m)
	}
}

// Live is how a trial stands.
type Live struct {
	Now Moment // the last whole second
	// Run is the present one, until now. A change of kind counts once it has
	// lasted, so its end lies a few seconds back when it is found. Known is
	// false in the first seconds of a day.
	Run   Run
	Known bool
	Hold  Hold
	Steps []StepSoFar
	Heard EngineSet // that sent their speed so far
}

// Live tells how the trial stands, with the amendments made and the frozen
// stretches found so far; ok is false before the first whole second. It changes
// nothing in the trial.
//
// What it costs does not grow with the length of a run or of the day: steady
// stretches are looked for in the last viewTicks of the run at the most, seldom
// in a long one, and steps are derived again only when a window, an amendment or a
// frozen stretch was added.
func (t *Trial) Live(amendments []Amendment, frozen []Frozen) (l Live, ok bool) {
	c := t.cutter
	if len(c.ticks) == 0 {
		return Live{}, false
	}
	last := &c.ticks[len(c.ticks)-1]
	l = Live{Now: last.moment(), Known: c.begun, Heard: t.found.Heard, Steps: t.stepsSoFar(amendments, frozen)}
	l.Run = Run{ID: len(t.found.Runs) + 1, Kind: c.kind, Start: c.ticks[0].at, End: last.at + second}
	l.Hold = t.hold()
	return l, true
}

// circularMean returns the direction of the mean of unit vectors; NaN for none.
func circularMean(angles []float64) float64 {
	var u complex128
	for _, a := range angles {
		u += cmplx.Rect(1, a)
	}
	if u == 0 {
		return math.NaN()
	}
	return cmplx.Phase(u)
}
