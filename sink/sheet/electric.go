package sheet

import (
	_ "embed"
	"fmt"
	"strings"

	"trialday.example/logd/sink/results"
)

//go:embed electric.html.tmpl
var electricText string

// burnsNothing tells whether the boat has no fuel, and figures of energy stand in
// the place of those of burn.
func burnsNothing(r *results.Results) bool { return r.Vessel.FuelKind == "none" }

// electricView is the electric side of the first page; nil where no battery drives
// the boat.
type electricView struct {
	Only  bool // nothing is burnt: its table stands in the place of the other
	Steps []electricRow
	Parts bool // fuel and batteries take part at some step
}

// electricRow is one line of the electric table.
type electricRow struct {
	stepRow
	Source string
	Burn   figure // L/nm, the fuel's part where both take part
}

func newElectricView(r *results.Results) *electricView {
	if r.Electric == nil {
		return nil
	}
	v := &electricView{Only: burnsNothing(r)}
	by := byEnergy(r)
	for i, row := range stepRows(by) {
		s := &r.Steps[i]
		e := r.Electric.Of(s.ID)
		if e == nil {
			continue
		}
		row.Figures = []figure{interval(&s.SpeedKn, 1), plain(fixed(s.SpeedMPH.Mean, 1)), interval(e.PowerKW, 1), energyFigure(e.WhPerNM),
			ratioFigure(e.NMPerKWh), interval(e.RangeNM, rangeDecimals(e.RangeNM))}
		for k, m := range row.Marks {
			if m == "best economy" {
				row.Marks[k] = "least energy"
			}
		}
		v.Parts = v.Parts || e.FuelLPerNM != nil
		v.Steps = append(v.Steps, electricRow{stepRow: row, Source: e.Source, Burn: ratioFigure(e.FuelLPerNM)})
	}
	return v
}

// byEnergy is r with the answers by energy in the place of those by fuel.
func byEnergy(r *results.Results) *results.Results {
	out := *r
	out.Best, out.OriginalBest, out.OriginalSteps = results.Best{}, nil, nil
	if e := r.Electric; e != nil {
		out.Best = results.Best{TopSpeedStep: e.Best.TopSpeedStep, BestEconomyStep: e.Best.EnergyStep,
			BestPlaningEconomyStep: e.Best.PlaningStep, LevelEconomySteps: e.Best.LevelSteps}
	}
	return &out
}

// energyFigure is in Wh/nm, to whole ones.
func energyFigure(i *results.Interval) figure { return interval(i, 0) }

func ratioFigure(i *results.Interval) figure {
	if i == nil {
		return figure{Value: missing}
	}
	return figure{Value: significant(i.Mean)}
}

// rangeDecimals shows a short range to tenths of a mile.
func rangeDecimals(i *results.Interval) int {
	if i != nil && i.Mean < 50 {
		return 1
	}
	return 0
}

// electricAnswers are the answers of a boat that burns nothing.
func electricAnswers(r *results.Results) []answer {
	return []answer{topSpeed(r), leastEnergy(r), batteryRange(r), energyOfDay(r)}
}

// energyStep is the step with the least energy for the way and what it is called:
// on the plane, if there is one.
func energyStep(r *results.Results) (s, overall *results.Step, on string) {
	if r.Electric == nil {
		return nil, nil, ""
	}
	b := &r.Electric.Best
	overall = stepByID(r, b.EnergyStep)
	if s = stepByID(r, b.PlaningStep); s != nil {
		return s, overall, " on the plane"
	}
	return overall, overall, ""
}

func leastEnergy(r *results.Results) answer {
	s, overall, on := energyStep(r)
	label := "Least energy per mile" + on
	if !burnsNothing(r) {
		label += " by batteries"
	}
	if s == nil {
		return absent(r, "Energy per mile", "energy per mile")
	}
	e := r.Electric.Of(s.ID)
	f := energyFigure(e.WhPerNM)
	a := answer{Label: label, Value: f.Value, Unit: "Wh/nm", PM: f.PM, At: atRPM(s.RPM), Caveat: caveat(s),
		Also:  []string{quantity(ratioFigure(e.NMPerKWh).Value, "nm/kWh")},
		Lines: joinLines(quantity(fixed(s.SpeedKn.Mean, 1), "kn")+" "+atRPM(s.RPM), powerLine(e), levelLine(byEnergy(r), s))}
	if o := overallOf(r, s, overall); o != nil {
		a.Lines = append(a.Lines, "Least at any speed: "+quantity(energyFigure(o.WhPerNM).Value, "Wh/nm")+" at "+quantity(fixed(overall.SpeedKn.Mean, 1), "kn")+", not planing")
	}
	return a
}

