package watch

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"

	"trialday.example/logd/sink/results"
)

// Colours are of the terminal's own sixteen; every state stands in words too.
var (
	strong  = lipgloss.NewStyle().Bold(true)
	faint   = lipgloss.NewStyle().Faint(true)
	good    = lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Color("2"))
	caution = lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Color("3"))
	alarm   = lipgloss.NewStyle().Bold(true).Reverse(true).Foreground(lipgloss.Color("1"))
)

// View implements tea.Model: from the top what matters most, so that a low
// terminal loses the rest.
func (m model) View() string {
	lines := []string{m.head(), strings.Repeat(m.glyphs.rule, m.width)}
	if m.why != "" {
		lines = append(lines, m.wrap(alarm, fmt.Sprintf("NOT CONNECTED for %s: %s", span(m.now.Sub(m.since).Seconds()), m.why))...)
	}
	if m.state == nil {
		if m.why == "" {
			lines = append(lines, "asking "+m.url+" ...")
		}
		return m.fit(lines)
	}
	lines = append(lines, m.problems()...)
	lines = append(lines, m.figures()...)
	lines = append(append(append(lines, ""), m.guide()...), m.bar(), "")
	lamps := m.lamps()
	return m.fit(append(append(lines, m.steps(m.height-len(lines)-len(lamps)-2)...), append([]string{""}, lamps...)...))
}

// fit cuts what is too long for the terminal, and puts the line on keys last.
func (m model) fit(lines []string) string {
	const keys = "q ends this; the logger goes on"
	if !m.plain {
		lines = lines[:min(len(lines), max(m.height-1, 1))]
		for len(lines) < m.height-1 {
			lines = append(lines, "")
		}
		if m.height > 1 {
			lines = append(lines, faint.Render(keys))
		}
	}
	for i, l := range lines {
		lines[i] = ansi.Truncate(l, m.width, "")
	}
	return strings.Join(lines, "\n")
}

// wrap makes lines of a text.
func (m model) wrap(style lipgloss.Style, text string) []string {
	lines := strings.Split(ansi.Wrap(text, max(m.width, 10), ""), "\n")
	for i, l := range lines {
		lines[i] = style.Render(l)
	}
	return lines
}

// here tells whether what was heard last is the present.
func (m model) here() bool { return m.state != nil && m.why == "" }

// head is the line on the trial, its run and the time.
func (m model) head() string {
	if m.state == nil {
		return strong.Render("trial logger")
	}
	left := "no trial yet"
	if t := m.state.Trial; t != nil {
		left = fmt.Sprintf("trial %d", t.Number)
		if t.Name != "" {
			left += ", " + t.Name
		}
	}
	right := m.recording() + "  " + clock(m.state)
	room := m.width - ansi.StringWidth(right) - 1
	left = ansi.Truncate(left, max(room, 0), "")
	return strong.Render(left) + strings.Repeat(" ", max(m.width-ansi.StringWidth(left)-ansi.StringWidth(right), 1)) + right
}

func (m model) recording() string {
	switch r := m.state.Recording; {
	case !m.here():
		return "last heard"
	case !r.OK:
		return "NOT RECORDING"
	case m.state.Trial == nil:
		return "waiting for the first frame"
	case r.Lost > 0:
		return fmt.Sprintf("recording, %d frames lost", r.Lost)
	default:
		return "recording"
	}
}

func clock(l *results.Live) string {
	t, err := time.Parse(time.RFC3339Nano, l.Time)
	if err != nil {
		return "no time yet"
	}
	text := t.UTC().Format("15:04:05 UTC")
	if !l.ClockKnown {
		text += " by the logger's clock"
	}
	return text
}

func (m model) problems() (lines []string) {
	for _, p := range m.state.Recording.Problems {
		lines = append(lines, m.wrap(alarm, "! "+p)...)
	}
	return lines
}

// figures are the large ones, and the others on a line.
func (m model) figures() []string {
	now := m.state.Now
	if !m.here() {
		now = results.Now{Engines: make([]results.EngineNow, len(now.Engines))}
	}
	blocks := append([]string{
		m.block("speed over ground, kn", now.SOGKn, 1),
		m.block("mean rpm", meanRPM(now.Engines), 0),
	}, m.drive(now)...)
	gap := strings.Repeat(" ", 3)
	row := lipgloss.JoinHorizontal(lipgloss.Top, blocks[0], gap, blocks[1], gap, blocks[2])
	for _, b := range blocks[3:] {
		row = lipgloss.JoinHorizontal(lipgloss.Top, row, gap, b)
	}
	return append(append(strings.Split(row, "\n"), ""), m.others(now)...)
}

