package compare

import "trialday.example/logd/sink/results"

// quantity is a figure of steps that is compared: its column and its plot.
type quantity struct {
	name, unit string
	key        string // in CSV
	digits     int
	relative   bool // its difference is told in per cent
	of         func(*results.Results, *results.Step) *results.Interval
	figure     func(*Row) *Figure
}

// quantities are all that are compared. Of batteries it is what they give where they
// alone drive: their part beside fuel is no figure of the boat.
var quantities = []quantity{
	{"speed", "kn", "speed_kn", 2, false, func(_ *results.Results, s *results.Step) *results.Interval { return &s.SpeedKn },
		func(r *Row) *Figure { return &r.Speed }},
	{"burn", "L/h", "fuel_l_per_h", 1, false, burn, func(r *Row) *Figure { return &r.Fuel }},
	{"economy", "nm/L", "economy_nm_per_l", 3, true, func(_ *results.Results, s *results.Step) *results.Interval { return s.EconomyNMPerL },
		func(r *Row) *Figure { return &r.Economy }},
	{"battery power", "kW", "battery_power_kw", 2, false, onBatteries(func(e *results.ElectricStep) *results.Interval { return e.PowerKW }),
		func(r *Row) *Figure { return &r.Power }},
	{"energy per mile", "Wh/nm", "battery_energy_wh_per_nm", 0, true, onBatteries(func(e *results.ElectricStep) *results.Interval { return e.WhPerNM }),
		func(r *Row) *Figure { return &r.Energy }},
}

// shown are those that there can be on one of the sides, in the order of quantities.
func (c *Comparison) shown() []quantity {
	fuel, batteries := false, false
	for _, side := range []Side{c.A, c.B} {
		e := side.Results.Electric
		batteries = batteries || e != nil
		fuel = fuel || e == nil || e.Drive != results.ElectricDrive
	}
	out := quantities[:1:1]
	if fuel {
		out = append(out, quantities[1:3]...)
	}
	if batteries {
		out = append(out, quantities[3:]...)
	}
	return out
}

// burn is that of steps that fuel has a part in: a curve through the others would
// begin where the engine stands still.
func burn(r *results.Results, s *results.Step) *results.Interval {
	if drivenBy(r, s) == "battery" {
		return nil
	}
	return s.FuelLPH
}

// onBatteries is a figure of the steps that batteries alone drove.
func onBatteries(of func(*results.ElectricStep) *results.Interval) func(*results.Results, *results.Step) *results.Interval {
	return func(r *results.Results, s *results.Step) *results.Interval {
		if e := r.Electric.Alone(s.ID); e != nil {
			return of(e)
		}
		return nil
	}
}

// drivenBy is what drives the boat at a step.
func drivenBy(r *results.Results, s *results.Step) string {
	if r.Electric == nil {
		return "fuel"
	}
	if e := r.Electric.Of(s.ID); e != nil {
		return e.Source
	}
	return "unknown"
}

// drive is what drives the boat.
func drive(r *results.Results) string {
	switch {
	case r.Electric == nil:
		return "fuel"
	case r.Electric.Drive == results.HybridDrive:
		return "fuel and batteries"
	}
	return "batteries"
}
