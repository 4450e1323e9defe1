package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

// mostAttempts is how many starts have a column of their own.
const mostAttempts = 4

// mark is a speed that a start is timed to.
type mark struct {
	kn       float64
	name     string
	seconds  results.Interval
	distance *float64
}

// timed lists the speeds of both lists in their order.
func timed(knots []results.ToSpeed, miles []results.ToMiles) []mark {
	var out []mark
	for _, k := range knots {
		out = append(out, mark{k.SpeedKn, quantity(fixed(k.SpeedKn, 0), "kn") + " (" + quantity(fixed(units.MPH(k.SpeedKn), 1), "mph") + ")", k.Seconds, k.DistanceM})
	}
	for _, m := range miles {
		kn := m.SpeedMPH / units.MilesPerNauticalMile
		out = append(out, mark{kn, quantity(fixed(m.SpeedMPH, 0), "mph") + " (" + quantity(fixed(kn, 1), "kn") + ")", m.Seconds, m.DistanceM})
	}
	slices.SortStableFunc(out, func(a, b mark) int { return cmp.Compare(a.kn, b.kn) })
	return out
}

// acceleration shows each group of starts alike, and draws the fullest.
func (d *details) acceleration() (part, error) {
	p := part{Title: "Acceleration", Wide: true, Lines: d.absent("acceleration", "time to plane")}
	main := d.fullThrottle()
	for i := range d.AccelerationMeans {
		p.Tables = append(p.Tables, tables(d.startsAlike(i))...)
	}
	if len(p.Tables) == 0 {
		return p, nil
	}
	p.Notes = []string{"Time counts from the first rise of engine speed; speed is through the water" + d.startCurrent() + "." +
		" ± holds the error of the receiver's lag and of the current."}
	plot, err := d.startPlot(main)
	p.Plot = plot
	return p, err
}

func (d *details) startCurrent() string {
	without := 0
	for i := range d.Accelerations {
		if !d.Accelerations[i].CurrentKnown {
			without++
		}
	}
	switch without {
	case 0:
		return ", current taken out"
	case len(d.Accelerations):
		return ", but no current was known to take out"
	}
	return ", current taken out where it was known"
}

// fullThrottle is the index of the group of starts that stands for the boat:
// most engines, most rpm, from rest, most often. It is -1 where there is none.
func (d *details) fullThrottle() int {
	best := -1
	for i := range d.AccelerationMeans {
		if best < 0 || fuller(&d.AccelerationMeans[i], &d.AccelerationMeans[best]) {
			best = i
		}
	}
	return best
}

// fuller compares two groups of starts. Speeds of the engines within 3 % are
// one throttle setting.
func fuller(a, b *results.AccelerationMean) bool {
	if len(a.Engines) != len(b.Engines) {
		return len(a.Engines) > len(b.Engines)
	}
	if a.RPM != nil && b.RPM != nil && max(*a.RPM, *b.RPM) > 1.03*min(*a.RPM, *b.RPM) {
		return *a.RPM > *b.RPM
	}
	if a.FromRest != b.FromRest {
		return a.FromRest
	}
	return a.Attempts > b.Attempts
}

func startWords(g *results.AccelerationMean) string {
	text := "1 start"
	if g.Attempts != 1 {
		text = fmt.Sprintf("%d starts", g.Attempts)
	}
	if g.FromRest {
		text += " from rest"
	} else {
		text += " from idling ahead"
	}
	if g.RPM != nil {
		text += " to " + quantity(fixed(*g.RPM, 0), "rpm")
	}
	switch {
	case g.Reciprocal:
		text += ", both directions"
	case g.Attempts > 1:
		text += ", one direction"
	}
	return text
}

// startsAlike is the table of one group: times to speeds, and those of each
// start where they are few.
func (d *details) startsAlike(group int) dataTable {
	g := &d.AccelerationMeans[group]
	attempts := d.attempts(group)
	if len(attempts) > mostAttempts || len(attempts) < 2 {
		attempts = nil
	}
	t := dataTable{Caption: startWords(g), Head: heads("to", "seconds", d.sys.first("metres", "feet"))}
	for _, a := range attempts {
		t.Head = append(t.Head, column{Name: clockTime(a.Start) + ", " + bearing(a.HeadingDeg)})
	}
	for _, m := range timed(g.ToSpeeds, g.ToSpeedsMPH) {
		cells := []figure{plain(m.name), interval(&m.seconds, 1), d.metresOrFeet(m.distance)}
		for _, a := range attempts {
			cells = append(cells, timeTo(a, m.kn))
		}
		t.add(cells...)
	}
	if g.ToPlaneS != nil {
		cells := []figure{plain("on the plane"), interval(g.ToPlaneS, 1), {}}
		for _, a := range attempts {
			cells = append(cells, interval(a.ToPlaneS, 1))
		}
		t.add(cells...)
	}
	return t
}

