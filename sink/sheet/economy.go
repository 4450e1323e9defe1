package sheet

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot"

	"trialday.example/logd/sink/chart"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

// current draws the day's current and says how well the fit holds.
func (d *details) current() (part, error) {
	c := &d.Current
	p := part{Title: "Current over the day", Wide: true}
	if !c.Known {
		if c.Why != "" {
			p.Lines = []string{"No current through the day. " + sentence(c.Why)}
		}
		return p, nil
	}
	if c.CompassOffsetDeg != nil {
		p.Lines = append(p.Lines, "Compass: "+strings.ReplaceAll(withUnit(interval(c.CompassOffsetDeg, 1), "°"), "\u00a0°", "°")+" to be added to the heading.")
	}
	if fit := fitWords(c); fit != "" {
		p.Lines = append(p.Lines, fit)
	}
	t := dataTable{Head: heads(d.timeWord(), "kn", "sets to")}
	for _, k := range c.Knots {
		t.add(plain(clockTime(k.Time)), figure{fixed(k.Kn, 2), plusMinus(1.96*k.SEKn, 2)}, plain(bearing(&k.SetDeg)))
	}
	p.Tables = tables(t)
	p.Notes = []string{sentence(c.Note)}
	plot, err := d.currentPlot()
	p.Plot = plot
	return p, err
}

func (d *details) timeWord() string {
	if d.Clock.Known {
		return "UTC"
	}
	return "recorder's time"
}

func fitWords(c *results.Current) string {
	if c.Chi2 == nil || c.DOF == nil || c.PValue == nil {
		return ""
	}
	text := "scatter about it no more than their intervals say"
	if *c.PValue < 0.05 {
		text = "scatter about it more than their intervals say, and the intervals by this fit are made wider to match"
	}
	chance := fixed(*c.PValue, 2)
	switch {
	case *c.PValue > 0.995:
		chance = "above 0.99"
	case *c.PValue < 0.005:
		chance = "below 0.01"
	}
	return fmt.Sprintf("The windows %s (chi square %s at %s degrees of freedom, probability %s).", text, fixed(*c.Chi2, 0), fixed(*c.DOF, 0), chance)
}

// currentPlot draws the speed of the current over the day.
func (d *details) currentPlot() (*drawing, error) {
	var pts points
	for _, k := range d.Current.Knots {
		b, ok := barOf(k.Time, k.Time)
		if ok {
			pts = append(pts, point{Point: chart.Point{X: chart.Exact(b.from), Y: results.Interval{Mean: k.Kn, Lo95: max(0, k.Kn-1.96*k.SEKn), Hi95: k.Kn + 1.96*k.SEKn}}})
		}
	}
	if len(pts) < 2 {
		return nil, nil
	}
	p, err := scatter(pts, d.timeWord())
	if err != nil {
		return nil, err
	}
	span := pts[len(pts)-1].X.Mean - pts[0].X.Mean
	p.X.Min, p.X.Max = pts[0].X.Mean-0.04*span, pts[len(pts)-1].X.Mean+0.04*span
	p.X.Tick.Marker = plot.TickerFunc(func(lo, hi float64) []plot.Tick { return spaced(timeTicks(lo, hi)) })
	svg, err := half.draw(p)
	return &drawing{Title: "Speed of the current, kn", SVG: svg}, err
}

// spaced thins ticks so that their labels do not touch in a narrow plot.
func spaced(ticks []plot.Tick) []plot.Tick {
	if len(ticks) > 6 {
		for i := range ticks {
			if i%2 == 1 {
				ticks[i].Label = ""
			}
		}
	}
	return ticks
}

