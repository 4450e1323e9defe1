package day

import (
	"fmt"
	"slices"
	"strings"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/energy"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/results"
)

// electricDrive turns the configuration into what calculation needs, in SI.
func electricDrive(c *configs.Config) calc.ElectricDrive {
	d := calc.ElectricDrive{Batteries: len(c.Battery.Instances), Usable: usableEnergy(c) * (1 - c.Battery.ReservePct/100)}
	for i, e := range c.Engines {
		if e.Electric && i < calc.MaxEngines {
			d.Motors |= 1 << i
		}
	}
	if burnsNothing(c) {
		d.Motors = 1<<calc.MaxEngines - 1
	}
	return d
}

// usableEnergy is in J, NaN where it is not known.
func usableEnergy(c *configs.Config) float64 { return known(c.Battery.UsableKWh) * 3.6e6 }

func burnsNothing(c *configs.Config) bool { return c.Fuel.Kind == "none" }

func newEnergy(c *configs.Config) energy.Watch {
	discharge := -1.0
	if c.Battery.Discharge == "positive" {
		discharge = 1
	}
	return energy.New(c.Battery.Instances, discharge)
}

// electric adds the electric side: its figures, what of them is missing and for
// want of what, and what is wrong. A boat that burns nothing is not told what its
// fuel meters lack.
// Before is the report without amendments, nil where there is none.
func (d *document) electric(r *results.Results, rep, before *calc.Report) {
	c := &d.Config
	if burnsNothing(c) {
		r.Missing = slices.DeleteFunc(r.Missing, func(m results.MissingFigure) bool {
			return slices.Contains(ofFuel, m.Figure) || strings.Contains(m.Why, "no fuel rate")
		})
		r.Vessel.Mass = slices.DeleteFunc(r.Vessel.Mass, func(m results.MassItem) bool { return m.Name == "fuel" && m.Kg == 0 })
		r.Findings = slices.DeleteFunc(r.Findings, func(f results.Finding) bool { return f.Kind == "day_burn" })
		r.DayBurn = nil
	}
	if drive := results.DriveOf(len(c.Battery.Instances), !burnsNothing(c)); drive != "" {
		r.AddElectric(rep, drive, d.Energy, usableEnergy(c), c.Battery.ReservePct/100, d.Burn.Distance)
		if before != nil {
			r.OriginalElectric = r.Electric.At(before)
		}
		r.Missing = append(r.Missing, d.missingEnergy(rep)...)
		r.Findings = append(r.Findings, d.reversedCurrent(rep)...)
		return
	}
	r.Missing = append(r.Missing, d.unnamedBattery(rep)...)
}

// ofFuel are the missing figures that a boat without fuel has no use for.
var ofFuel = []string{"fuel burn", "economy", "range", "CO2 and cost per nautical mile", "fuel meter check", "burn of the day"}

// missingEnergy names the electric figures that could not be derived.
func (d *document) missingEnergy(rep *calc.Report) []results.MissingFigure {
	c := &d.Config
	var out []results.MissingFigure
	add := func(why string, figures ...string) {
		for _, f := range figures {
			out = append(out, results.MissingFigure{Figure: f, Why: why})
		}
	}
	on := rangeName(c)
	switch why := d.noPower(); {
	case why != "":
		add(why, "energy per mile", "energy of the day", on)
	case !rep.HasPower:
		add("the batteries that drive the boat never gave voltage and current at one time (PGN 127508 or 127751)", "energy per mile", on)
	case d.reversed(rep):
		add("the current of the batteries reads the wrong way round, see the findings", "energy per mile", on)
	case len(rep.Steps) > 0 && rep.Energy.Economy == 0:
		add("at no step did batteries alone drive the boat", "energy per mile", on)
	case c.Battery.UsableKWh == nil:
		add("battery.usable_kwh is not configured: the energy that the maker says can be used", on)
	}
	if why := d.noCharge(); why != "" {
		add(why, "state of charge")
	}
	return out
}

// rangeName tells the range on batteries from that on fuel, where there are both.
func rangeName(c *configs.Config) string {
	if burnsNothing(c) {
		return "range"
	}
	return "range on batteries"
}

// battery is what was heard of one; all of nothing where nothing was.
func (d *document) battery(instance int) energy.Battery {
	for _, b := range d.Energy {
		if int(b.Instance) == instance {
			return b
		}
	}
	return energy.Battery{}
}

