package sheet

import (
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

// system tells which units stand first. Knots and nautical miles belong to
// neither and always do; both systems are shown wherever there is room.
type system bool

const (
	metric system = false
	us     system = true
)

func systemOf(r *results.Results) system { return r.Trial.Units == "us" }

// first returns what stands first.
func (s system) first(metric, us string) string {
	if s {
		return us
	}
	return metric
}

// pair renders one quantity in both systems.
func (s system) pair(metric, us string) string {
	if s {
		metric, us = us, metric
	}
	return metric + " (" + us + ")"
}

// beside renders one quantity in both systems, for a line of its own.
func (s system) beside(metric, us string) string {
	if s {
		metric, us = us, metric
	}
	return metric + " · " + us
}

func (s system) length(m float64, decimals int) string {
	return s.pair(quantity(fixed(m, decimals), "m"), quantity(fixed(units.Feet(m), decimals), "ft"))
}

// distance is a length in whole metres or feet; "" where not known.
func (s system) distance(m *float64) string {
	if m == nil {
		return ""
	}
	return s.length(*m, 0)
}

func (s system) mass(kg float64) string {
	return s.pair(quantity(fixed(kg, 0), "kg"), quantity(fixed(units.Pounds(kg), 0), "lb"))
}

func (s system) volume(l float64) string {
	return s.pair(quantity(fixed(l, 0), "L"), quantity(fixed(units.USGallons(l), 0), "US gal"))
}

func (s system) burn(lph float64) string {
	return s.beside(quantity(fixed(lph, 1), "L/h"), quantity(fixed(units.USGallons(lph), 1), "US gal/h"))
}

// burnUnit and economyUnit are what burn and economy are drawn in.
func (s system) burnUnit() string    { return s.first("L/h", "US gal/h") }
func (s system) economyUnit() string { return s.first("nm/L", "nm/US gal") }

func (s system) burnOf(step *results.Step) *results.Interval {
	if s {
		return step.FuelUSGPH
	}
	return step.FuelLPH
}

func (s system) economyOf(step *results.Step) *results.Interval {
	if s {
		return step.EconomyNMPGal
	}
	return step.EconomyNMPerL
}

// scaled returns i times k.
func scaled(i *results.Interval, k float64) *results.Interval {
	if i == nil {
		return nil
	}
	return &results.Interval{Mean: i.Mean * k, Lo95: i.Lo95 * k, Hi95: i.Hi95 * k}
}