// drive are the large figures of what drives the boat, as far as there is room for
// them.
func (m model) drive(now results.Now) []string {
	fuel := []string{m.block("fuel, L/h", now.FuelLPH, 1), m.block("L per nm", now.EconomyLPerNM, 2)}
	e := electric(now)
	battery := []string{m.block("battery, kW", e.PowerKW, 1), m.block("Wh per nm", e.WhPerNM, 0)}
	wide := m.width >= 110
	switch {
	case m.state.Drive == results.HybridDrive && wide:
		return []string{fuel[0], battery[0]}
	case m.state.Drive == results.ElectricDrive && wide:
		return battery
	case m.state.Drive == results.ElectricDrive:
		return battery[:1]
	case wide:
		return fuel
	}
	return fuel[:1]
}

// electric is what the batteries give now; all of nothing where it is not known.
func electric(now results.Now) results.ElectricNow {
	if now.Electric == nil {
		return results.ElectricNow{}
	}
	return *now.Electric
}

// block is one large figure below its name.
func (m model) block(name string, v *float64, decimals int) string {
	return lipgloss.JoinVertical(lipgloss.Left, faint.Render(name), strong.Render(m.large(figure(v, decimals))))
}

// meanRPM is the mean of the engines that tell theirs.
func meanRPM(engines []results.EngineNow) *float64 {
	sum, n := 0.0, 0.0
	for _, e := range engines {
		if e.RPM != nil {
			sum, n = sum+*e.RPM, n+1
		}
	}
	if n == 0 {
		return nil
	}
	sum /= n
	return &sum
}

// others are the remaining figures in small print, and a line of the engines
// where there are several.
func (m model) others(now results.Now) []string {
	d := m.glyphs.degree
	text := fmt.Sprintf("water %s kn  course %s%s  heading %s%s  %s  depth %s m  pitch %s%s  roll %s%s",
		figure(now.STWKn, 1), figure(now.COGDeg, 0), d, figure(now.HeadingDeg, 0), d, m.spent(now),
		figure(now.DepthM, 1), figure(now.PitchDeg, 1), d, figure(now.RollDeg, 1), d)
	lines := m.wrap(lipgloss.NewStyle(), text)
	if len(now.Engines) < 2 {
		return lines
	}
	var engines []string
	for _, e := range now.Engines {
		if e.Name == "" {
			continue // not connected
		}
		text := fmt.Sprintf("%s %s rpm", e.Name, figure(e.RPM, 0))
		if e.Gear != nil {
			text += " " + *e.Gear
		}
		engines = append(engines, text)
	}
	if len(engines) > 0 {
		lines = append(lines, m.wrap(lipgloss.NewStyle(), strings.Join(engines, "   "))...)
	}
	return lines
}

// spent is what the way takes, of fuel and of batteries, and what is left in these.
func (m model) spent(now results.Now) string {
	fuel := figure(now.EconomyLPerNM, 2) + " L/nm"
	e := electric(now)
	battery := fmt.Sprintf("battery %s kW, %s Wh/nm, charge %s %%", figure(e.PowerKW, 1), figure(e.WhPerNM, 0), figure(e.ChargePct, 0))
	switch m.state.Drive {
	case results.ElectricDrive:
		return battery
	case results.HybridDrive:
		return fuel + "  " + battery
	}
	return fuel
}

// figure is a number, or a dash where there is none.
func figure(v *float64, decimals int) string {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		return "-"
	}
	return fmt.Sprintf("%.*f", decimals, *v)
}

// guide says what whoever holds the throttle should do, and below why.
func (m model) guide() []string {
	h := m.state.Hold
	if !m.here() {
		return []string{caution.Render("NO GUIDANCE") + "  without a connection"}
	}
	at := ""
	if h.RPM != nil {
		at = fmt.Sprintf("  at %s rpm", figure(h.RPM, 0))
		if h.HeadingDeg != nil {
			at += fmt.Sprintf(", heading %s%s", figure(h.HeadingDeg, 0), m.glyphs.degree)
		}
	}
	lines := []string{""}
	switch h.State {
	case results.HoldSteady:
		lines[0] = good.Render(fmt.Sprintf("STEADY for %s: HOLD %s MORE", span(h.SteadyS), span(h.MoreS))) + at
	case results.HoldEnough:
		lines[0] = good.Render(fmt.Sprintf("STEADY for %s: LONG ENOUGH, the pass may end", span(h.SteadyS))) + at
	case results.HoldSettling:
		lines[0] = caution.Render("NOT STEADY YET") + at
	default:
		lines[0] = strong.Render("NOT HELD")
	}
	if h.Why != "" {
		lines = append(lines, m.wrap(lipgloss.NewStyle(), h.Why)...)
	}
	return lines
}

// bar shows how much of a pass is done.
func (m model) bar() string {
	h := m.state.Hold
	part := 0.0
	if m.here() && h.NeedS > 0 && (h.State == results.HoldSteady || h.State == results.HoldEnough) {
		part = min(max(h.SteadyS/h.NeedS, 0), 1)
	}
	const label = 14
	room := max(m.width-label, 1)
	n := int(part * float64(room))
	return strings.Repeat(m.glyphs.full, n) + strings.Repeat(m.glyphs.empty, room-n) + fmt.Sprintf(" %3.0f %% of %s", 100*part, span(h.NeedS))
}