// startPlot draws speed over time of a group of starts.
func (d *details) startPlot(group int) (*drawing, error) {
	g := &d.AccelerationMeans[group]
	var pts points
	for _, m := range timed(g.ToSpeeds, g.ToSpeedsMPH) {
		pts = append(pts, point{Point: chart.Point{X: m.seconds, Y: chart.Exact(m.kn)}})
	}
	if len(pts) < 2 {
		return nil, nil
	}
	p, err := scatter(pts, "seconds")
	if err != nil {
		return nil, err
	}
	p.X.Min = 0
	bars := pts.bars()
	for i := range bars {
		_, late := bars.XError(i)
		p.X.Max = max(p.X.Max, bars[i].X.Mean+late)
	}
	svg, err := half.draw(p)
	return &drawing{Title: "Speed, kn, over time: " + startWords(g), SVG: svg}, err
}

// economy tells where economy is best by the curve through the steps, beside
// the best step.
func (d *details) economy() part {
	p := part{Title: "Best economy"}
	if burnsNothing(d.Results) {
		return p
	}
	perL := 1.0
	if d.sys {
		perL = units.LitresPerUSGallon
	}
	for _, o := range []struct {
		what string
		top  *results.Optimum
		step *int
	}{{"On the plane", &d.Best.PlaningOptimum, d.Best.BestPlaningEconomyStep}, {"Not planing", &d.Best.DisplacementOptimum, nil}} {
		switch {
		case o.top.Known && o.top.SpeedKn != nil && o.top.EconomyNMPerL != nil:
			e := scaled(o.top.EconomyNMPerL, perL)
			line := fmt.Sprintf("%s: %s at %s, by a curve through %d steps", o.what, withUnit(interval(e, decimalsFor([]float64{e.Mean})), d.sys.economyUnit()),
				withUnit(interval(o.top.SpeedKn, 1), "kn"), o.top.Steps)
			if s := stepByID(d.Results, o.step); s != nil && d.sys.economyOf(s) != nil {
				i := d.sys.economyOf(s)
				line += "; the best step has " + withUnit(interval(i, decimalsFor([]float64{i.Mean})), d.sys.economyUnit()) + " at " + quantity(fixed(s.SpeedKn.Mean, 1), "kn")
			}
			p.Lines = append(p.Lines, line+".")
		case o.top.Why != "":
			p.Lines = append(p.Lines, o.what+", no best speed by a curve: "+o.top.Why+".")
		}
	}
	p.Notes = d.fromTank()
	if best := stepByID(d.Results, d.Best.BestPlaningEconomyStep); best != nil {
		if speeds := levelWith(d.Results, best); speeds != "" {
			p.Lines = append(p.Lines, "Level with the best step on the plane: "+speeds+". Economy there differs by no more than 2 % or by no more than chance.")
		} else {
			p.Lines = append(p.Lines, "No other step on the plane is level with the best.")
		}
	}
	return p
}

// fuelCheck holds the fuel rate against each reference.
func (d *details) fuelCheck() part {
	p := part{Title: "Fuel meters", Lines: d.absent("fuel meter check")}
	f := &d.FuelCheck
	if f.MeteredL == nil {
		return p
	}
	volume := func(l float64) string {
		return d.sys.pair(quantity(fixed(l, 1), "L"), quantity(fixed(units.USGallons(l), 1), "US gal"))
	}
	line := "The fuel rate adds up to " + volume(*f.MeteredL) + " over the recording"
	if f.UnsureL > 0 {
		line += ", of which " + volume(f.UnsureL) + " may be wrong, the rate having been silent"
	}
	p.Lines = append(p.Lines, line+".")
	unit, k := "L", 1.0
	if d.sys {
		unit, k = "US gal", units.USGallons(1)
	}
	t := dataTable{Head: []column{{Name: "reference"}, {Name: "by the rate, " + unit}, {Name: "by the reference, " + unit}, {Name: "factor"}, {Class: "text"}}}
	add := func(name string, s *results.FuelScale) {
		if s == nil {
			return
		}
		verdict := "agree"
		if s.Differs {
			verdict = "differ"
		}
		t.add(plain(name), plain(fixed(s.MeteredL*k, 1)), plain(fixed(s.ReferenceL*k, 1)), interval(&s.Scale, 3), plain(verdict))
	}
	add("trip totals", f.Trip)
	if len(f.Engines) > 1 {
		for i := range f.Engines {
			add("trip total, "+f.Engines[i].Engine, f.Engines[i].Trip)
		}
	}
	add("tank level", f.Tank)
	add("measured top-up", f.TopUp)
	p.Tables = tables(t)
	p.Lines = append(p.Lines, consequences(f)...)
	if len(p.Tables) > 0 {
		p.Notes = []string{"The factor makes the rate's burn that of the reference. It is told, never applied: all figures are those of the rate as it was sent."}
	}
	return p
}