// overallOf is the electric side of the overall best, if that is another step.
func overallOf(r *results.Results, s, overall *results.Step) *results.ElectricStep {
	if overall == nil || overall.ID == s.ID {
		return nil
	}
	return r.Electric.Of(overall.ID)
}

func powerLine(e *results.ElectricStep) string {
	if e.PowerKW == nil {
		return ""
	}
	return quantity(fixed(e.PowerKW.Mean, 1), "kW") + " from the batteries"
}

func batteryRange(r *results.Results) answer {
	label := "Range"
	if !burnsNothing(r) {
		label = "Range on batteries"
	}
	s, overall, on := energyStep(r)
	if s == nil || r.Electric.Of(s.ID).RangeNM == nil {
		return absent(r, label, "range on batteries", "range")
	}
	e := r.Electric.Of(s.ID)
	f := interval(e.RangeNM, rangeDecimals(e.RangeNM))
	at := "at " + quantity(fixed(s.SpeedKn.Mean, 1), "kn")
	a := answer{Label: "Best " + small(label) + on, Value: f.Value, Unit: "nm", PM: f.PM, At: at, Caveat: caveat(s),
		Lines: []string{at, "on " + quantity(optional(r.Electric.RangeKWh, 0), "kWh") + ": the usable energy less " + quantity(fixed(r.Electric.ReservePct, 0), "%") + " kept back"}}
	add := func(text string, other *results.Step) {
		if other == nil || other.ID == s.ID {
			return
		}
		if o := r.Electric.Of(other.ID); o.RangeNM != nil {
			a.Lines = append(a.Lines, text+quantity(fixed(other.SpeedKn.Mean, 1), "kn")+": "+quantity(fixed(o.RangeNM.Mean, rangeDecimals(o.RangeNM)), "nm"))
		}
	}
	if on != "" {
		add("Not planing, at ", overall)
	}
	top := "At top speed, "
	if !burnsNothing(r) {
		top = "At the fastest on batteries, "
	}
	add(top, stepByID(r, r.Electric.Best.TopSpeedStep))
	return a
}

func energyOfDay(r *results.Results) answer {
	label, e := "Energy of the day", r.Electric
	if !burnsNothing(r) {
		label = "From batteries over the day"
	}
	if e == nil || e.UsedKWh == nil {
		return absent(r, label, "energy of the day", "energy per mile")
	}
	a := answer{Label: label, Value: fixed(*e.UsedKWh, 1), Unit: "kWh"}
	if e.WhPerNM != nil && e.DistanceNM != nil {
		a.Lines = append(a.Lines, quantity(fixed(*e.WhPerNM, 0), "Wh/nm")+" over all "+quantity(fixed(*e.DistanceNM, 1), "nm")+" of it")
	}
	a.Lines = append(a.Lines, chargeLines(e)...)
	if e.ChargedKWh != nil && *e.ChargedKWh >= 0.05 {
		a.Lines = append(a.Lines, quantity(fixed(*e.ChargedKWh, 1), "kWh")+" charged besides")
	}
	return a
}

// chargeLines tell how far the batteries' charge fell, those alike in one line.
func chargeLines(e *results.Electric) []string {
	var lines []string
	for i := range e.Batteries {
		b := &e.Batteries[i]
		if b.ChargeStartPct == nil || b.ChargeEndPct == nil {
			continue
		}
		fell := fmt.Sprintf("charge from %s to %s", quantity(fixed(*b.ChargeStartPct, 0), "%"), quantity(fixed(*b.ChargeEndPct, 0), "%"))
		if n := len(lines); n > 0 && strings.HasSuffix(lines[n-1], ": "+fell) {
			before, _, _ := strings.Cut(lines[n-1], ":")
			lines[n-1] = fmt.Sprintf("%s, %d: %s", before, b.Instance, fell)
			continue
		}
		lines = append(lines, fmt.Sprintf("Battery %d: %s", b.Instance, fell))
	}
	return lines
}

// electricFacts are those of the boat, with its batteries.
func electricFacts(r *results.Results, facts []fact) []fact {
	if burnsNothing(r) {
		kept := facts[:0:0]
		for _, f := range facts {
			if f.Name == "Fuel" {
				f.Value = "none: driven by batteries"
			}
			if f.Name != "Tank" {
				kept = append(kept, f)
			}
		}
		facts = kept
	}
	if e := r.Electric; e != nil {
		text := missing + " not configured"
		if e.UsableKWh != nil {
			text = quantity(fixed(*e.UsableKWh, 0), "kWh usable") + ", " + quantity(fixed(e.ReservePct, 0), "% kept back")
		}
		facts = append(facts, fact{"Batteries", text})
	}
	return facts
}

