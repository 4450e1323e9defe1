package sheet

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

// view is all that the template shows, as text.
type view struct {
	Style      template.CSS
	Boat       string
	Trial      string
	When       string
	Foot       string // of every printed page
	Answers    []answer
	Also       []also
	Boatfacts  []fact
	Conditions []fact
	Mass       []fact
	MassTotal  string
	Burn       []string // units of the step table's columns
	Economy    []string
	Steps      []stepRow
	Electric   *electricView
	ByTheDay   string // speeds of the steps in one direction
	OneWay     bool   // any step in one direction only
	FromTank   string // what it means that burn is by the tanks' level
	Level      bool   // any step level with the best
	Fewer      bool   // any step on fewer engines than others
	Missing    []results.MissingFigure
	Findings   []results.Finding
	Long       bool // more steps than leave room for the cautions below them
	Dense      bool // more than have room at full height
	Curves     []drawing
	BySpeed    []drawing
	Day        dayDrawing
	Chapters   []chapter
	BurnUnit   string
	Tally      string
	Windows    []windowRow
	Runs       []runRow
	Devices    []deviceRow
	Sources    []sourceRow
	Quality    []fact
	Gaps       []gapRow
	Clock      []fact
	Limits     limits
	Provenance []fact
	Frames     []frameRow
	Amended    string // what the first page says of amendments
	Amendments []amendmentRow
	Changes    []dataTable // steps before and after
	Version    string
	Schema     string
}

// So many steps have room on the first page, beside all else that stands there,
// with space between them, and at all.
const (
	denseSteps = 12
	manySteps  = 22
)

// fromTankNote is the rule by which a burn from the tanks' level is shown.
const fromTankNote = "Burn from tank level: no fuel rate of all engines was heard, so burn, economy and range are by the slope of the tanks' level over the passes. " +
	"They are shown where half of the interval is no more than a third of the burn to be expected by the day's whole fall. What else draws from the tanks is in them."

// fact is one named value.
type fact struct{ Name, Value string }

func newView(r *results.Results) *view {
	v := &view{
		Style:   template.CSS(styleText), // our own file, embedded
		Boat:    orElse(r.Vessel.Name, "Boat without a name"),
		Trial:   joined(" · ", r.Trial.Name, r.Trial.Place),
		When:    when(r),
		Foot:    shortened(joined(" · ", orElse(r.Vessel.Name, "Boat without a name"), r.Trial.Name, r.Trial.Place), 90),
		Answers: answers(r), Also: alsoAsked(r),
		Steps: stepRows(r), ByTheDay: byTheDay(r.Steps), BurnUnit: burnHead(r),
		Missing: missingFigures(slices.DeleteFunc(slices.Clone(r.Missing), inDetails)), Findings: findings(r.Findings),
		Tally:   tally(r.Windows),
		Windows: windowRows(r), Runs: runRows(r.Runs),
		Devices: deviceRows(r.Devices), Sources: sourceRows(r),
		Quality: quality(&r.Quality), Gaps: gapRows(r.Quality.Gaps),
		Clock:  clock(&r.Clock),
		Limits: newLimits(&r.Steady), Provenance: provenance(r), Frames: frameRows(r.Windows),
		Amended: amendedNotice(r), Amendments: amendmentRows(r), Changes: beforeAndAfter(r, changes(r)),
		Version: orElse(r.Version, "not stated"), Schema: r.Schema,
	}
	v.Burn = []string{"L/h", "US gal/h"}
	v.Economy = []string{"nm/L", "L/nm", "nm/\u200bUS gal", "mi/\u200bUS gal"}
	if systemOf(r) == us {
		v.Burn = []string{"US gal/h", "L/h"}
		v.Economy = []string{"nm/\u200bUS gal", "mi/\u200bUS gal", "nm/L", "L/nm"}
	}
	v.OneWay = slices.ContainsFunc(r.Steps, func(s results.Step) bool { return !s.CurrentCorrected })
	v.Dense, v.Long = len(r.Steps) > denseSteps, len(r.Steps) > manySteps
	most := mostEngines(r.Steps)
	v.Fewer = slices.ContainsFunc(r.Steps, func(s results.Step) bool { return len(s.Engines) > 0 && len(s.Engines) < most })
	if r.FromTank() {
		v.FromTank = fromTankNote
	}
	v.Level = len(r.Best.LevelEconomySteps) > 0
	v.Boatfacts = electricFacts(r, boatFacts(&r.Vessel, systemOf(r)))
	v.Electric = newElectricView(r)
	v.Conditions = conditions(r)
	v.Mass, v.MassTotal = mass(&r.Vessel, systemOf(r))
	return v
}

