package results

import (
	"slices"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/energy"
	"trialday.example/logd/sink/results/units"
)

// Kinds of electric drive.
const (
	ElectricDrive = "electric" // burns nothing
	HybridDrive   = "hybrid"
)

// Electric is what the batteries that drive the boat gave. It is not there where
// none does. Power is positive out of the batteries. Figures of fuel and of
// batteries stand side by side and are never added up.
type Electric struct {
	Drive      string         `json:"drive"` // electric, hybrid
	UsableKWh  *float64       `json:"usable_kwh"`
	ReservePct float64        `json:"reserve_pct"`
	RangeKWh   *float64       `json:"range_kwh"` // what range is worked out on: usable less the reserve
	Batteries  []DriveBattery `json:"batteries"`
	UsedKWh    *float64       `json:"used_kwh"`    // over the day, charging not taken off
	ChargedKWh *float64       `json:"charged_kwh"` // over the day, by shore, engine or propeller
	CountedPct *float64       `json:"counted_pct"` // of the day in which both were counted
	WhPerNM    *float64       `json:"wh_per_nm"`   // used over the distance of the day; null for a hybrid
	DistanceNM *float64       `json:"distance_nm"`
	Steps      []ElectricStep `json:"steps"` // by rising rpm, each of the steps
	Best       ElectricBest   `json:"best"`
	JudgedBy   string         `json:"steadiness_judged_by"`
}

// DriveBattery is one of the batteries that drive the boat.
type DriveBattery struct {
	Instance       int      `json:"instance"`
	VoltageV       *float64 `json:"voltage_v"` // mean
	UsedKWh        *float64 `json:"used_kwh"`
	ChargedKWh     *float64 `json:"charged_kwh"`
	ChargeStartPct *float64 `json:"charge_start_pct"` // state of charge
	ChargeEndPct   *float64 `json:"charge_end_pct"`
	// CapacityKWh is all that it holds, by what it gave against the fall of its
	// state of charge; the interval is that of the readings' rounding alone.
	CapacityKWh *Interval `json:"capacity_by_charge_kwh"`
}

// ElectricStep is the electric side of a step.
type ElectricStep struct {
	Step     int       `json:"step"`
	Source   string    `json:"source"` // battery, fuel, fuel and battery; fuel, charging; unknown
	PowerKW  *Interval `json:"power_kw"`
	WhPerNM  *Interval `json:"wh_per_nm"`
	NMPerKWh *Interval `json:"nm_per_kwh"` // where batteries alone drive
	RangeNM  *Interval `json:"range_nm"`   // likewise
	// FuelLPerNM is the fuel's part where fuel and batteries take part.
	FuelLPerNM *Interval `json:"fuel_l_per_nm"`
}

// ElectricBest points into the steps by id, among those that batteries alone
// drove; null where it could not be derived.
type ElectricBest struct {
	TopSpeedStep    *int            `json:"top_speed_step"`
	EnergyStep      *int            `json:"best_energy_step"` // least energy for the way
	PlaningStep     *int            `json:"best_planing_energy_step"`
	LevelSteps      []int           `json:"level_energy_steps"` // not distinguishable from the best planing step
	PlaningTop      ElectricOptimum `json:"planing_optimum"`    // of the curve of way per energy over speed
	DisplacementTop ElectricOptimum `json:"displacement_optimum"`
}

// ElectricOptimum is the top of a curve of way per energy over speed; null where it
// could not be had, and Why says why.
type ElectricOptimum struct {
	SpeedKn  *Interval `json:"speed_kn"`
	NMPerKWh *Interval `json:"nm_per_kwh"`
	Steps    int       `json:"steps"` // that the curve was fitted to
	Why      string    `json:"why"`
}

const (
	joulesPerKWh = 3.6e6
	whPerNM      = units.MetresPerNauticalMile / 3600 // of J/m
	nmPerKWh     = joulesPerKWh / units.MetresPerNauticalMile
)

// DriveOf tells what batteries and fuel have to do with the boat; "" where no
// battery drives it.
func DriveOf(batteries int, burns bool) string {
	switch {
	case batteries == 0:
		return ""
	case burns:
		return HybridDrive
	}
	return ElectricDrive
}

