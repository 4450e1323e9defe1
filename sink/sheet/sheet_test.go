package sheet

import (
	"bytes"
	"encoding/csv"
	"math"
	"regexp"
	"strings"
	"testing"

	"trialday.example/logd/sink/results"
)

func render(t *testing.T, r *results.Results, tl *results.Timeline) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteHTML(&b, r, tl); err != nil {
		t.Fatal(err)
	}
	wellFormed(t, b.String())
	return b.String()
}

var (
	tagPattern = regexp.MustCompile(`<(/?)([a-zA-Z][a-zA-Z0-9]*)[^>]*?(/?)>`)
	void       = map[string]bool{"meta": true, "br": true}
)

// wellFormed checks that every element is closed in its place.
func wellFormed(t *testing.T, page string) {
	t.Helper()
	var open []string
	for _, m := range tagPattern.FindAllStringSubmatch(page, -1) {
		closing, name := m[1] == "/", strings.ToLower(m[2])
		switch {
		case void[name] || m[3] == "/":
		case !closing:
			open = append(open, name)
		case len(open) == 0 || open[len(open)-1] != name:
			t.Fatalf("</%s> closes %v", name, open)
		default:
			open = open[:len(open)-1]
		}
	}
	if len(open) > 0 {
		t.Fatalf("not closed: %v", open)
	}
}

// plainText strips the tags of the part of page from one mark to the next.
func plainText(page, from, to string) string {
	_, part, _ := strings.Cut(page, from)
	part, _, _ = strings.Cut(part, to)
	return strings.Join(strings.Fields(tagPattern.ReplaceAllString(part, " ")), " ")
}

func TestFirstPageAnswersTheQuestions(t *testing.T) {
	r, tl := inventedDay(3)
	got := strings.ReplaceAll(plainText(render(t, r, tl), `class="answers"`, "</section>"), "&nbsp;", "\u00a0")
	got = strings.Join(strings.Fields(got), " ")
	for _, want := range []string{"Top speed 33.5 kn ± 0.2 kn 38.6 mph at 3080 rpm 372.0 L/h · 98.3 US gal/h",
		"Best economy on the plane 0.177 nm/L ±", "23.9 kn at 2100 rpm", "Level with it: 28.7 kn",
		"Best at any speed: 0.777 nm/L at 7.4 kn, not planing",
		"Cruise at 80 % load 27.3 kn 31.4 mph at 2655 rpm", "Interpolated between two steps; the nearest, at 2700 rpm, 81 % load: 31.5 ± 0.2 kn",
		"Best range on the plane 239 nm ± 3 nm", "on 1350 L (357 US gal): the tank less 10 % kept back"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
}

func TestTheFileNeedsNothingElse(t *testing.T) {
	r, tl := inventedDay(3)
	page := render(t, r, tl)
	page = strings.ReplaceAll(page, "http://www.w3.org/", "") // names of XML vocabularies, not fetched
	for _, bad := range []string{"<script", "<link", "<img", "<iframe", "http:", "https:", "url(", "@import", "javascript:"} {
		if strings.Contains(page, bad) {
			t.Errorf("the sheet has %q", bad)
		}
	}
	if n := strings.Count(page, "<svg"); n != 8 {
		t.Errorf("%d drawings, want 8", n)
	}
}

func TestSameResultsSameBytes(t *testing.T) {
	r, tl := inventedDay(8)
	first := render(t, r, tl)
	for range 2 {
		r, tl = inventedDay(8)
		if render(t, r, tl) != first {
			t.Fatal("two renderings differ")
		}
	}
}

// Every text that comes from outside is hostile here; none may become markup.
func TestHostileNamesAreOnlyText(t *testing.T) {
	const evil = `</title></style></svg>"'><script>alert(1)</script><b x="`
	r, tl := inventedDay(3)
	r.Version, r.Schema, r.Trial.Name, r.Trial.Place = evil, evil, evil, evil
	r.Vessel.Name, r.Vessel.Hull, r.Vessel.FuelKind = evil, evil, evil
	r.Vessel.Mass[0].Name = evil
	for i := range r.Vessel.Engines {
		r.Vessel.Engines[i].Name = evil
	}
	r.Missing[0] = results.MissingFigure{Figure: evil, Why: evil}
	r.Findings[0] = results.Finding{What: evil, Meaning: evil, Remedy: evil}
	r.Steps[0].Note, r.Windows[0].Start, r.Runs[0].Kind, r.Sources[0].Quantity, r.Sources[0].Why = evil, evil, evil, evil, evil
	r.Windows[5].Reason = evil
	r.Devices[0] = results.Device{Bus: evil, Name: evil, Model: evil, Software: evil, Serial: evil}
	r.Quality.Losses[evil], r.Quality.Gaps[0].What = 1, evil
	r.Quality.FramesHash, r.Trial.Units, r.PerNM.Currency, r.Current.Note = evil, evil, evil, evil
	r.Readings[0].Comment, r.MassReference.Steps[0].Law = evil, evil
	r.Best.DisplacementOptimum.Why = evil
	r.Propulsion.Engines[0].Statement, r.Propulsion.Assumptions[0] = evil, evil
	r.FuelCheck.Engines[0].Engine, r.Accelerations[0].Start = evil, evil
	r.Turns[0].Direction, r.Turns[0].OrderFrom, r.SlowSpeed[0].Gear = evil, evil, evil
	for i := range r.Engagement {
		r.Engagement[i].Engines[0] = evil
	}
	r.EngineOut[0].Driving, r.Accelerations[0].Engines = []string{evil}, []string{evil}
	page := render(t, r, tl)
	for _, bad := range []string{"<script", "<b ", "</title></style>"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page has %q as markup", bad)
		}
	}
	if !strings.Contains(page, "&lt;script&gt;") {
		t.Error("the names are not shown at all")
	}
}