func (d *details) metresOrFeet(m *float64) figure {
	if m == nil {
		return figure{}
	}
	return plain(d.sys.first(fixed(*m, 0), fixed(units.Feet(*m), 0)))
}

func (d *details) attempts(group int) []*results.Acceleration {
	var out []*results.Acceleration
	for i := range d.Accelerations {
		if a := &d.Accelerations[i]; a.Combined != nil && *a.Combined == group {
			out = append(out, a)
		}
	}
	return out
}

func timeTo(a *results.Acceleration, kn float64) figure {
	for _, m := range timed(a.ToSpeeds, a.ToSpeedsMPH) {
		if m.kn == kn {
			return interval(&m.seconds, 1)
		}
	}
	return figure{}
}

// engineSet names engines briefly; there is nothing to say of a single one.
func (d *details) engineSet(names []string) string {
	switch n := len(d.Vessel.Engines); {
	case n == 1:
		return ""
	case n == len(names):
		return fmt.Sprintf("all %d", n)
	}
	return listed(names)
}

// starts lists every start with what the table of times does not say.
func (d *details) starts() part {
	t := dataTable{Head: []column{{Name: "start"}, {Name: "heading"}, {Name: "from", Class: "text"}, {Name: "engines", Class: "words"}, {Name: "rpm at the end"},
		{Name: "kn at the start"}, {Name: "kn at the end"}, {Name: "to plane, s"}, {Name: "kn then"}, {Name: "highest trim, °"}, {Name: "greatest, m/s²"}, {Name: "current", Class: "text"}}}
	for i := range d.Accelerations {
		a := &d.Accelerations[i]
		from, current, planes := "idling ahead", "not known", figure{}
		if a.FromRest {
			from = "rest"
		}
		if a.CurrentKnown {
			current = "taken out"
		}
		if a.ToPlaneS != nil {
			planes = value(a.PlaneSpeedKn, 1)
		}
		t.add(plain(clockTime(a.Start)), plain(bearing(a.HeadingDeg)), plain(from), plain(d.engineSet(a.Engines)), value(a.RPM, 0),
			value(a.StartSpeedKn, 1), value(a.EndSpeedKn, 1), interval(a.ToPlaneS, 1), planes, value(a.PeakPitchDeg, 1), value(a.PeakMS2, 2), plain(current))
	}
	return part{Title: "Every start", Wide: true, Tables: tables(t)}
}

// turning sets the turns side by side.
func (d *details) turning() part {
	p := part{Title: "Turning circles", Wide: len(d.Turns) > 2, Lines: d.absent("turning circle")}
	turn := func(key string, of func(*results.Turn) *float64, decimals int, unit string) func(int) figure {
		return func(i int) figure { return measured(of(&d.Turns[i]), d.Turns[i].Intervals, key, decimals, unit) }
	}
	across := func(key string, of func(*results.Turn) *float64) func(int) figure {
		return func(i int) figure { return d.sys.measuredDistance(of(&d.Turns[i]), d.Turns[i].Intervals, key) }
	}
	head := func(i int) string { return "to " + d.Turns[i].Direction + ", " + clockTime(d.Turns[i].Start) }
	p.Tables = tables(propertyTables(len(d.Turns), head, []property{
		{"Speed at the entry", turn("entry_speed_kn", func(t *results.Turn) *float64 { return t.EntrySpeedKn }, 1, "kn")},
		{"Engine speed", turn("rpm", func(t *results.Turn) *float64 { return t.RPM }, 0, "rpm")},
		{"360° in", turn("time_360_s", func(t *results.Turn) *float64 { return t.Time360S }, 1, "s")},
		{"180° in", turn("time_180_s", func(t *results.Turn) *float64 { return t.Time180S }, 1, "s")},
		{"90° in", turn("time_90_s", func(t *results.Turn) *float64 { return t.Time90S }, 1, "s")},
		{"Steady diameter", across("steady_diameter_m", func(t *results.Turn) *float64 { return t.SteadyDiameterM })},
		{"in boat lengths", turn("diameter_lengths", func(t *results.Turn) *float64 { return t.DiameterLengths }, 1, "")},
		{"Tactical diameter", across("tactical_diameter_m", func(t *results.Turn) *float64 { return t.TacticalDiameterM })},
		{"in boat lengths", turn("tactical_lengths", func(t *results.Turn) *float64 { return t.TacticalLengths }, 1, "")},
		{"Advance", across("advance_m", func(t *results.Turn) *float64 { return t.AdvanceM })},
		{"Transfer", across("transfer_m", func(t *results.Turn) *float64 { return t.TransferM })},
		{"Rate of turn", turn("rate_of_turn_deg_per_s", func(t *results.Turn) *float64 { return t.RateDegPerS }, 1, "°/s")},
		{"First heel", turn("heel_peak_deg", func(t *results.Turn) *float64 { return t.HeelPeakDeg }, 1, "°")},
		{"Settled heel", turn("heel_settled_deg", func(t *results.Turn) *float64 { return t.HeelSettledDeg }, 1, "°")},
		{"Speed in the turn", turn("steady_speed_kn", func(t *results.Turn) *float64 { return t.SteadySpeedKn }, 1, "kn")},
		{"Speed lost", turn("speed_loss_pct", func(t *results.Turn) *float64 { return t.SpeedLossPct }, 0, "%")},
		{"Rudder or drive", func(i int) figure { return plain(helm(d.Turns[i].RudderDeg)) }},
		{"Current met", func(i int) figure { return plain(drift(d.Turns[i].CurrentKn, d.Turns[i].CurrentSetDeg)) }},
		{"Start found by", func(i int) figure { return plain(d.Turns[i].OrderFrom) }},
	})...)
	if len(p.Tables) > 0 {
		p.Notes = []string{"Through the water, the current's drift taken off the track. Heel is positive into the turn."}
	}
	return p
}

