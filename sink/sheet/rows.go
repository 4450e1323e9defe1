package sheet

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

// stepRow is one line of the step table.
type stepRow struct {
	RPM      string
	Marks    []string // top speed, best economy, cruise; then what limits it
	Figures  []figure // the columns from speed to range
	Load     string
	Pitch    string
	Passes   int
	Current  string
	OneWay   bool
	Note     string
	Selected bool
}

func stepRows(r *results.Results) []stepRow {
	columns := stepColumns(r.Steps, systemOf(r))
	most := mostEngines(r.Steps)
	changed := changedSteps(changes(r))
	var rows []stepRow
	for i := range r.Steps {
		s := &r.Steps[i]
		row := stepRow{RPM: fixed(s.RPM, 0), Marks: marks(r, s), Load: optional(s.LoadPct, 0), Pitch: optional(s.PitchDeg, 1),
			Passes: s.Passes, Current: missing, OneWay: !s.CurrentCorrected, Note: sentence(s.Note)}
		row.Selected = len(row.Marks) > 0
		if n := len(s.Engines); n > 0 && n < most {
			row.Marks = append(row.Marks, fmt.Sprintf("%d of %d engines", n, most))
		}
		if s.FuelFrom != "" {
			row.Marks = append(row.Marks, "burn from "+s.FuelFrom)
		}
		if changed[s.ID] {
			row.Marks = append(row.Marks, "amended")
		}
		if row.OneWay {
			row.Current = "not corrected"
			row.Marks = append(row.Marks, "one direction")
		}
		if s.CurrentKn != nil {
			row.Current = joined(" ", optional(s.CurrentKn, 1), bearing(s.CurrentSetDeg))
		}
		for _, c := range columns {
			f := interval(c.of(s), c.decimals)
			if c.quiet {
				f.PM = "" // the same, relatively, as beside the first unit
			} else if half, ok := halfWidth(c.of(s)); ok {
				f.PM = plusMinus(half, c.half)
			}
			row.Figures = append(row.Figures, f)
		}
		rows = append(rows, row)
	}
	return rows
}

// mostEngines is how many engines drove in the step with the most of them.
func mostEngines(steps []results.Step) int {
	most := 0
	for i := range steps {
		most = max(most, len(steps[i].Engines))
	}
	return most
}

type stepColumn struct {
	of       func(*results.Step) *results.Interval
	decimals int
	quiet    bool // the interval is not shown
	half     int  // decimals of the half interval
}

// stepColumns lists speed kn, mph; burn L/h, US gal/h; nm/L, L/nm, nm/US gal,
// mi/US gal; range nm; with US units first burn and economy in US gallons come
// before those in litres. Economies have as many decimals as the column needs.
// The first of a kind shows its interval.
func stepColumns(steps []results.Step, sys system) []stepColumn {
	economy := func(of func(*results.Step) *results.Interval, quiet bool) stepColumn {
		var means []float64
		for i := range steps {
			if x := of(&steps[i]); x != nil {
				means = append(means, x.Mean)
			}
		}
		return stepColumn{of: of, decimals: decimalsFor(means), quiet: quiet}
	}
	columns := []stepColumn{
		{of: func(s *results.Step) *results.Interval { return &s.SpeedKn }, decimals: 1},
		{of: func(s *results.Step) *results.Interval { return &s.SpeedMPH }, decimals: 1, quiet: true},
		{of: func(s *results.Step) *results.Interval { return s.FuelLPH }, decimals: 1},
		{of: func(s *results.Step) *results.Interval { return s.FuelUSGPH }, decimals: 1, quiet: true},
		economy(func(s *results.Step) *results.Interval { return s.EconomyNMPerL }, false),
		economy(func(s *results.Step) *results.Interval { return s.EconomyLPerNM }, true),
		economy(func(s *results.Step) *results.Interval { return s.EconomyNMPGal }, true),
		economy(func(s *results.Step) *results.Interval { return s.EconomyMPG }, true),
		{of: func(s *results.Step) *results.Interval { return s.RangeNM }, decimals: 0},
	}
	if sys == us {
		c := columns
		c[2], c[3], c[4], c[5], c[6], c[7] = c[3], c[2], c[6], c[7], c[4], c[5]
		c[2].quiet, c[3].quiet, c[4].quiet, c[6].quiet = false, true, false, true
	}
	for i := range columns {
		columns[i].half = columns[i].halfOf(steps)
	}
	return columns
}