// findings are whole sentences, whatever way they were written.
func findings(list []results.Finding) []results.Finding {
	var out []results.Finding
	for _, f := range list {
		out = append(out, results.Finding{What: sentence(f.What), Meaning: sentence(f.Meaning), Remedy: sentence(f.Remedy), Sure: sentence(f.Sure), Kind: f.Kind})
	}
	return out
}

// missingFigures are pairs of sentences: what there is not, and why. Figures
// that are missing for one reason share it.
func missingFigures(list []results.MissingFigure) []results.MissingFigure {
	var out []results.MissingFigure
	for _, m := range list {
		m = results.MissingFigure{Figure: "No " + small(strings.TrimSpace(m.Figure)) + ".", Why: sentence(m.Why)}
		if i := slices.IndexFunc(out, func(o results.MissingFigure) bool { return o.Why == m.Why }); i >= 0 {
			out[i].Figure += " " + m.Figure
			continue
		}
		out = append(out, m)
	}
	return out
}

func orElse(s, other string) string {
	if strings.TrimSpace(s) == "" {
		return other
	}
	return s
}

// joined joins the parts that are not empty.
func joined(sep string, parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return strings.TrimSpace(s) == "" }), sep)
}

func when(r *results.Results) string {
	from, ok := parseTime(r.Trial.Start)
	to, okTo := parseTime(r.Trial.End)
	if !ok || !okTo {
		return "Date not known: no time was heard on the bus"
	}
	text := from.Format("2 January 2006, 15:04") + " to " + to.Format("15:04")
	if !r.Clock.Known {
		return text + " by the recorder's own clock (no GNSS time was heard)"
	}
	return text + " UTC"
}

func boatFacts(v *results.Vessel, sys system) []fact {
	const unknown = missing + " not configured"
	configured := func(x *float64, render func(float64) string) string {
		if x == nil {
			return unknown
		}
		return render(*x)
	}
	length := func(m float64) string { return sys.length(m, 1) }
	facts := []fact{
		{"Length", configured(v.LengthM, length)}, {"Beam", configured(v.BeamM, length)}, {"Hull", orElse(words(v.Hull), missing)},
		{"Engines", engines(v.Engines, sys)}, {"Fuel", orElse(v.FuelKind, missing)}, {"Tank", configured(v.TankL, sys.volume)},
	}
	if v.UsableL != nil {
		facts = append(facts, fact{"Usable", sys.volume(*v.UsableL) + ", " + quantity(fixed(v.ReservePct, 0), "% kept back")})
	}
	return facts
}

// engines names like engines once.
func engines(list []results.Engine, sys system) string {
	if len(list) == 0 {
		return missing + " not configured"
	}
	var parts []string
	for i := 0; i < len(list); {
		n := i + 1
		for n < len(list) && rating(list[n], sys) == rating(list[i], sys) {
			n++
		}
		parts = append(parts, fmt.Sprintf("%d × %s", n-i, rating(list[i], sys)))
		i = n
	}
	return strings.Join(parts, ", ")
}

func rating(e results.Engine, sys system) string {
	if e.RatedPowerKW == nil {
		return "power not configured"
	}
	text := sys.pair(fixed(*e.RatedPowerKW, 0)+" kW", fixed(units.Horsepower(*e.RatedPowerKW), 0)+" hp")
	if e.RatedRPM != nil {
		text += " at " + fixed(*e.RatedRPM, 0) + " rpm"
	}
	return text
}