// consequences says what a factor that differs would change.
func consequences(f *results.FuelCheck) []string {
	var lines []string
	for _, c := range []struct {
		name  string
		scale *results.FuelScale
	}{{"trip totals", f.Trip}, {"tank level", f.Tank}, {"measured top-up", f.TopUp}} {
		s := c.scale
		if s == nil || !s.Differs || !(s.Scale.Mean > 0) {
			continue
		}
		burn, economy, less, more := 100*(s.Scale.Mean-1), 100*(1-1/s.Scale.Mean), "higher", "lower"
		if burn < 0 {
			burn, economy, less, more = -burn, -economy, "lower", "higher"
		}
		lines = append(lines, fmt.Sprintf("If the %s is right, burn is %s %% %s than shown, and economy and range are %s %% %s.",
			c.name, fixed(burn, 1), less, fixed(economy, 1), more))
	}
	return lines
}

func (d *details) paddle() part {
	w := &d.Paddle
	p := part{Title: "Log (paddle wheel)", Wide: true}
	switch {
	case w.Known && w.Factor != nil && w.OffsetKn != nil:
		factor, offset, sign := interval(w.Factor, 3), interval(w.OffsetKn, 2), "plus"
		if strings.HasPrefix(offset.Value, "−") {
			sign, offset.Value = "less", strings.TrimPrefix(offset.Value, "−")
		}
		p.Lines = []string{fmt.Sprintf("Speed through the water is %s times what it gives, %s %s%s. No figure of this sheet hangs on it.",
			joined("\u00a0", factor.Value, factor.PM), sign, withUnit(offset, "kn"), paddleReach(w))}
	case w.Why != "":
		p.Lines = []string{"It could not be calibrated: " + w.Why + "."}
	}
	return p
}

func paddleReach(w *results.Paddle) string {
	text := fmt.Sprintf(", by %d windows", w.Windows)
	if w.FromKn != nil && w.ToKn != nil {
		text += " from " + fixed(*w.FromKn, 0) + " to " + quantity(fixed(*w.ToKn, 0), "kn")
	}
	if w.SDKn != nil {
		text += " that scatter by " + quantity(fixed(*w.SDKn, 2), "kn")
	}
	return text
}

// fromTank says that the figures beside it hang on a burn from the tanks' level.
func (d *details) fromTank() []string {
	if !d.FromTank() {
		return nil
	}
	return []string{"Burn from " + results.FromTankLevel + "."}
}

// moreOfSteps has what the first page's table has no room for.
func (d *details) moreOfSteps() part {
	cost := "cost/nm"
	if d.PerNM.Currency != "" {
		cost = d.PerNM.Currency + "/nm"
	}
	t := dataTable{Head: heads("rpm", "kn by the day's current", "leverage", d.sys.first("mass, kg", "mass, lb"), "range as fuel burns off, nm", cost, "CO₂, kg/nm", "sound, dB(A)")}
	byStep := map[int]results.StepPerNM{}
	for _, s := range d.PerNM.Steps {
		byStep[s.Step] = s
	}
	decimals := 2
	for i := range d.Steps {
		s := &d.Steps[i]
		fit, leverage := figure{}, figure{}
		if s.DayFit != nil && s.DayFit.Clear {
			fit, leverage = interval(&s.DayFit.SpeedKn, 1), plain(fixed(s.DayFit.Leverage, 2))
		}
		mass := figure{}
		if s.MassKg != nil {
			mass = plain(d.sys.first(fixed(*s.MassKg, 0), fixed(units.Pounds(*s.MassKg), 0)))
		}
		per := byStep[s.ID]
		t.add(plain(fixed(s.RPM, 0)), fit, leverage, mass, value(s.RangeBurnOffNM, 0), interval(per.Cost, decimals), interval(per.CO2Kg, decimals), value(s.SoundDBA, 1))
	}
	p := part{Title: "More of each step", Wide: true, Tables: tables(t)}
	if len(p.Tables) > 0 {
		p.Notes = append(d.fromTank(), "The day's current is one for all windows, also for steps run in one direction. Leverage is how much of that speed hangs on the step's own windows: near 1 nothing else tells the current there. "+
			"Mass is the test weight less the fuel burnt by then. The range as fuel burns off counts the boat growing lighter; the range of the first page does not. CO₂ is that of the fuel burnt.")
	}
	return p
}