// noPower says why the power of the batteries is not known; "" where nothing lacks.
func (d *document) noPower() string {
	for _, n := range d.Config.Battery.Instances {
		b := d.battery(n)
		for _, q := range []struct {
			name, remedy string
			heard        *energy.Heard
		}{
			{"voltage", "a battery monitor gives it", &b.Voltages},
			{"current", "a battery monitor with a current sensor in the battery's cable gives it", &b.Currents},
		} {
			switch q.heard.Missing() {
			case "not heard":
				return fmt.Sprintf("no value of the %s of battery %d was heard (PGN 127508 or 127751); %s", q.name, n, q.remedy)
			case "not available":
				return fmt.Sprintf("battery %d sends its %s as not available (PGN 127508 or 127751); %s", n, q.name, q.remedy)
			case "out of range":
				return fmt.Sprintf("battery %d sends its %s as out of range (PGN 127508 ends at 327 V and 3276 A); PGN 127751 goes further", n, q.name)
			}
		}
	}
	return ""
}

// noCharge says why the state of charge is not known; "" where it is.
func (d *document) noCharge() string {
	for _, n := range d.Config.Battery.Instances {
		b := d.battery(n)
		switch b.Charges.Missing() {
		case "not heard":
			return fmt.Sprintf("no state of charge of battery %d was heard (PGN 127506); a battery monitor gives it", n)
		case "not available", "out of range":
			return fmt.Sprintf("battery %d sends its state of charge as %s (PGN 127506)", n, b.Charges.Missing())
		}
	}
	return ""
}

// driving, V: batteries of lights and starters have 12 or 24 V, and those that
// drive boats 36 V or more (common practice, no source).
const driving = 30.0

// DriveBatteries lists the batteries heard whose voltage is that of one that
// drives a boat.
func DriveBatteries(list []energy.Battery) (out []energy.Battery) {
	for _, b := range list {
		if b.Volts >= driving {
			out = append(out, b)
		}
	}
	return out
}

// unnamedBattery tells of batteries that seem to drive the boat but are not
// configured to, and of a boat without fuel of which none was heard.
func (d *document) unnamedBattery(rep *calc.Report) []results.MissingFigure {
	var heard []string
	for _, b := range DriveBatteries(d.Energy) {
		heard = append(heard, fmt.Sprintf("battery %d of %.0f V", b.Instance, b.Volts))
	}
	why := "no voltage and current of a battery that drives the boat was heard (PGN 127508 or 127751); a battery monitor gives them, and battery.instances says which battery it is"
	switch {
	case len(heard) > 0:
		why = strings.Join(heard, " and ") + " was heard; if it drives the boat name it in battery.instances, and set fuel.kind: none where no fuel does"
	case !burnsNothing(&d.Config):
		return nil
	}
	out := []results.MissingFigure{{Figure: "energy per mile", Why: why}}
	if burnsNothing(&d.Config) {
		out = append(out, results.MissingFigure{Figure: "range", Why: why})
	}
	return out
}

func (d *document) reversed(rep *calc.Report) bool {
	return calc.Reversed(rep.Steps, electricDrive(&d.Config).Motors)
}

// reversedCurrent tells that batteries seem to be charged by driving.
func (d *document) reversedCurrent(rep *calc.Report) []results.Finding {
	if !d.reversed(rep) {
		return nil
	}
	return []results.Finding{{
		Kind: "battery_sign", Sure: "certain: so it is at every step without fuel",
		What:    "the current of the batteries has the sign of charging while the motors drive the boat",
		Meaning: "energy per mile and range cannot be derived; speeds are not concerned",
		Remedy:  "set battery.discharge to the other sign, or turn the current sensor round",
	}}
}

// batteryLamp tells whether the power of the batteries that drive the boat is
// heard; ok is false where none does.
func (d *Day) batteryLamp(now int64) (l results.Lamp, ok bool) {
	all := d.cfg.Battery.Instances
	if len(all) == 0 {
		return l, false
	}
	never, gone := d.energy.Silent(all, now-gapLimit)
	l = results.Lamp{Name: "battery power", State: good, Text: "heard: " + batteryList(all)}
	switch {
	case len(never) > 0:
		l.State, l.Text = bad, batteryList(never)+": no voltage and current together (PGN 127508 or 127751); no energy per mile and no range"
	case len(gone) > 0:
		l.State, l.Text = bad, batteryList(gone)+": no power any more; a plug out, or the monitor switched off?"
	}
	return l, true
}

func batteryList(instances []int) string {
	var out []string
	for _, i := range instances {
		out = append(out, fmt.Sprintf("battery %d", i))
	}
	return strings.Join(out, ", ")
}
