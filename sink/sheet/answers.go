package sheet

import (
	"strings"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

// answer is one of the big figures of the first page.
type answer struct {
	Label  string
	Value  string // missing where there is none
	Unit   string
	PM     string
	At     string   // the throttle or speed that it was met at
	Also   []string // in other units
	Lines  []string
	Caveat string // why it must be read with care
	Why    string // why there is none
	Before string // the same without amendments, where they change it
}

// answers are those of the day, each with the one without amendments where it
// is another.
func answers(r *results.Results) []answer {
	list := answersOf(r)
	if r.OriginalBest == nil {
		return list
	}
	original := *r
	original.Steps, original.Best, original.Electric = r.OriginalSteps, *r.OriginalBest, r.OriginalElectric
	for i, before := range answersOf(&original) {
		if before.brief() != list[i].brief() {
			list[i].Before = before.brief()
		}
	}
	return list
}

// brief is an answer in a line.
func (a *answer) brief() string {
	if a.Value == missing {
		return "none"
	}
	return joined(" ", quantity(joined(" ", a.Value, a.PM), a.Unit), a.At)
}

func answersOf(r *results.Results) []answer {
	if burnsNothing(r) {
		return electricAnswers(r)
	}
	list := []answer{topSpeed(r), bestEconomy(r), cruise(r), longestRange(r)}
	if r.Electric != nil {
		list = append(list, leastEnergy(r), batteryRange(r), energyOfDay(r))
	}
	return list
}

// stepByID returns nil where id is nil or unknown.
func stepByID(r *results.Results, id *int) *results.Step {
	for i := range r.Steps {
		if id != nil && r.Steps[i].ID == *id {
			return &r.Steps[i]
		}
	}
	return nil
}

// absent is an answer that could not be derived.
func absent(r *results.Results, label string, keywords ...string) answer {
	return answer{Label: label, Value: missing, Why: why(r, keywords...)}
}

// why looks for the reason among the missing figures; failing that it says what
// the results show to be absent.
func why(r *results.Results, keywords ...string) string {
	for _, k := range keywords {
		for _, m := range r.Missing {
			if strings.Contains(strings.ToLower(m.Figure), k) && m.Why != "" {
				return sentence(m.Why)
			}
		}
	}
	switch {
	case len(r.Steps) == 0:
		return "No steady window was accepted."
	case !anyFuel(r):
		return "No fuel rate was heard."
	case r.Vessel.TankL == nil:
		return "The tank is not configured (fuel.tank_l)."
	}
	return "The day's steps do not reach it."
}

func anyFuel(r *results.Results) bool {
	for _, s := range r.Steps {
		if s.FuelLPH != nil {
			return true
		}
	}
	return false
}

func topSpeed(r *results.Results) answer {
	const label = "Top speed"
	s := stepByID(r, r.Best.TopSpeedStep)
	if s == nil {
		return absent(r, label, "top speed", "speed")
	}
	f := interval(&s.SpeedKn, 1)
	return answer{Label: label, Value: f.Value, Unit: "kn", PM: f.PM, At: atRPM(s.RPM), Also: []string{fixed(s.SpeedMPH.Mean, 1) + " mph"},
		Lines: joinLines(atRPM(s.RPM), burnLine(r, s)), Caveat: caveat(s)}
}

func bestEconomy(r *results.Results) answer {
	label, s := "Best economy on the plane", stepByID(r, r.Best.BestPlaningEconomyStep)
	overall := stepByID(r, r.Best.BestEconomyStep)
	if s == nil {
		label, s = "Best economy", overall
	}
	if s == nil || s.EconomyNMPerL == nil {
		return absent(r, label, "economy", "fuel")
	}
	sys := systemOf(r)
	e, other := sys.economyOf(s), (!sys).economyOf(s)
	if e == nil {
		return absent(r, label, "economy", "fuel")
	}
	f := interval(e, decimalsFor([]float64{e.Mean}))
	a := answer{Label: label, Value: f.Value, Unit: sys.economyUnit(), PM: f.PM, At: atRPM(s.RPM), Caveat: fuelCaveat(s),
		Also: []string{economyText(other) + " " + (!sys).economyUnit()},
		Lines: joinLines(sys.beside(quantity(economyText(s.EconomyLPerNM), "L/nm"), quantity(economyText(s.EconomyMPG), "mi/US gal")),
			quantity(fixed(s.SpeedKn.Mean, 1), "kn")+" "+atRPM(s.RPM), burnLine(r, s), levelLine(r, s))}
	if overall != nil && overall != s && overall.EconomyNMPerL != nil {
		a.Lines = append(a.Lines, "Best at any speed: "+quantity(economyText(sys.economyOf(overall)), sys.economyUnit())+" at "+
			quantity(fixed(overall.SpeedKn.Mean, 1), "kn")+", not planing")
	}
	return a
}

func economyText(i *results.Interval) string {
	if i == nil {
		return missing
	}
	return significant(i.Mean)
}

// significant renders an economy with three significant digits.
func significant(x float64) string { return fixed(x, decimalsFor([]float64{x})) }

// quantity keeps a value and its unit on one line.
func quantity(value, unit string) string {
	return strings.ReplaceAll(value+" "+unit, " ", "\u00a0")
}

func levelLine(r *results.Results, best *results.Step) string {
	if speeds := levelWith(r, best); speeds != "" {
		return "Level with it: " + speeds
	}
	return ""
}

// levelWith lists the speeds at which economy is level with the best step.
func levelWith(r *results.Results, best *results.Step) string {
	var speeds []string
	for _, id := range r.Best.LevelEconomySteps {
		if s := stepByID(r, &id); s != nil && s != best {
			speeds = append(speeds, fixed(s.SpeedKn.Mean, 1))
		}
	}
	if len(speeds) == 0 {
		return ""
	}
	return quantity(listed(speeds), "kn")
}

func cruise(r *results.Results) answer {
	c, near := r.Best.Cruise, stepByID(r, r.Best.CruiseStep)
	switch {
	case c == nil && near == nil:
		return absent(r, "Cruise", "cruise", "load")
	case c == nil:
		return cruiseOfStep(r, near)
	}
	sys := systemOf(r)
	a := answer{Label: "Cruise at " + quantity(fixed(c.LoadPct, 0), "% load"), Value: fixed(c.SpeedKn, 1), Unit: "kn", At: atRPM(c.RPM),
		Also: []string{fixed(units.MPH(c.SpeedKn), 1) + " mph"}, Lines: joinLines(atRPM(c.RPM), burnText(sys, c.FuelLPH))}
	if c.EconomyNMPerL != nil {
		e := *c.EconomyNMPerL
		a.Lines = append(a.Lines, sys.beside(quantity(significant(e), "nm/L"), quantity(significant(units.NauticalPerUSGallon(e)), "nm/US gal")))
		if r.FromTank() {
			a.Lines = append(a.Lines, "Burn from "+results.FromTankLevel)
		}
	}
	between := "Interpolated between two steps"
	if near != nil {
		f := interval(&near.SpeedKn, 1)
		between += "; the nearest, " + atRPM(near.RPM) + loadText(near) + ": " + quantity(joined(" ", f.Value, f.PM), "kn")
		a.Caveat = caveat(near)
	}
	a.Lines = append(a.Lines, between)
	return a
}

// cruiseOfStep stands where no two steps enclose the cruise load but one is
// near it.
func cruiseOfStep(r *results.Results, s *results.Step) answer {
	f := interval(&s.SpeedKn, 1)
	return answer{Label: "Near cruise", Value: f.Value, Unit: "kn", PM: f.PM, At: atRPM(s.RPM), Also: []string{fixed(s.SpeedMPH.Mean, 1) + " mph"},
		Lines:  joinLines(atRPM(s.RPM)+loadText(s), burnLine(r, s), "Measured at this step; no two steps enclose the cruise load"),
		Caveat: caveat(s)}
}

func loadText(s *results.Step) string {
	if s.LoadPct == nil {
		return ""
	}
	return ", " + quantity(fixed(*s.LoadPct, 0), "% load")
}

func longestRange(r *results.Results) answer {
	overall := stepByID(r, r.Best.BestEconomyStep)
	label, s := "Best range on the plane", stepByID(r, r.Best.BestPlaningEconomyStep)
	if s == nil {
		label, s = "Best range", overall
	}
	if s == nil || s.RangeNM == nil {
		return absent(r, "Range", "range", "tank", "fuel")
	}
	f := interval(s.RangeNM, 0)
	at := "at " + quantity(fixed(s.SpeedKn.Mean, 1), "kn")
	a := answer{Label: label, Value: f.Value, Unit: "nm", PM: f.PM, At: at,
		Also:  []string{fixed(s.RangeNM.Mean*units.MilesPerNauticalMile, 0) + " mi"},
		Lines: []string{at}, Caveat: fuelCaveat(s)}
	if r.Vessel.UsableL != nil {
		a.Lines = append(a.Lines, "on "+systemOf(r).volume(*r.Vessel.UsableL)+": the tank less "+quantity(fixed(r.Vessel.ReservePct, 0), "%")+" kept back")
	}
	if c := r.Best.Cruise; c != nil && c.RangeNM != nil {
		a.Lines = append(a.Lines, "At cruise, "+quantity(fixed(c.SpeedKn, 1), "kn")+": "+quantity(fixed(*c.RangeNM, 0), "nm"))
	}
	if overall != nil && overall != s && overall.RangeNM != nil {
		a.Lines = append(a.Lines, "At "+quantity(fixed(overall.SpeedKn.Mean, 1), "kn")+", not planing: "+quantity(fixed(overall.RangeNM.Mean, 0), "nm"))
	}
	return a
}

func atRPM(rpm float64) string { return "at " + quantity(fixed(rpm, 0), "rpm") }

func burnLine(r *results.Results, s *results.Step) string {
	if s.FuelLPH == nil {
		return ""
	}
	return burnText(systemOf(r), &s.FuelLPH.Mean) + from(s.FuelFrom)
}

// from names the source of a burn that is not by the fuel rate.
func from(source string) string {
	if source == "" {
		return ""
	}
	return ", from " + source
}

func burnText(sys system, lph *float64) string {
	if lph == nil {
		return ""
	}
	return sys.burn(*lph)
}

// oneDirection is the mark of an answer that current has not been taken out of.
const oneDirection = "One direction only: not corrected for current"

func caveat(s *results.Step) string {
	if s.CurrentCorrected {
		return ""
	}
	return oneDirection
}

// fuelCaveat is that of an answer that hangs on the burn too.
func fuelCaveat(s *results.Step) string {
	if s.FuelFrom == "" {
		return caveat(s)
	}
	return joined(". ", caveat(s), "Burn from "+s.FuelFrom)
}

func joinLines(lines ...string) []string {
	var kept []string
	for _, l := range lines {
		if l != "" {
			kept = append(kept, l)
		}
	}
	return kept
}