// AddElectric fills in the electric side. UsableJ is what the batteries hold, NaN
// where not known, reserve a ratio of it, distance the day's in m.
func (r *Results) AddElectric(rep *calc.Report, drive string, list []energy.Battery, usableJ, reserve, distance float64) {
	e := &Electric{Drive: drive, ReservePct: reserve * 100, DistanceNM: scaled(distance, 1/units.MetresPerNauticalMile),
		UsableKWh: scaled(usableJ, 1/joulesPerKWh), RangeKWh: scaled(usableJ*(1-reserve), 1/joulesPerKWh),
		JudgedBy: "speed of the motors (PGN 127488), speed over ground, heading and electric power; it needs no fuel meter"}
	if drive == HybridDrive {
		e.JudgedBy = "speed of engines and motors (PGN 127488), speed over ground, heading, and fuel rate or electric power"
	}
	var used, charged, counted float64
	list = slices.SortedFunc(slices.Values(list), func(a, b energy.Battery) int { return int(a.Instance) - int(b.Instance) })
	for i := range list {
		if b := &list[i]; b.Drives {
			e.Batteries = append(e.Batteries, driveBattery(b))
			used, charged = used+b.Out, charged+b.In
			counted += b.Counted
		}
	}
	if n := float64(len(e.Batteries)); counted > 0 {
		e.UsedKWh, e.ChargedKWh = scaled(used, 1/joulesPerKWh), scaled(charged, 1/joulesPerKWh)
		e.CountedPct = scaled(counted/n/(float64(rep.End-rep.Start)/1e9), 100)
		if drive == ElectricDrive && distance > 0 {
			e.WhPerNM = scaled(used/distance, whPerNM)
		}
	}
	r.Electric = e.At(rep)
}

// At is e with the steps of a report and the best of them.
func (e *Electric) At(rep *calc.Report) *Electric {
	out := *e
	out.Steps, out.Best = nil, electricBest(&rep.Energy)
	for i := range rep.Steps {
		out.Steps = append(out.Steps, electricStep(&rep.Steps[i]))
	}
	return &out
}

func driveBattery(b *energy.Battery) DriveBattery {
	out := DriveBattery{Instance: int(b.Instance), VoltageV: scaled(b.Volts, 1), ChargeStartPct: scaled(b.First, 100),
		ChargeEndPct: scaled(b.Last, 100), CapacityKWh: interval(b.Capacity(), 1/joulesPerKWh)}
	if b.Counted > 0 {
		out.UsedKWh, out.ChargedKWh = scaled(b.Out, 1/joulesPerKWh), scaled(b.In, 1/joulesPerKWh)
	}
	return out
}

func electricStep(s *calc.Step) ElectricStep {
	e := &s.Electric
	out := ElectricStep{Step: s.ID, Source: e.Source.String(), PowerKW: interval(e.Power, 1e-3), WhPerNM: interval(e.PerMetre, whPerNM),
		RangeNM: interval(e.Range, 1/units.MetresPerNauticalMile), FuelLPerNM: interval(e.Burn, 1000*units.MetresPerNauticalMile)}
	if e.Source == calc.ByBattery {
		out.NMPerKWh = inverse(e.PerMetre.Scale(1 / nmPerKWh))
	}
	return out
}

func electricBest(b *calc.Best) ElectricBest {
	out := ElectricBest{TopSpeedStep: id(b.TopSpeed), EnergyStep: id(b.Economy), PlaningStep: id(b.PlaningEconomy), LevelSteps: b.Level,
		PlaningTop: electricOptimum(&b.PlaningTop), DisplacementTop: electricOptimum(&b.DisplacementTop)}
	for _, o := range []*ElectricOptimum{&out.PlaningTop, &out.DisplacementTop} {
		if b.Economy == 0 {
			o.Why = "no step was driven by batteries alone"
		}
	}
	return out
}

func electricOptimum(o *calc.Optimum) ElectricOptimum {
	if !o.OK {
		return ElectricOptimum{Why: o.Why}
	}
	return ElectricOptimum{interval(o.Speed, units.Knots(1)), interval(o.Economy, nmPerKWh), o.Steps, ""}
}

// Alone is the electric side of a step that batteries alone drove; nil for none.
func (e *Electric) Alone(step int) *ElectricStep {
	if s := e.Of(step); s != nil && s.NMPerKWh != nil {
		return s
	}
	return nil
}

// Of is the electric side of a step; nil for none.
func (e *Electric) Of(step int) *ElectricStep {
	if e == nil {
		return nil
	}
	for i := range e.Steps {
		if e.Steps[i].Step == step {
			return &e.Steps[i]
		}
	}
	return nil
}