// The row says it once, in few words, beside what was noted by hand.
func TestOneDirectionIsPlainlyMarked(t *testing.T) {
	r, tl := inventedDay(3)
	row := plainText(render(t, r, tl), ">1400", "</tbody>")
	if strings.Count(row, "one direction") != 1 || strings.Count(row, "not corrected") != 1 {
		t.Errorf("the row of the one-way step reads %q", row)
	}
	r.Steps[2].Note = "engine trim was changed"
	if row := plainText(render(t, r, tl), ">1400", "</tbody>"); !strings.HasSuffix(row, "Engine trim was changed.") {
		t.Errorf("a note of another kind is lost: %q", row)
	}
	r.Best.TopSpeedStep = ptr(3)
	if got := plainText(render(t, r, tl), `class="answers"`, "</section>"); !strings.Contains(got, oneDirection) {
		t.Errorf("a top speed in one direction is not marked: %q", got)
	}
}

func TestStepOnFewerEnginesIsMarked(t *testing.T) {
	r, tl := inventedDay(3)
	r.Steps[1].Engines = []string{"port", "starboard"}
	page := render(t, r, tl)
	if row := plainText(page, ">1000", "</tbody>"); !strings.Contains(row, "2 of 3 engines") {
		t.Errorf("the row reads %q", row)
	}
	if row := plainText(page, ">1400", "</tbody>"); strings.Contains(row, "engines") {
		t.Errorf("a step on all engines reads %q", row)
	}
}

func TestCruiseSaysWhereItComesFrom(t *testing.T) {
	r, tl := inventedDay(3)
	cruise := func() string {
		return plainText(strings.ReplaceAll(render(t, r, tl), "\u00a0", " "), "Cruise at", "</section>")
	}
	r.Best.CruiseStep = nil
	if got := cruise(); !strings.Contains(got, "Interpolated between two steps") || strings.Contains(got, "nearest") {
		t.Errorf("between steps, none near: %q", got)
	}
	r.Best.CruiseStep, r.Best.Cruise = ptr(7), nil
	got := plainText(strings.ReplaceAll(render(t, r, tl), "\u00a0", " "), "Near cruise", "</div>")
	if !strings.Contains(got, "31.5 &nbsp;kn") || !strings.Contains(got, "at 2700 rpm, 81 % load") || strings.Contains(got, "Interpolated") {
		t.Errorf("a step near, none enclosing: %q", got)
	}
}

