package day

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/energy"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/pgn"
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

func driveOf(c *configs.Config) string {
	return results.DriveOf(len(c.Battery.Instances), !burnsNothing(c))
}

func burnsNothing(c *configs.Config) bool { return c.Fuel.Kind == "none" }

func newEnergy(c *configs.Config) energy.Watch {
	discharge := -1.0
	if c.Battery.Discharge == "positive" {
		discharge = 1
	}
	return energy.New(c.Battery.Instances, discharge)
}

// electric adds the electric side: its figures, what of them is missing and for
// want of what, and what is wrong. Before is the report without amendments, nil
// where there is none.
func (d *document) electric(r *results.Results, rep, before *calc.Report) {
	c := &d.Config
	if drive := driveOf(c); drive != "" {
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
		add(neverAlone(rep), "energy per mile", on)
	case c.Battery.UsableKWh == nil:
		add("battery.usable_kwh is not configured: the energy that the maker says can be used", on)
	}
	if why := d.noCharge(); why != "" {
		add(why, "state of charge")
	}
	return out
}

// neverAlone says why there is no step that batteries alone drove.
func neverAlone(rep *calc.Report) string {
	for i := range rep.Steps {
		if s := &rep.Steps[i]; s.Electric.Source == calc.UnknownSource && math.IsNaN(s.Fuel.Mean) && !math.IsNaN(s.Electric.Power.Mean) {
			return "without a fuel rate (" + pgn.FuelRate.Ways() + ") it is not known at which steps batteries alone drove the boat"
		}
	}
	return "at no step did batteries alone drive the boat"
}

// rangeName tells the range on batteries from that on fuel, where there are both.
func rangeName(c *configs.Config) string {
	if burnsNothing(c) {
		return "range"
	}
	return "range on batteries"
}

// noPower says why the power of the batteries is not known; "" where nothing lacks.
func (d *document) noPower() string { return noPower(d.Energy, d.Config.Battery.Instances) }

func noPower(list []energy.Battery, instances []int) string {
	return cmp.Or(BatteryLacks(list, instances, pgn.BatteryVoltage), BatteryLacks(list, instances, pgn.BatteryCurrent))
}

// batteryValue is a value that batteries give: the messages it comes in, what helps
// where it is out of range and where it is not sent, and what was heard of it.
type batteryValue struct {
	name, ways, beyond, remedy string
	heard                      func(*energy.Battery) *energy.Heard
}

var batteryValues = map[pgn.Quantity]batteryValue{
	pgn.BatteryVoltage: {"voltage", "PGN 127508 or 127751", "PGN 127508 ends at 327 V; a monitor that sends PGN 127751 gives it", "a battery monitor gives it",
		func(b *energy.Battery) *energy.Heard { return &b.Voltages }},
	pgn.BatteryCurrent: {"current", "PGN 127508 or 127751", "PGN 127508 ends at 3276 A; a monitor that sends PGN 127751 gives it",
		"a battery monitor with a current sensor in the battery's cable gives it", func(b *energy.Battery) *energy.Heard { return &b.Currents }},
	pgn.StateOfCharge: {"state of charge", "PGN 127506", "PGN 127506; another battery monitor may give it", "a battery monitor gives it",
		func(b *energy.Battery) *energy.Heard { return &b.Charges }},
}

// BatteryLacks says why some of the batteries have no value of a quantity, and what
// would give it; "" where all have one. Out of range, not available and not heard are
// three different things.
func BatteryLacks(list []energy.Battery, instances []int, q pgn.Quantity) string {
	v := batteryValues[q]
	lack := map[string][]int{}
	for _, n := range instances {
		b := energy.Battery{}
		if i := slices.IndexFunc(list, func(b energy.Battery) bool { return int(b.Instance) == n }); i >= 0 {
			b = list[i]
		}
		why := v.heard(&b).Missing()
		lack[why] = append(lack[why], n)
	}
	switch {
	case lack["out of range"] != nil:
		return fmt.Sprintf("the %s of %s is sent as out of range: %s", v.name, batteryList(lack["out of range"]), v.beyond)
	case lack["not available"] != nil:
		return fmt.Sprintf("the %s of %s is sent as not available (%s); %s", v.name, batteryList(lack["not available"]), v.ways, v.remedy)
	case lack["not heard"] != nil:
		return fmt.Sprintf("no %s of %s was heard (%s); %s", v.name, batteryList(lack["not heard"]), v.ways, v.remedy)
	}
	return ""
}

// noCharge says why the state of charge is not known; "" where it is.
func (d *document) noCharge() string {
	return BatteryLacks(d.Energy, d.Config.Battery.Instances, pgn.StateOfCharge)
}

// driving, V: batteries of lights and starters have 12 or 24 V, and those that
// drive boats 36 V or more (common practice, no source).
const driving = 30.0

// DriveBatteries lists the batteries heard whose voltage is that of one that
// drives a boat: a voltage that is out of range is above it.
func DriveBatteries(list []energy.Battery) (out []energy.Battery) {
	for _, b := range list {
		if b.Volts >= driving || b.Voltages.Missing() == "out of range" {
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
		words := fmt.Sprintf("battery %d of %.0f V", b.Instance, b.Volts)
		if math.IsNaN(b.Volts) {
			words = fmt.Sprintf("battery %d with a voltage out of range (PGN 127508 ends at 327 V)", b.Instance)
		}
		heard = append(heard, words)
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

// electricNow adds the electric side of what goes on, where batteries drive the boat.
func (d *Day) electricNow(l *results.Live, s *calc.Live) {
	drive := driveOf(&d.cfg)
	if drive == "" {
		return
	}
	var charges []float64
	for _, n := range d.cfg.Battery.Instances {
		// It changes slowly, and is shown as the present one for as long as a device may
		// be silent before another takes over.
		charges = append(charges, d.energy.Charge(n, d.decoder.Now()-choose.Charge.Patience()))
	}
	l.AddElectric(drive, s, d.cfg.Battery.Instances, charges)
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
		l.State, l.Text = bad, cmp.Or(noPower(d.energy.Evidence(), never), batteryList(never)+": no voltage and current together (PGN 127508 or 127751)")+"; no energy per mile and no range"
	case len(gone) > 0:
		l.State, l.Text = bad, batteryList(gone)+": no power any more; a plug out, or the monitor switched off?"
	}
	return l, true
}

func batteryList(instances []int) string {
	if len(instances) == 1 {
		return fmt.Sprintf("battery %d", instances[0])
	}
	last := len(instances) - 1
	return fmt.Sprintf("batteries %s and %d", strings.Trim(strings.ReplaceAll(fmt.Sprint(instances[:last]), " ", ", "), "[]"), instances[last])
}