// electricPlots are power and energy against rpm, for the first page.
func electricPlots(r *results.Results, x func(*results.Step) results.Interval) []stepPlot {
	by := byEnergy(r)
	none := func(*results.Step) string { return "" }
	return []stepPlot{
		{"Battery power, kW, against rpm", "", x, electricOf(r, func(e *results.ElectricStep) *results.Interval { return e.PowerKW }),
			none, []string{"energy per mile"}},
		{"Energy per mile, Wh/nm, against rpm", "", x, onBatteries(r, func(e *results.ElectricStep) *results.Interval { return e.WhPerNM }),
			economyMark(by), []string{"energy per mile"}},
	}
}

// electricBySpeed are energy per mile and range against speed.
func electricBySpeed(r *results.Results, x func(*results.Step) results.Interval) []stepPlot {
	by := byEnergy(r)
	return []stepPlot{
		{"Energy per mile on batteries, Wh/nm, against speed", "kn", x, onBatteries(r, func(e *results.ElectricStep) *results.Interval { return e.WhPerNM }),
			economyMark(by), []string{"energy per mile"}},
		{"Range on batteries, nm, against speed", "kn", x, onBatteries(r, func(e *results.ElectricStep) *results.Interval { return e.RangeNM }),
			economyMark(by), []string{"range on batteries", "range"}},
	}
}

type ofStep func(*results.Step) *results.Interval

func electricOf(r *results.Results, of func(*results.ElectricStep) *results.Interval) ofStep {
	return func(s *results.Step) *results.Interval {
		if e := r.Electric.Of(s.ID); e != nil {
			return of(e)
		}
		return nil
	}
}

// onBatteries is electricOf where batteries alone drive.
func onBatteries(r *results.Results, of func(*results.ElectricStep) *results.Interval) ofStep {
	return func(s *results.Step) *results.Interval {
		if e := r.Electric.Alone(s.ID); e != nil {
			return of(e)
		}
		return nil
	}
}

// electric tells what the batteries gave over the day, and how the figures were
// come by.
func (d *details) electric() part {
	p := part{Title: "Batteries that drive the boat", Wide: true}
	e := d.Electric
	if e == nil {
		return p
	}
	t := dataTable{Head: heads("battery", "mean voltage, V", "used, kWh", "charged, kWh", "charge at the start, %", "at the end, %", "holds by that, kWh")}
	for i := range e.Batteries {
		b := &e.Batteries[i]
		t.add(plain(fmt.Sprint(b.Instance)), value(b.VoltageV, 1), value(b.UsedKWh, 2), value(b.ChargedKWh, 2), value(b.ChargeStartPct, 0),
			value(b.ChargeEndPct, 0), interval(b.CapacityKWh, 0))
	}
	p.Tables = tables(t)
	if e.CountedPct != nil {
		p.Notes = append(p.Notes, "Power was heard over "+quantity(fixed(*e.CountedPct, 1), "%")+" of the day. What a battery holds is told from what it gave and how far its own state of charge fell; the interval is that of the rounding of the state of charge alone.")
	}
	p.Notes = append(p.Notes, "Steadiness was judged by "+e.JudgedBy+".")
	for _, o := range []struct {
		what string
		top  *results.ElectricOptimum
	}{{"On the plane", &e.Best.PlaningTop}, {"Not planing", &e.Best.DisplacementTop}} {
		switch {
		case o.top.SpeedKn != nil && o.top.NMPerKWh != nil:
			p.Lines = append(p.Lines, fmt.Sprintf("%s, on batteries: best at %s with %s, by a curve through %d steps.", o.what, withUnit(interval(o.top.SpeedKn, 1), "kn"),
				withUnit(interval(o.top.NMPerKWh, decimalsFor([]float64{o.top.NMPerKWh.Mean})), "nm/kWh"), o.top.Steps))
		case o.top.Why != "":
			p.Lines = append(p.Lines, o.what+", no best speed on batteries by a curve: "+o.top.Why+".")
		}
	}
	return p
}

// electric adds the columns of a step's electric side.
func (t *Table) electric(r *results.Results) {
	if r.Electric == nil {
		return
	}
	of := func(i int) *results.ElectricStep {
		if e := r.Electric.Of(r.Steps[i].ID); e != nil {
			return e
		}
		return &results.ElectricStep{}
	}
	t.text("driven_by", func(i int) string { return of(i).Source })
	t.interval("battery_power_kw", func(i int) *results.Interval { return of(i).PowerKW })
	t.interval("battery_energy_wh_per_nm", func(i int) *results.Interval { return of(i).WhPerNM })
	t.interval("battery_economy_nm_per_kwh", func(i int) *results.Interval { return of(i).NMPerKWh })
	t.interval("battery_range_nm", func(i int) *results.Interval { return of(i).RangeNM })
	t.interval("fuel_part_l_per_nm", func(i int) *results.Interval { return of(i).FuelLPerNM })
}