func TestStatementsAreSentences(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{sentence("no fuel rate was heard (PGN 127489)"), "No fuel rate was heard (PGN 127489)."},
		{sentence("fuel.tank_l is not configured"), "fuel.tank_l is not configured."},
		{sentence("It is. "), "It is."}, {sentence(""), ""}, {sentence("é"), "É."},
		{small("Planing threshold"), "planing threshold"}, {small("GNSS time"), "GNSS time"}, {small("A"), "A"},
		{listed([]string{"a", "b", "c"}), "a, b and c"}, {listed([]string{"a"}), "a"}, {listed(nil), ""},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
	r, tl := inventedDay(3)
	r.Missing = []results.MissingFigure{{Figure: "economy", Why: "no fuel rate was heard"}, {Figure: "range", Why: "no fuel rate was heard"}}
	if got := plainText(render(t, r, tl), "Limits of these figures", "</li>"); got != "No economy. No range. No fuel rate was heard." {
		t.Errorf("what could not be derived: %q", got)
	}
}

// A long day is drawn in strips, so that a window of a minute can be seen.
func TestLongDayIsDrawnInStrips(t *testing.T) {
	r, _ := inventedDay(1)
	for hours, want := range map[float64]int{0.1: 1, 2: 1, 3: 1, 4: 2, 10: 4, 200: maxStrips} {
		n := int(hours * 3600 / 10)
		tl := &results.Timeline{StartUnix: float64(dayStart.Unix()), StepS: 10, SpeedKn: make([]float64, n+1), RPM: [][]float64{make([]float64, n+1)}}
		d, err := dayPlot(r, tl)
		if err != nil {
			t.Fatal(err)
		}
		if len(d.Strips) != want {
			t.Errorf("%g h are drawn in %d strips, want %d", hours, len(d.Strips), want)
		}
	}
}

// withoutFuel is a day on which only speed and rpm were heard.
func withoutFuel(n int) (*results.Results, *results.Timeline) {
	r, tl := inventedDay(n)
	r.Vessel.LengthM, r.Vessel.TankL, r.Vessel.UsableL, r.Vessel.TestMassKg = nil, nil, nil, nil
	r.Best, r.Missing = results.Best{TopSpeedStep: ptr(9)}, nil
	for i := range r.Steps {
		s := &r.Steps[i]
		*s = results.Step{ID: s.ID, RPM: s.RPM, SpeedKn: s.SpeedKn, SpeedMPH: s.SpeedMPH, Passes: 2, Windows: s.Windows, CurrentCorrected: true}
	}
	for i := range r.Windows {
		w := &r.Windows[i]
		*w = results.Window{ID: w.ID, Run: w.Run, Start: w.Start, End: w.End, Accepted: true, Step: w.Step, SOGKn: w.SOGKn}
	}
	return r, tl
}

func TestWhatIsMissingIsADashWithAReasonAndNeverZero(t *testing.T) {
	r, tl := withoutFuel(3)
	page := render(t, r, tl)
	for cell := range strings.SplitSeq(plainText(page, ">2100", "</tbody>"), " ") {
		if regexp.MustCompile(`^0(\.0*)?$`).MatchString(cell) {
			t.Errorf("a missing figure shows as %s", cell)
		}
	}
	if got := strings.Count(plainText(page, ">2100", "</tbody>"), missing); got != 10 {
		t.Errorf("%d dashes in a step without fuel, load, trim and current, want 10", got)
	}
	got := plainText(page, `class="answers"`, "</section>")
	if strings.Count(got, missing+" No fuel rate was heard.") != 3 {
		t.Errorf("economy, cruise and range do not say why they are missing: %q", got)
	}
	r.Missing = []results.MissingFigure{{Figure: "Range on usable fuel", Why: "fuel.tank_l is not configured."}}
	if got = plainText(render(t, r, tl), `class="answers"`, "</section>"); !strings.Contains(got, "Range "+missing+" fuel.tank_l is not configured.") {
		t.Errorf("the stated reason is not used: %q", got)
	}
}

func TestNothingAtAllStillGivesASheet(t *testing.T) {
	page := render(t, &results.Results{}, nil)
	got := plainText(page, `class="answers"`, "</section>")
	if strings.Count(got, missing) != 4 || strings.ContainsAny(got, "0123456789") {
		t.Errorf("answers of an empty day: %q", got)
	}
	if strings.Contains(page, "<svg") || strings.Contains(page, "NaN") {
		t.Error("an empty day has a drawing or a NaN")
	}
}