// conditions sums up the accepted windows, or all if none was accepted.
func conditions(r *results.Results) []fact {
	windows := slices.DeleteFunc(slices.Clone(r.Windows), func(w results.Window) bool { return !w.Accepted })
	if len(windows) == 0 {
		windows = r.Windows
	}
	values := func(of func(*results.Window) *float64) (list []float64) {
		for i := range windows {
			if x := of(&windows[i]); x != nil {
				list = append(list, *x)
			}
		}
		return list
	}
	wind := span(values(func(w *results.Window) *float64 { return w.WindKn }), 0, " kn true")
	if from := meanBearing(values(func(w *results.Window) *float64 { return w.WindFromDeg })); wind != "" && from != nil {
		wind += " from " + bearing(from)
	}
	depth := values(func(w *results.Window) *float64 { return w.DepthM })
	depthText := span(depth, 0, " m")
	for i := range depth {
		depth[i] = units.Feet(depth[i])
	}
	if depthText != "" {
		depthText = systemOf(r).pair(depthText, span(depth, 0, " ft"))
	}
	waves := span(values(func(w *results.Window) *float64 { return w.WavePeriodS }), 1, " s")
	if waves != "" {
		waves = "waves met every " + waves
	}
	sea := joined(", ", seaStates(r.Readings), waves)
	return []fact{
		{"Wind", orElse(wind, missing+" no wind sensor heard")},
		{"Current", orElse(currents(r.Steps), missing+" no passes in two directions")},
		{"Depth", orElse(depthText, missing+" no depth heard")},
		{"Sea", orElse(sea, missing+" no waves felt, none noted by hand")},
	}
}

// seaStates are those noted by hand.
func seaStates(readings []results.Reading) string {
	var states []float64
	for _, n := range readings {
		if n.SeaState != nil {
			states = append(states, float64(*n.SeaState))
		}
	}
	if len(states) == 0 {
		return ""
	}
	return "state " + span(states, 0, "") + " by hand"
}

func currents(steps []results.Step) string {
	var speeds, sets []float64
	for _, s := range steps {
		if s.CurrentKn != nil {
			speeds = append(speeds, *s.CurrentKn)
		}
		if s.CurrentKn != nil && s.CurrentSetDeg != nil {
			sets = append(sets, *s.CurrentSetDeg)
		}
	}
	text := span(speeds, 1, " kn")
	if set := meanBearing(sets); set != nil {
		text += " setting about " + bearing(set)
	}
	return text
}

// meanBearing is the mean direction, nil where there is none.
func meanBearing(degs []float64) *float64 {
	var x, y float64
	for _, d := range degs {
		s, c := math.Sincos(d * math.Pi / 180)
		x, y = x+c, y+s
	}
	if math.Hypot(x, y) < 0.3*float64(len(degs)) || len(degs) == 0 {
		return nil // from all round
	}
	mean := math.Atan2(y, x) * 180 / math.Pi
	return &mean
}

func mass(v *results.Vessel, sys system) (items []fact, total string) {
	for _, m := range v.Mass {
		items = append(items, fact{capital(m.Name), kilograms(m.Kg, sys)})
	}
	if v.TestMassKg == nil {
		return items, missing + " not all of it is configured"
	}
	return items, kilograms(*v.TestMassKg, sys)
}

func kilograms(kg float64, sys system) string {
	if math.IsNaN(kg) {
		return missing
	}
	return sys.mass(kg)
}

// limits are the settings of the steady windows, as words.
type limits struct{ Min, Settle, Hunting, Course, Step string }

func newLimits(s *results.Steady) limits {
	if !(s.MinS > 0) {
		const unknown = "the configured limit"
		return limits{unknown, unknown, unknown, unknown, unknown}
	}
	return limits{quantity(significantly(s.MinS), "s"), quantity(significantly(s.SettlePct), "%"), quantity(significantly(s.RPMHuntingPct), "%"),
		significantly(s.CourseDeg) + "°", quantity(significantly(s.StepPct), "%")}
}

// significantly renders a setting with the digits it was given.
func significantly(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// provenance says what the figures were made from and by.
func provenance(r *results.Results) []fact {
	facts := []fact{{"Program", "logd " + orElse(r.Version, "of a version not stated")}, {"Layout of the figures", orElse(r.Schema, missing)}}
	if r.Trial.Start != "" && r.Trial.End != "" {
		facts = append(facts, fact{"From", r.Trial.Start}, fact{"To", r.Trial.End})
	}
	if s := r.Vessel.EngineSides; s != "" {
		facts = append(facts, fact{"Port and starboard engine", sentence(s)})
	}
	facts = append(facts, fact{"Frames", thousands(r.Quality.Frames)})
	if h := r.Quality.FramesHash; h != "" {
		facts = append(facts, fact{"SHA-256 of the frames", h})
	}
	return facts
}

type frameRow struct {
	ID          int
	First, Last string
}

func frameRows(windows []results.Window) []frameRow {
	var rows []frameRow
	for _, w := range windows {
		if f := w.Frames; f != nil {
			rows = append(rows, frameRow{w.ID, thousands(f.First), thousands(f.Last)})
		}
	}
	return rows
}