// halfOf gives the column one decimal more where most half intervals would
// have no digit that counts.
func (c stepColumn) halfOf(steps []results.Step) int {
	narrow, n := 0, 0
	for i := range steps {
		if x := c.of(&steps[i]); x != nil {
			n++
			if half, ok := halfWidth(x); ok && half < math.Pow10(-c.decimals) {
				narrow++
			}
		}
	}
	if 2*narrow > n {
		return c.decimals + 1
	}
	return c.decimals
}

// marks names what a step is best at.
func marks(r *results.Results, s *results.Step) []string {
	var m []string
	is := func(id *int) bool { return id != nil && *id == s.ID }
	if is(r.Best.TopSpeedStep) {
		m = append(m, "top speed")
	}
	planing := is(r.Best.BestPlaningEconomyStep)
	if is(r.Best.BestEconomyStep) {
		m = append(m, "best economy")
	} else if planing {
		m = append(m, "best on plane")
	}
	if !planing && r.Best.BestPlaningEconomyStep != nil && slices.Contains(r.Best.LevelEconomySteps, s.ID) {
		m = append(m, "level")
	}
	if is(r.Best.CruiseStep) {
		m = append(m, "near cruise")
	}
	return m
}

type windowRow struct {
	ID, Run           int
	Accepted          bool
	Result            string
	Start, Length     string
	Heading, COG      string
	SOG, STW, Fuel    figure
	RPM               string
	Load, Pitch, Roll string
	Depth, Wind       string
}

func windowRows(r *results.Results) []windowRow {
	names := engineNames(r)
	var rows []windowRow
	for i := range r.Windows {
		w := &r.Windows[i]
		row := windowRow{ID: w.ID, Run: w.Run, Accepted: w.Accepted, Start: clockTime(w.Start), Length: duration(w.Start, w.End),
			Heading: bearing(w.HeadingDeg), COG: bearing(w.COGDeg), SOG: interval(w.SOGKn, 1), STW: interval(w.STWKn, 1),
			Fuel: interval(burnOfWindow(w, r), 1), RPM: rpmText(w.RPM, names), Load: optional(w.LoadPct, 0), Pitch: optional(w.PitchDeg, 1),
			Roll: optional(w.RollDeg, 1), Depth: optional(w.DepthM, 0), Wind: windText(w)}
		row.Result = windowResult(r, w)
		rows = append(rows, row)
	}
	return rows
}

// burnHead names the column of burn, or of power where nothing is burnt.
func burnHead(r *results.Results) string {
	if burnsNothing(r) {
		return "power, " + burnUnit(r)
	}
	return "burn, " + burnUnit(r)
}

// burnUnit is that of burnOfWindow.
func burnUnit(r *results.Results) string {
	if burnsNothing(r) {
		return "kW"
	}
	return systemOf(r).burnUnit()
}

func burnOfWindow(w *results.Window, r *results.Results) *results.Interval {
	if burnsNothing(r) {
		return w.PowerKW
	}
	if systemOf(r) == us {
		return scaled(w.FuelLPH, units.USGallons(1))
	}
	return w.FuelLPH
}

func windText(w *results.Window) string {
	if w.WindKn == nil {
		return missing
	}
	return quantity(fixed(*w.WindKn, 0), bearing(w.WindFromDeg))
}

func windowResult(r *results.Results, w *results.Window) string {
	if !w.Accepted {
		return orElse(w.Reason, "no reason stated")
	}
	if text := amendedWindow(r, w); w.Amended == "excluded" {
		return text
	} else if s := stepByID(r, w.Step); s != nil && text != "" {
		return quantity(fixed(s.RPM, 0), "rpm") + ", " + text
	}
	if s := stepByID(r, w.Step); s != nil {
		return fixed(s.RPM, 0) + " rpm"
	}
	return "in no step"
}

// engineNames lists the configured engines and then any other the windows name.
func engineNames(r *results.Results) []string {
	var names, others []string
	for _, e := range r.Vessel.Engines {
		names = append(names, e.Name)
	}
	for _, w := range r.Windows {
		for name := range w.RPM {
			if !slices.Contains(names, name) && !slices.Contains(others, name) {
				others = append(others, name)
			}
		}
	}
	slices.Sort(others)
	return append(names, others...)
}

func rpmText(rpm map[string]results.Interval, names []string) string {
	var parts []string
	for _, name := range names {
		if i, ok := rpm[name]; ok {
			parts = append(parts, fixed(i.Mean, 0))
		} else {
			parts = append(parts, missing)
		}
	}
	if len(rpm) == 0 {
		return missing
	}
	return strings.Join(parts, "/\u200b") // may wrap after a stroke
}