func TestUnknownBoundsAndGapsInTheTimeline(t *testing.T) {
	r, tl := inventedDay(1)
	nan := math.NaN()
	for i := range r.Steps {
		r.Steps[i].SpeedKn.Lo95, r.Steps[i].SpeedKn.Hi95 = nan, math.Inf(1)
		r.Steps[i].FuelLPH = &results.Interval{Mean: nan, Lo95: nan, Hi95: nan}
	}
	for i := range tl.SpeedKn {
		if i%7 < 3 {
			tl.SpeedKn[i], tl.RPM[0][i] = nan, nan
		}
	}
	page := render(t, r, tl)
	for _, bad := range []string{"NaN", "Inf"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page has %s", bad)
		}
	}
	for i := range tl.SpeedKn {
		tl.SpeedKn[i], tl.RPM[0][i] = nan, nan
	}
	if strings.Contains(render(t, r, tl), "NaN") {
		t.Error("a timeline without any value draws NaN")
	}
}

// A single step, and steps of equal speed, leave the scales without extent.
func TestDegenerateSteps(t *testing.T) {
	r, tl := inventedDay(1)
	r.Steps = r.Steps[:1]
	r.Steps[0].SpeedKn = results.Interval{}
	if page := render(t, r, tl); strings.Contains(page, "NaN") {
		t.Error("a single step draws NaN")
	}
	r.Steps = []results.Step{r.Steps[0], r.Steps[0]}
	if page := render(t, r, tl); strings.Contains(page, "NaN") {
		t.Error("two equal steps draw NaN")
	}
}

func TestEveryRejectedWindowHasItsReason(t *testing.T) {
	r, tl := inventedDay(3)
	page := render(t, r, tl)
	for _, w := range r.Windows {
		if !w.Accepted && !strings.Contains(page, `class="text">`+w.Reason) {
			t.Errorf("window %d: no reason", w.ID)
		}
	}
}

func table(t *testing.T, write func(*bytes.Buffer) error) (header []string, rows [][]string) {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(&b).ReadAll() // also checks that all lines are as long
	if err != nil {
		t.Fatal(err)
	}
	return all[0], all[1:]
}

func TestCSVLeavesMissingCellsEmpty(t *testing.T) {
	full, _ := inventedDay(3)
	bare, _ := withoutFuel(3)
	for name, write := range map[string]func(*bytes.Buffer, *results.Results) error{
		"steps":   func(b *bytes.Buffer, r *results.Results) error { return WriteStepsCSV(b, r) },
		"windows": func(b *bytes.Buffer, r *results.Results) error { return WriteWindowsCSV(b, r) },
	} {
		header, rows := table(t, func(b *bytes.Buffer) error { return write(b, full) })
		_, bareRows := table(t, func(b *bytes.Buffer) error { return write(b, bare) })
		for i, h := range header {
			if !strings.HasPrefix(h, "fuel_l_per_h") && !strings.HasPrefix(h, "load_pct") {
				continue
			}
			if rows[0][i] == "" || bareRows[0][i] != "" {
				t.Errorf("%s: %s is %q when heard and %q when not", name, h, rows[0][i], bareRows[0][i])
			}
		}
	}
	header, _ := table(t, func(b *bytes.Buffer) error { return WriteWindowsCSV(b, full) })
	if !strings.Contains(strings.Join(header, ","), "rpm port,rpm port lo95,rpm port hi95,fuel_l_per_h port") {
		t.Errorf("no columns for each engine: %v", header)
	}
}

func TestFiguresAsText(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{fixed(-0.04, 1), "0.0"}, {fixed(-1.25, 1), "−1.2"}, {fixed(math.NaN(), 1), missing},
		{bearing(ptr(4.6)), "005°"}, {bearing(ptr(359.7)), "000°"}, {bearing(ptr(-10.0)), "350°"}, {bearing(nil), missing},
		{interval(&results.Interval{Mean: 31.12, Lo95: 31, Hi95: 31.2}, 1).PM, "±\u00a00.1"},
		{interval(&results.Interval{Mean: 31.12, Lo95: 31.119, Hi95: 31.121}, 1).PM, "±\u00a00.001"},
		{interval(&results.Interval{Mean: 31.12, Lo95: math.NaN(), Hi95: 32}, 1).PM, ""},
		{thousands(1234567), "1\u202f234\u202f567"}, {thousands(12), "12"},
		{duration("2026-05-12T08:00:00Z", "2026-05-12T08:02:05.2Z"), "2:05"}, {duration("", "x"), missing},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}
