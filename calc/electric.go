package calc

import (
	"math"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// ElectricDrive is what calculation is told of a boat's electric drive.
type ElectricDrive struct {
	Batteries int       // that drive the boat; 0 for none
	Motors    EngineSet // engines that burn nothing
	Usable    float64   // J that may be used: all of it less the reserve; NaN where not known
}

const (
	// voltStep and ampStep are the coarser of the steps of 127508 and 127751.
	voltStep, ampStep = 0.1, 0.1
	// dieselHeat is the lower heating value of diesel fuel, J/m³ (from memory;
	// petrol has a tenth less).
	dieselHeat = 35.9e9
	// share: a battery that gives or takes less than this part of the heat of the
	// fuel burnt at the same time does not take part in driving the boat: lights
	// and pumps are 1 to 2 % (our own judgement, no source).
	share = 0.02
	// idleBurn, m³/s: an engine that burns no more than the step of the fuel rate
	// stands still.
	idleBurn = fuelStep
)

// electricMeter gathers the power of the batteries that drive the boat, and what
// the steps of voltage and current leave unsaid of it.
type electricMeter struct {
	batteries int // that there must be
	slots     []electricSlot
}

type electricSlot struct {
	instance    uint8
	volts       float64
	sum         float64
	n, age      int
	held, blunt float64
}

func (m *electricMeter) add(s *sample.Sample) {
	k := m.find(s.Instance, s.Quantity == pgn.BatteryPower)
	switch {
	case k < 0:
	case s.Quantity == pgn.BatteryVoltage:
		m.slots[k].volts = s.Value
	default:
		m.slots[k].sum += s.Value
		m.slots[k].n++
	}
}

// find is a battery's slot, -1 for none; one that gives power gets one.
func (m *electricMeter) find(instance uint8, gives bool) int {
	for i := range m.slots {
		if m.slots[i].instance == instance {
			return i
		}
	}
	if !gives || len(m.slots) == m.batteries {
		return -1
	}
	m.slots = append(m.slots, electricSlot{instance: instance, held: math.NaN(), volts: math.NaN()})
	return len(m.slots) - 1
}

// take ends a tick and returns the power of all batteries together in W with the
// step that it is told in; NaN if one of them gives none.
func (m *electricMeter) take() (power, step float64) {
	if m.batteries == 0 || len(m.slots) < m.batteries {
		return math.NaN(), math.NaN()
	}
	for i := range m.slots {
		k := &m.slots[i]
		if k.n > 0 {
			k.held, k.age = k.sum/float64(k.n), 0
			k.blunt = math.Hypot(k.volts*ampStep, k.held/k.volts*voltStep)
		} else if k.age++; k.age > electricHold {
			k.held = math.NaN()
		}
		k.sum, k.n = 0, 0
		power += k.held
		step = math.Hypot(step, k.blunt)
	}
	return power, step
}

// electricHold, ticks, is how long a power is kept: messages come every 1.5 s
// (from memory), and one may be lost.
const electricHold = 3

// powers returns the electric power of the ticks, W, and its mean step.
func powers(w []tick) (power []float64, step float64) {
	power = make([]float64, len(w))
	n := 0
	for i := range w {
		power[i] = w[i].power
		if !math.IsNaN(w[i].blunt) {
			step += w[i].blunt
			n++
		}
	}
	return power, step / float64(max(n, 1))
}

// electric derives the window's electric figures.
func (w *Window) electric(ticks []tick) {
	p, step := powers(ticks)
	w.Power, w.PowerRatio = estimateOf(p), unknown
	if math.IsNaN(w.Power.Mean) {
		return
	}
	blunt := 0.0
	if step > 0 {
		blunt = roundingError(p, step)
	}
	w.Power = w.Power.WithFloor(blunt)
	w.PowerRatio = ratioError(gather(ticks, chSOG), p).WithFloor(blunt / math.Abs(w.Power.Mean))
}

// powerDrift returns the relative drift of the electric power of a boat that is
// driven by it alone; 0 where that is not so or not known.
func powerDrift(w []tick) float64 {
	p, _ := powers(w)
	m := stat.Mean(p) // NaN if it is not known in every tick
	if !(m > 0) || estimateOf(fuelTotal(w)).Mean > idleBurn {
		return 0
	}
	return drift(p) / m
}

// Source says what drives the boat at a step.
type Source uint8

// The sources of what drives the boat.
const (
	UnknownSource Source = iota
	ByBattery            // batteries alone
	ByFuel               // engines alone
	ByBoth
	ByFuelCharging // engines, which charge the batteries as well
)

func (s Source) String() string {
	return [...]string{"unknown", "battery", "fuel", "fuel and battery", "fuel, charging"}[s]
}

// Electric is what the batteries give at a step. Estimates that are not known are
// NaN.
type Electric struct {
	Source   Source
	Power    stat.Estimate // W
	PerMetre stat.Estimate // J/m of way through the water; negative where they are charged
	Range    stat.Estimate // m on the usable energy, where nothing else drives the boat
	Burn     stat.Estimate // m³/m, where fuel and batteries take part: the fuel's part
}

// Shared tells whether fuel and batteries both take part.
func (e *Electric) Shared() bool { return e.Source == ByBoth || e.Source == ByFuelCharging }

// electric gives a step its electric figures, averaged as the fuel is. Where fuel
// and batteries both take part, neither way per fuel nor range is a figure of the
// boat: they are taken away, and the parts stand side by side in Electric.
func (s *Step) electric(mean func(func(*Window) stat.Estimate) stat.Estimate, drift float64, b Boat) {
	e := &s.Electric
	*e = Electric{Power: mean(func(w *Window) stat.Estimate { return w.Power }), PerMetre: unknown, Range: unknown, Burn: unknown}
	if math.IsNaN(e.Power.Mean) {
		return
	}
	relative := mean(func(w *Window) stat.Estimate { return w.PowerRatio.WithFloor(gnssFloor / w.SOG.Mean) }).WithFloor(drift / s.Speed.Mean)
	e.Source = s.source(b.Electric.Motors)
	e.PerMetre = EnergyPerMetre(e.Power, s.Speed, relative)
	switch {
	case e.Source == ByBattery:
		e.Range = rangeOn(b.Electric.Usable, e.PerMetre)
	case e.Shared():
		way := s.Economy
		e.Burn = stat.Estimate{Mean: 1 / way.Mean, SE: way.SE / (way.Mean * way.Mean), DOF: way.DOF}
		s.Economy, s.Range, s.BurnOff = unknown, unknown, math.NaN()
	}
}

// source is what drives the boat. It is not known where an engine that is no motor
// gives no fuel rate.
func (s *Step) source(motors EngineSet) Source {
	power, fuel := s.Electric.Power, s.Fuel.Mean
	lo, _ := power.Interval()
	heat := share * dieselHeat * fuel
	switch {
	case math.IsNaN(fuel) && s.mayBurn(motors):
		return UnknownSource
	case fuel > idleBurn && power.Mean > heat:
		return ByBoth
	case fuel > idleBurn && power.Mean < -heat:
		return ByFuelCharging
	case fuel > idleBurn:
		return ByFuel
	case lo > 0:
		return ByBattery
	}
	return UnknownSource
}

// mayBurn tells that fuel was burnt, or may have been for all that is known.
func (s *Step) mayBurn(motors EngineSet) bool {
	if math.IsNaN(s.Fuel.Mean) {
		return s.Engines&^motors != 0
	}
	return s.Fuel.Mean > idleBurn
}

// EnergyPerMetre returns the energy for the way, P/V in J/m. Relative is the
// relative error of the ratio, in which the correlation of power and speed is
// accounted for.
func EnergyPerMetre(power, speed, relative stat.Estimate) stat.Estimate {
	if !(speed.Mean > 0) {
		return unknown
	}
	e := power.Mean / speed.Mean
	return stat.Estimate{Mean: e, SE: math.Abs(e) * relative.SE, DOF: relative.DOF}
}

// rangeOn is the way in m on so much energy in J.
func rangeOn(energy float64, perMetre stat.Estimate) stat.Estimate {
	d := energy / perMetre.Mean
	return stat.Estimate{Mean: d, SE: d * perMetre.SE / perMetre.Mean, DOF: perMetre.DOF}
}

// BestByEnergy picks among the steps that batteries alone drove, as FindBest does
// among all: in what it returns Fuel is power in W, and Economy way per energy in
// m/J.
func BestByEnergy(steps []Step, b Boat) Best {
	var driven []Step
	for _, s := range steps {
		if s.Electric.Source != ByBattery {
			continue
		}
		p := s.Electric.PerMetre
		s.Fuel, s.Range = s.Electric.Power, s.Electric.Range
		s.Economy = stat.Estimate{Mean: 1 / p.Mean, SE: p.SE / (p.Mean * p.Mean), DOF: p.DOF}
		driven = append(driven, s)
	}
	return FindBest(driven, b)
}

// Reversed tells whether the batteries seem to be charged at every step that is
// known to have burnt nothing, of which there is one: their current has the other
// sign.
func Reversed(steps []Step, motors EngineSet) bool {
	seen := false
	for i := range steps {
		s := &steps[i]
		if math.IsNaN(s.Electric.Power.Mean) || s.mayBurn(motors) {
			continue
		}
		if _, hi := s.Electric.Power.Interval(); !(hi < 0) {
			return false
		}
		seen = true
	}
	return seen
}