// span is a length of time.
func span(s float64) string {
	if s < 120 {
		return fmt.Sprintf("%.0f s", max(s, 0))
	}
	if s < 7200 {
		return fmt.Sprintf("%.0f min", s/60)
	}
	return fmt.Sprintf("%.1f h", s/3600)
}

// steps lists the steps in a number of lines. What does not fit is summed up;
// steps that miss something come first then.
func (m model) steps(room int) []string {
	steps := m.state.Steps
	if len(steps) == 0 {
		return []string{"no step yet: hold throttle and course"}
	}
	lines := []string{faint.Render(m.stepHead())}
	if m.height == 0 || len(steps) < room {
		for _, s := range steps {
			lines = append(lines, m.step(&s))
		}
		return lines
	}
	left := 0
	for _, needy := range []bool{true, false} {
		for _, s := range steps {
			switch {
			case s.NeedsReciprocal != needy:
			case len(lines) < room-1:
				lines = append(lines, m.step(&s))
			default:
				left++
			}
		}
	}
	return append(lines, faint.Render(fmt.Sprintf("   and %d more: enlarge the window, or open the page", left)))
}

func (m model) stepHead() string {
	text := "   rpm   speed, kn         "
	for _, c := range m.spendings() {
		text += pad(c.head, c.width) + "   "
	}
	return text + "passes   missing"
}

func (m model) step(s *results.SoFar) string {
	missing := "nothing"
	if s.NeedsReciprocal {
		missing = "the way back"
		if s.ReciprocalDeg != nil {
			missing = fmt.Sprintf("a pass on %s%s", figure(s.ReciprocalDeg, 0), m.glyphs.degree)
		}
		missing = caution.Render(missing)
	}
	text := fmt.Sprintf("%6.0f   %s   ", s.RPM, pad(m.interval(s.SpeedKn, 1), 15))
	for _, c := range m.spendings() {
		text += pad(m.interval(c.of(s), c.decimals), c.width) + "   "
	}
	return text + fmt.Sprintf("%6d   %s", s.Passes, missing)
}

// spending is a column of what steps take, of fuel or of batteries.
type spending struct {
	head     string
	width    int
	decimals int
	of       func(*results.SoFar) *results.Interval
}

// spendings are the columns for what drives the boat, as far as there is room for them.
func (m model) spendings() []spending {
	fuel := spending{"fuel, L/h", 15, 1, func(s *results.SoFar) *results.Interval { return s.FuelLPH }}
	power := spending{"battery, kW", 12, 1, func(s *results.SoFar) *results.Interval { return s.Electric.PowerKW }}
	energy := spending{"Wh/nm", 12, 0, func(s *results.SoFar) *results.Interval { return s.Electric.WhPerNM }}
	switch m.state.Drive {
	case results.ElectricDrive:
		return []spending{power, energy}
	case results.HybridDrive:
		fuel.width = 12
		const all = 96 // columns of the terminal
		if m.width < all {
			return []spending{fuel, power}
		}
		return []spending{fuel, power, energy}
	}
	return []spending{fuel}
}

// interval is a mean with half its 95 % interval.
func (m model) interval(v *results.Interval, decimals int) string {
	if v == nil || math.IsNaN(v.Mean) {
		return "-"
	}
	text := fmt.Sprintf("%.*f", decimals, v.Mean)
	if half := (v.Hi95 - v.Lo95) / 2; !math.IsNaN(half) {
		text += fmt.Sprintf(" %s %.*f", m.glyphs.plusMinus, decimals+1, half)
	}
	return text
}

func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(width-ansi.StringWidth(text), 0))
}

// lamps say what is wrong, each on its lines, and name what is well.
func (m model) lamps() []string {
	if !m.here() {
		return nil
	}
	var lines, well, off []string
	for _, l := range m.state.Lamps {
		switch l.State {
		case results.LampBad:
			lines = append(lines, m.wrap(lipgloss.NewStyle(), alarm.Render("BAD")+"  "+l.Name+": "+l.Text)...)
		case results.LampWarn:
			lines = append(lines, m.wrap(lipgloss.NewStyle(), caution.Render("LOOK")+" "+l.Name+": "+l.Text)...)
		case results.LampOff:
			off = append(off, l.Name)
		default:
			well = append(well, l.Name)
		}
	}
	for _, group := range []struct {
		names []string
		word  string
	}{{well, good.Render("GOOD")}, {off, "OFF "}} {
		if len(group.names) > 0 {
			lines = append(lines, m.wrap(lipgloss.NewStyle(), group.word+" "+strings.Join(group.names, ", "))...)
		}
	}
	return lines
}
