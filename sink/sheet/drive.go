package sheet

import (
	"strings"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

// loading tells how each engine is loaded, in words and exponents.
func (d *details) loading() part {
	p := part{Title: "How the propellers fit", Wide: true}
	burn := map[string]*results.EngineFuelCheck{}
	for i := range d.FuelCheck.Engines {
		burn[d.FuelCheck.Engines[i].Engine] = &d.FuelCheck.Engines[i]
	}
	unit, k := "burnt, L", 1.0
	if d.sys {
		unit, k = "burnt, US gal", units.USGallons(1)
	}
	t := dataTable{Head: []column{{Name: "engine"}, {Name: "fit", Class: "words"}, {Name: "load ~ rpm to the power"}, {Name: "burn ~ rpm to the power"}, {Name: unit}, {Name: "burn over the mean, %"}}}
	several := len(d.Propulsion.Engines) > 1
	for i := range d.Propulsion.Engines {
		e := &d.Propulsion.Engines[i]
		burnt, over := figure{}, figure{}
		if b := burn[e.Engine]; b != nil {
			if b.MeteredL != nil {
				burnt = plain(fixed(*b.MeteredL*k, 1))
			}
			if several {
				over = interval(b.ImbalancePct, 1)
			}
		}
		t.add(plain(e.Engine), plain(e.Statement), interval(e.LoadExponent, 2), interval(e.FuelExponent, 2), burnt, over)
	}
	p.Tables = tables(t)
	return p
}

// drives is one line a step with the engines side by side.
func (d *details) drives() part {
	p := part{Title: "Propulsion by step", Wide: true, Lines: d.absent("propeller slip", "engine power")}
	names := engineNames(d.Results)
	unit, k := "power, kW", 1.0
	if d.sys {
		unit, k = "power, hp", units.Horsepower(1)
	}
	burnUnit, burnK := "burn, "+d.sys.burnUnit(), 1.0
	if d.sys {
		burnK = units.USGallons(1)
	}
	t := dataTable{Head: heads("rpm", "apart, rpm")}
	for _, name := range []string{"slip, %", "load, %", unit, "power, % of top", "by the law, %", burnUnit, "boost, kPa"} {
		t.Head = append(t.Head, column{Name: name, Class: "list"})
	}
	of := func(x *float64, k float64) *float64 {
		if x == nil {
			return nil
		}
		y := *x * k
		return &y
	}
	mean := func(i *results.Interval, k float64) *float64 {
		if i == nil {
			return nil
		}
		return of(&i.Mean, k)
	}
	for i := range d.Propulsion.Steps {
		s := &d.Propulsion.Steps[i]
		rpm := missing
		if step := stepByID(d.Results, &s.Step); step != nil {
			rpm = fixed(step.RPM, 0)
		}
		side := func(decimals int, of func(*results.EngineDrive) *float64) figure {
			return sideBySide(s.Engines, names, decimals, of)
		}
		t.add(plain(rpm), value(s.SyncRPM, 0),
			side(1, func(e *results.EngineDrive) *float64 { return mean(e.SlipPct, 1) }),
			side(0, func(e *results.EngineDrive) *float64 { return e.LoadPct }),
			side(0, func(e *results.EngineDrive) *float64 { return of(e.PowerKW, k) }),
			side(0, func(e *results.EngineDrive) *float64 { return e.PowerPct }),
			side(0, func(e *results.EngineDrive) *float64 { return e.LawPct }),
			side(1, func(e *results.EngineDrive) *float64 { return mean(e.FuelLPH, burnK) }),
			side(0, func(e *results.EngineDrive) *float64 { return e.BoostKPa }))
	}
	p.Tables = tables(t)
	if len(p.Tables) == 0 {
		return p
	}
	if len(names) > 1 {
		p.Notes = append(p.Notes, "Port to starboard. Apart is the mean lead of the fastest engine over the slowest.")
	}
	for _, a := range d.Propulsion.Assumptions {
		p.Notes = append(p.Notes, sentence(a))
	}
	return p
}

// sideBySide joins one figure of all engines, a dash for one that has none;
// where none has one it is missing.
func sideBySide(engines []results.EngineDrive, names []string, decimals int, of func(*results.EngineDrive) *float64) figure {
	var parts []string
	any := false
	for _, name := range names {
		text := missing
		for i := range engines {
			if e := &engines[i]; e.Engine == name {
				if x := of(e); x != nil {
					text, any = fixed(*x, decimals), true
				}
			}
		}
		parts = append(parts, text)
	}
	if !any {
		return figure{}
	}
	return figure{Value: strings.Join(parts, "/\u200b")} // may wrap after a stroke
}