// measured is a figure with its unit, and with its interval where the table of
// intervals has one under the key.
func measured(x *float64, intervals map[string]results.Interval, key string, decimals int, unit string) figure {
	i, ok := intervals[key]
	if x == nil || !ok {
		return measure(x, decimals, unit)
	}
	f := interval(&i, decimals)
	return figure{Value: united(joined("\u00a0", f.Value, f.PM), unit)}
}

// measuredDistance is the same for a length in m, in both systems; the interval
// is in the first.
func (s system) measuredDistance(m *float64, intervals map[string]results.Interval, key string) figure {
	i, ok := intervals[key]
	if m == nil || !ok {
		return plain(s.distance(m))
	}
	metres, feet := interval(&i, 0), interval(scaled(&i, units.Feet(1)), 0)
	if s {
		metres.PM = ""
	} else {
		feet.PM = ""
	}
	return plain(s.pair(quantity(joined(" ", metres.Value, metres.PM), "m"), quantity(joined(" ", feet.Value, feet.PM), "ft")))
}

// helm renders a rudder angle, starboard positive.
func helm(deg *float64) string {
	switch {
	case deg == nil:
		return ""
	case *deg < 0:
		return fixed(-*deg, 0) + "° to port"
	}
	return fixed(*deg, 0) + "° to starboard"
}

// measure is a figure with its unit.
func measure(x *float64, decimals int, unit string) figure {
	if x == nil {
		return figure{}
	}
	return figure{Value: united(fixed(*x, decimals), unit)}
}

// united joins a value and its unit; degrees follow without a blank.
func united(value, unit string) string {
	if unit == "" || strings.HasPrefix(unit, "°") {
		return value + unit
	}
	return quantity(value, unit)
}

// drift renders a current, "" where there is none.
func drift(kn, set *float64) string {
	if kn == nil {
		return ""
	}
	text := quantity(fixed(*kn, 1), "kn")
	if set != nil {
		text += " sets " + bearing(set)
	}
	return text
}

func (d *details) stopping() part {
	p := part{Title: "Crash stop", Wide: len(d.Stops) > 2, Lines: d.absent("crash stop")}
	way := func(key string, of func(*results.Stop) *float64) func(int) figure {
		return func(i int) figure { return d.sys.measuredDistance(of(&d.Stops[i]), d.Stops[i].Intervals, key) }
	}
	lengths := func(i int) figure {
		m, l := d.Stops[i].TrackReachM, d.Vessel.LengthM
		if m == nil || l == nil || !(*l > 0) {
			return figure{}
		}
		return plain(fixed(*m / *l, 1))
	}
	p.Tables = tables(propertyTables(len(d.Stops), func(i int) string { return clockTime(d.Stops[i].Start) }, []property{
		{"Speed at the start", func(i int) figure {
			return measured(d.Stops[i].EntrySpeedKn, d.Stops[i].Intervals, "entry_speed_kn", 1, "kn")
		}},
		{"Engine speed", func(i int) figure { return measure(d.Stops[i].RPM, 0, "rpm") }},
		{"Stopped in", func(i int) figure {
			if d.Stops[i].Seconds == nil {
				return figure{}
			}
			return plain(withUnit(interval(d.Stops[i].Seconds, 1), "s"))
		}},
		{"First engine astern after", func(i int) figure { return measured(d.Stops[i].AsternS, d.Stops[i].Intervals, "astern_s", 1, "s") }},
		{"Track reach", way("track_reach_m", func(s *results.Stop) *float64 { return s.TrackReachM })},
		{"in boat lengths", lengths},
		{"Head reach", way("head_reach_m", func(s *results.Stop) *float64 { return s.HeadReachM })},
		{"Way over ground", way("ground_path_m", func(s *results.Stop) *float64 { return s.GroundPathM })},
		{"Current", func(i int) figure {
			if d.Stops[i].CurrentKnown {
				return plain("taken out")
			}
			return plain("not known")
		}},
	})...)
	if len(p.Tables) > 0 {
		p.Notes = []string{"From the first movement of the throttles until no way is left through the water."}
	}
	return p
}