// reference has the steps at the configured reference mass.
func (d *details) reference() part {
	p := part{Title: "Corrected to a reference mass: calculated, not measured", Wide: true, Lines: d.absent("speed at the reference mass")}
	m := d.MassReference
	if m == nil {
		return p
	}
	at := d.sys.mass(m.ReferenceKg)
	t := dataTable{Head: []column{{Name: "rpm"}, {Name: d.sys.first("mass, kg", "mass, lb")}, {Name: "measured, kn"}, {Name: "corrected to " + at + ", kn"}, {Name: "corrected, " + d.sys.economyUnit()}, {Name: "law", Class: "text"}}}
	k := 1.0
	if d.sys {
		k = units.LitresPerUSGallon
	}
	decimals := 1
	for _, s := range m.Steps {
		if s.EconomyAtReferenceNM != nil {
			decimals = max(decimals, decimalsFor([]float64{s.EconomyAtReferenceNM.Mean * k}))
		}
	}
	for i := range m.Steps {
		s := &m.Steps[i]
		rpm := missing
		if step := stepByID(d.Results, &s.Step); step != nil {
			rpm = fixed(step.RPM, 0)
		}
		t.add(plain(rpm), plain(d.sys.first(fixed(s.MassKg, 0), fixed(units.Pounds(s.MassKg), 0))), interval(&s.SpeedKn, 1), interval(&s.SpeedAtReferenceKn, 1),
			interval(scaled(s.EconomyAtReferenceNM, k), decimals), plain(s.Law))
	}
	p.Tables = tables(t)
	if len(p.Tables) > 0 {
		p.Notes = []string{"At the same power and burn. All other figures of this sheet are at the mass of the day."}
	}
	return p
}

func (d *details) handReadings() part {
	t := dataTable{Head: []column{{Name: "line"}, {Name: "at"}, {Name: "rpm noted"}, {Name: "sound, dB(A)"}, {Name: "sea state"}, {Name: "step, rpm"}, {Name: "comment", Class: "words"}}}
	for i := range d.Readings {
		r := &d.Readings[i]
		at, sea, step := "", "", ""
		if r.Time != "" {
			at = clockTime(r.Time)
		}
		if r.SeaState != nil {
			sea = fmt.Sprint(*r.SeaState)
		}
		if s := stepByID(d.Results, r.Step); s != nil {
			step = fixed(s.RPM, 0)
		}
		t.add(plain(fmt.Sprint(r.Line)), plain(at), value(r.RPM, 0), value(r.SoundDBA, 1), plain(sea), plain(step), plain(r.Comment))
	}
	return part{Title: "Noted by hand", Wide: true, Tables: tables(t)}
}

// byTheDay gives the steps run in one direction their speed by the current of
// the whole day; "" where it has none to give.
func byTheDay(steps []results.Step) string {
	var list []string
	for i := range steps {
		s := &steps[i]
		if s.CurrentCorrected || s.DayFit == nil || !s.DayFit.Clear || math.IsNaN(s.DayFit.SpeedKn.Mean) {
			continue
		}
		list = append(list, quantity(fixed(s.RPM, 0), "rpm")+" "+withUnit(interval(&s.DayFit.SpeedKn, 1), "kn"))
	}
	if len(list) == 0 {
		return ""
	}
	return "By the day's current, through the water: " + listed(list) + "."
}