// tally counts the windows and the reasons, most frequent first.
func tally(windows []results.Window) string {
	if len(windows) == 0 {
		return "No stretch of held throttle was found."
	}
	accepted, counts := 0, map[string]int{}
	for _, w := range windows {
		if w.Accepted {
			accepted++
		} else {
			counts[orElse(w.Reason, "no reason stated")]++
		}
	}
	var reasons []string
	for reason := range counts {
		reasons = append(reasons, reason)
	}
	slices.SortFunc(reasons, func(a, b string) int {
		if counts[a] != counts[b] {
			return counts[b] - counts[a]
		}
		return strings.Compare(a, b)
	})
	text := fmt.Sprintf("%d accepted, %d rejected", accepted, len(windows)-accepted)
	for i, reason := range reasons {
		text += fmt.Sprintf("%s %d × %s", map[bool]string{true: ":", false: ","}[i == 0], counts[reason], reason)
	}
	return text + "."
}

type runRow struct {
	ID                       int
	Kind, Start, End, Length string
}

func runRows(runs []results.Run) []runRow {
	var rows []runRow
	for _, r := range runs {
		rows = append(rows, runRow{r.ID, words(r.Kind), clockTime(r.Start), clockTime(r.End), duration(r.Start, r.End)})
	}
	return rows
}

type deviceRow struct{ Bus, Addresses, Name, Model, Software, Serial, Messages string }

func deviceRows(devices []results.Device) []deviceRow {
	var rows []deviceRow
	for _, d := range devices {
		rows = append(rows, deviceRow{d.Bus, strings.Trim(fmt.Sprint(d.Addresses), "[]"), orElse(d.Name, missing),
			orElse(d.Model, missing), orElse(d.Software, missing), orElse(d.Serial, missing), thousands(d.Messages)})
	}
	return rows
}

type sourceRow struct{ Quantities, Device, Start, Why string }

// sourceRows has one line for all quantities of which a device is the only
// source, and one for every choice between devices.
func sourceRows(r *results.Results) []sourceRow {
	const only = "only source"
	var rows []sourceRow
	first := map[int]int{} // device to its line
	for _, s := range r.Sources {
		quantity := words(s.Quantity)
		if i, ok := first[s.Device]; ok && s.Why == only {
			rows[i].Quantities += ", " + quantity
			continue
		}
		if s.Why == only {
			first[s.Device] = len(rows)
		}
		rows = append(rows, sourceRow{quantity, deviceName(r.Devices, s.Device), clockTime(s.Start), s.Why})
	}
	return rows
}

// deviceName is the device's model and place on the bus.
func deviceName(devices []results.Device, i int) string {
	if i < 0 || i >= len(devices) {
		return missing
	}
	d := devices[i]
	place := d.Bus
	if n := len(d.Addresses); n > 0 {
		place = fmt.Sprintf("%s/%d", d.Bus, d.Addresses[n-1])
	}
	return joined(", ", orElse(d.Model, d.Name), place)
}

func quality(q *results.Quality) []fact {
	facts := []fact{
		{"Frames read", thousands(q.Frames)}, {"Messages", thousands(q.Messages)},
		{"Frames of unknown messages", thousands(q.UnknownPGNFrames)}, {"Error frames", thousands(q.ErrorFrames)},
		{"Lines not readable", thousands(q.BadLines)}, {"Fast-packet messages lost", thousands(q.FastPacketLost)},
	}
	var kinds []string
	for kind, n := range q.Losses {
		if n != 0 {
			kinds = append(kinds, kind)
		}
	}
	slices.Sort(kinds)
	for _, kind := range kinds {
		facts = append(facts, fact{capital(words(kind)), thousands(q.Losses[kind])})
	}
	if len(kinds) < len(q.Losses) {
		facts = append(facts, fact{"Every other kind of loss", "0"})
	}
	return append(facts, fact{"Gaps", thousands(int64(len(q.Gaps)))})
}

type gapRow struct{ What, Start, End, Length string }

func gapRows(gaps []results.Gap) []gapRow {
	var rows []gapRow
	for _, g := range gaps {
		rows = append(rows, gapRow{words(g.What), clockTime(g.Start), clockTime(g.End), duration(g.Start, g.End)})
	}
	return rows
}

func clock(c *results.Clock) []fact {
	if !c.Known {
		return []fact{{"Clock", "No GNSS time was heard: times are the recorder's own."}}
	}
	return []fact{
		{"UTC less recorder time", fixed(c.OffsetS, 3) + " s"}, {"Uncertainty", "± " + fixed(c.UncertaintyS, 3) + " s"},
		{"Drift", fixed(c.DriftPPM, 2) + " ppm"}, {"Jumps repaired", fmt.Sprint(c.Steps)},
	}
}