// gears tells the order of the engines in plain sentences.
func (d *details) gears() part {
	p := part{Title: "Gears", Lines: d.absent("gear timeline")}
	for _, what := range []struct{ key, words string }{{"engaged", "Shifted %s together"}, {"disengaged", "Shifted from %s to neutral together"}} {
		for _, gear := range []struct{ key, words string }{{"forward", "ahead"}, {"reverse", "astern"}} {
			var list []results.Engagement
			for _, e := range d.Engagement {
				if e.What == what.key && e.Gear == gear.key && len(e.Engines) > 1 {
					list = append(list, e)
				}
			}
			if len(list) > 0 {
				p.Lines = append(p.Lines, together(fmt.Sprintf(what.words, gear.words), list))
			}
		}
	}
	if n := len(d.GearEvents); n > 0 {
		line := thousands(int64(n)) + " shifts were heard."
		if n == 1 {
			line = "1 shift was heard."
		}
		p.Lines = append(p.Lines, line)
	}
	if d.NotListed > 0 {
		p.Lines = append(p.Lines, thousands(int64(d.NotListed))+" manoeuvres and shifts more are not listed, being too many.")
	}
	return p
}

// together tells how often and in what order.
func together(start string, list []results.Engagement) string {
	counts := map[string]int{}
	var delays []float64
	usual := ""
	for _, e := range list {
		order := listed(e.Engines)
		counts[order]++
		if usual == "" || counts[order] > counts[usual] {
			usual = order
		}
	}
	for _, e := range list {
		if n := len(e.DelaysS); n > 0 && listed(e.Engines) == usual {
			delays = append(delays, e.DelaysS[n-1])
		}
	}
	n, often := len(list), fmt.Sprintf("%d times", len(list))
	switch n {
	case 1:
		often = "once"
	case 2:
		often = "twice"
	}
	order := strings.Replace(usual, " and ", " and then ", 1)
	switch {
	case n == 1 || counts[usual] < n:
	case n == 2:
		order = "both times " + order
	default:
		order = "always " + order
	}
	if counts[usual] < n {
		order = fmt.Sprintf("%d times %s, else in another order", counts[usual], order)
		if counts[usual] == 1 {
			order = "each time in another order"
		}
	}
	text := start + " " + often + ": " + order
	if s := span(delays, 1, "\u00a0s"); s != "" && counts[usual] > 1 || n == 1 && s != "" {
		text += ", the last " + s + " after the first"
	}
	return text + "."
}

func (d *details) enginesOut() part {
	t := dataTable{Head: []column{{Name: "from"}, {Name: "to"}, {Name: "driving", Class: "words"}, {Name: "in neutral", Class: "words"}, {Name: "stopped", Class: "words"}, {Name: "kn over ground"}}}
	for _, e := range d.EngineOut {
		t.add(plain(clockTime(e.Start)), plain(clockTime(e.End)), plain(listed(e.Driving)), plain(listed(e.Neutral)), plain(listed(e.Stopped)), value(e.SOGKn, 1))
	}
	return part{Title: "On some of the engines", Tables: tables(t)}
}

func (d *details) slow() part {
	t := dataTable{Head: []column{{Name: "gear"}, {Name: "engines", Class: "words"}, {Name: "rpm"}, {Name: "kn after 10 s"}, {Name: "fastest turn, °/s"}, {Name: "seconds"}, {Name: "times"}, {Name: "current", Class: "text"}}}
	for _, s := range d.SlowSpeed {
		gear, current := s.Gear, "not known"
		switch s.Gear {
		case "forward":
			gear = "ahead"
		case "reverse":
			gear = "astern"
		}
		if s.CurrentKnown {
			current = "taken out"
		}
		t.add(plain(gear), plain(d.engineSet(s.Engines)), value(s.RPM, 0), value(s.SpeedKn, 1), value(s.MaxRateDegPS, 1), plain(fixed(s.Seconds, 0)), plain(fmt.Sprint(s.Stretches)), plain(current))
	}
	return part{Title: "At idle, in gear", Tables: tables(t)}
}
