package sheet

import (
	"html"
	"math"
	"regexp"
	"strings"
	"testing"

	"trialday.example/logd/sink/results"
)

// readable is plainText as a reader sees it.
func readable(page, from, to string) string {
	text := strings.NewReplacer("\u00a0", " ", "\u200b", "").Replace(html.UnescapeString(plainText(page, from, to)))
	return strings.Join(strings.Fields(text), " ")
}

func wants(t *testing.T, what, got string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(got, w) {
			t.Errorf("%s: no %q in\n%s", what, w, got)
		}
	}
}

func TestFirstPageAnswersWhatIsAskedNext(t *testing.T) {
	r, tl := inventedDay(3)
	page := render(t, r, tl)
	wants(t, "row", readable(page, `class="more"`, "</dl>"), "To plane 9.2 ± 0.8 s", "0 to 30 kn 12.0 ± 0.3 s", "360° to port from 28 kn 21.4 ± 0.2 s, 5.7 lengths",
		"360° to starboard from 28 kn 22.4 ± 0.2 s", "Crash stop from 31 kn 9.4 ± 0.2 s, 79 m (258 ft)")
	wants(t, "one-way step", readable(page, "half of the 95", "A dash is"), "By the day's current, through the water: 1400 rpm")
	r.Turns, r.Stops = nil, nil
	r.AccelerationMeans = r.AccelerationMeans[1:]
	got := readable(render(t, r, tl), `class="more"`, "</dl>")
	wants(t, "a start from idling ahead", got, "Idle to 20 kn 8.0 ± 0.3 s")
	if strings.Contains(got, "360") || strings.Contains(got, "Crash") || strings.Contains(got, "To plane") {
		t.Errorf("what was not tried is shown: %s", got)
	}
}

func TestDetailsSayAllThatWasFound(t *testing.T) {
	r, tl := inventedDay(3)
	page := render(t, r, tl)
	wants(t, "acceleration", readable(page, "<h3>Acceleration", "<h3>"), "2 starts from rest to 3070 rpm, both directions", "10 kn (11.5 mph) 4.0 ± 0.3 40", "20 mph (17.4 kn) 7.0 ± 0.3 60",
		"08:35:31, 251°", "on the plane 9.2 ± 0.8", "1 start from idling ahead to 2400 rpm", "current taken out where it was known")
	wants(t, "turns", readable(page, "<h3>Turning", "<h3>"), "to port, 08:52:11 to starboard, 08:53:11", "360° in 21.4 ± 0.2 s 22.4 ± 0.2 s", "Steady diameter 76 ± 1 m (250 ft)", "in boat lengths 5.7 5.7",
		"First heel 21.2 ± 0.7° 21.2 ± 0.7°", "Settled heel 17.4°", "Speed lost 18 %", "20° to port 20° to starboard")
	wants(t, "stop", readable(page, "<h3>Crash", "<h3>"), "Stopped in 9.4 ± 0.2 s", "Track reach 79 ± 1 m (258 ft)", "Speed at the start 31.1 ± 0.1 kn", "in boat lengths 5.9")
	wants(t, "gears", readable(page, "<h3>Gears", "<h3>"), "Shifted ahead together 3 times: always centre, starboard and then port, the last 1.2 to 1.4 s after the first.", "1 shift was heard.")
	wants(t, "current", readable(page, "<h3>Current over", "<h3>"), "−1.5 ± 0.2° to be added", "scatter about it no more than their intervals say", "0.90 ± 0.08 070°", "Wind and sea are in it.")
	wants(t, "log", readable(page, "<h3>Log", "<h3>"), "0.987 ± 0.004 times what it gives, less 0.28 ± 0.08 kn, by 16 windows from 8 to 33 kn")
	wants(t, "economy", readable(page, "<h3>Best economy", "<h3>"), "0.176 ± 0.002 nm/L at 25.3 ± 0.5 kn, by a curve through 5 steps; the best step has 0.177 ± 0.002 nm/L at 23.9 kn",
		"Not planing, no best speed by a curve: economy is best at the slowest step", "Level with the best step on the plane: 28.7 kn")
	wants(t, "fuel", readable(page, "<h3>Fuel meters", "<h3>"), "240.2 L (63.5 US gal)", "may be wrong", "trip totals 239.0 239.0 1.000 ± 0.002 agree", "measured top-up 240.2 252.2 1.050 ± 0.010 differ",
		"If the measured top-up is right, burn is 5.0 % higher than shown, and economy and range are 4.8 % lower.", "never applied")
	wants(t, "steps", readable(page, "<h3>More of", "<h3>"), "EUR/nm", "2100 24.0 ± 0.1 0.50 11344 249", "78.4")
	wants(t, "reference", readable(page, "<h3>Corrected to", "<h3>"), "calculated, not measured", "corrected to 12000 kg (26455 lb), kn", "3080 11300 33.5 ± 0.2 32.5 ± 0.3 0.0870 ± 0.0020", "Crouch")
	wants(t, "readings", readable(page, "<h3>Noted by hand", "</section>"), "2 08:18:51 — 78.4 3 2100 wheelhouse", "3 — 1400 — — — vibration")
	wants(t, "propellers", readable(page, "<h3>How the propellers", "<h3>"), "centre reaches 2990 of 3000 rated rpm", "2.26 ± 0.06", "0.4 ± 0.2")
	wants(t, "propulsion", readable(page, "<h3>Propulsion by", "</section>"), "2100 7 21.5/22.5/23.5 41/42/43 100/101/102 44/44/44 33/33/33 10.0/11.0/12.0", "1400 7 — 41/42/43", "Slip is apparent.")
}

func TestUSUnitsComeFirstWhereAskedFor(t *testing.T) {
	r, tl := inventedDay(3)
	r.Trial.Units = "us"
	page := render(t, r, tl)
	wants(t, "answers", readable(page, `class="answers"`, "</section>"), "Top speed 33.5 kn", "98.3 US gal/h · 372.0 L/h", "Best economy on the plane 0.670 nm/US gal ± 0.009 nm/US gal 0.177 nm/L 0.771 mi/US gal · 5.65 L/nm",
		"on 357 US gal (1350 L)")
	wants(t, "facts", readable(page, `class="facts"`, "</section>"), "44.0 ft (13.4 m)", "443 hp (330 kW) at 3000 rpm", "25097 lb (11384 kg)", " ft (")
	wants(t, "steps", readable(page, `class="steps"`, "</table>"), "US gal/h L/h nm/US gal mi/US gal nm/L L/nm", "2100 best on plane 23.9 ± 0.1 27.5 35.6 ± 0.4 134.8 0.670 ± 0.009 0.771 0.1771 5.65")
	wants(t, "plots", page, "Burn, US gal/h, against rpm", "Economy, nm/US gal, against speed", "burn, US gal/h")
	wants(t, "details", readable(page, `class="chapter"`, `class="details"`), "to seconds feet", "Steady diameter 250 ± 4 ft (76 m)", "63.5 US gal (240.2 L)", "by the rate, US gal", "power, hp", "mass, lb", "0.666 ± 0.008 nm/US gal")
	for _, c := range stepColumns(r.Steps, metric)[2:3] {
		if c.of(&r.Steps[0]) != r.Steps[0].FuelLPH {
			t.Error("the columns of the CSV follow the sheet's units")
		}
	}
}

func TestMethodHasTheLimitsThatWereUsed(t *testing.T) {
	r, tl := inventedDay(3)
	r.Steady = results.Steady{MinS: 45, SettlePct: 0.75, RPMHuntingPct: 2.5, CourseDeg: 6, StepPct: 3}
	got := readable(render(t, r, tl), `class="method"`, "</section>")
	wants(t, "method", got, "below 0.75 % of the speed", "lasts 45 s or more", "within 2.5 %,", "no more than 6°", "within 3 % or 50 rpm")
	got = readable(render(t, r, tl), "Where the figures come from", "</section>")
	wants(t, "provenance", got, "logd test", r.Quality.FramesHash, "8 412 034", r.Trial.Start)
}

// A day on which nothing but steps was found shows no empty chapter, and what
// is known to be missing says why, beside the details and not on the first page.
func TestDetailsThatAreMissing(t *testing.T) {
	r, tl := inventedDay(3)
	bare(r)
	r.Missing = nil
	page := render(t, r, tl)
	for _, bad := range []string{`class="more"`, "<h3>Turning", "<h3>Acceleration", "<h3>Fuel meters", "<h3>Log", "<h3>Gears", "<h3>Propulsion", "<h3>Noted", "SHA-256 of the frames", "By the day's current"} {
		if strings.Contains(page, bad) {
			t.Errorf("an empty part is shown: %s", bad)
		}
	}
	wants(t, "limits", readable(page, `class="method"`, "</section>"), "below the configured limit of the speed")
	r.Missing = []results.MissingFigure{{Figure: "turning circle", Why: "no turn was found"}, {Figure: "propeller slip", Why: "needs a pitch"}, {Figure: "range", Why: "no tank"}}
	r.Current.Why, r.Paddle.Why = "too few courses", "no log was heard"
	page = render(t, r, tl)
	wants(t, "turns", readable(page, "<h3>Turning", "</div>"), "No turning circle. No turn was found.")
	wants(t, "propulsion", readable(page, "<h3>Propulsion", "</div>"), "No propeller slip. Needs a pitch.")
	wants(t, "current", readable(page, "<h3>Current", "</section>"), "No current through the day. Too few courses.", "It could not be calibrated: no log was heard.")
	if got := readable(page, "Limits of these figures", "</ul>"); !strings.HasPrefix(got, "No range. No tank.") || strings.Contains(got, "turning") {
		t.Errorf("first page: %q", got)
	}
}

// Figures of manoeuvres that could not be told are left out or a dash, never 0.
func TestManoeuvresWithHolesHaveNoZeros(t *testing.T) {
	r, tl := inventedDay(3)
	r.Accelerations = []results.Acceleration{{Start: at(1), Engines: []string{"port"}, Combined: ptr(0)}}
	r.AccelerationMeans = []results.AccelerationMean{{Attempts: 1}}
	r.Turns = []results.Turn{{Start: at(5), Direction: "port", TurnedDeg: ptr(365.0)}}
	r.Stops = []results.Stop{{Start: at(9)}}
	r.SlowSpeed = []results.SlowSpeed{{Gear: "forward", Seconds: 9, Stretches: 2}}
	r.Propulsion.Steps = []results.StepDrive{{Step: 99}, {Step: 1, Engines: []results.EngineDrive{{Engine: "port"}}}}
	r.FuelCheck = results.FuelCheck{Trip: &results.FuelScale{Scale: results.Interval{Mean: math.NaN()}}}
	page := render(t, r, tl)
	zero := regexp.MustCompile(`(^| )0(\.0+)?( |$)`)
	for _, part := range []string{"Every start", "Turning circles", "Crash stop", "At idle", "Propulsion by step"} {
		if got := readable(page, "<h3>"+part, "<h3>"); zero.MatchString(got) {
			t.Errorf("%s shows a zero: %s", part, got)
		}
	}
	if strings.Contains(page, `class="more"`) || strings.Contains(page, "NaN") {
		t.Error("there is an answer from nothing")
	}
}

func TestOneEngineAndEight(t *testing.T) {
	r, tl := inventedDay(1)
	page := render(t, r, tl)
	if got := readable(page, `class="chapter"`, `class="details"`); strings.Contains(got, "together") || strings.Contains(got, "apart, rpm") || strings.Contains(got, "over the mean") || strings.Contains(got, "engines rpm") {
		t.Errorf("a single engine is compared with others: %s", got)
	}
	r, tl = inventedDay(8)
	page = render(t, r, tl)
	wants(t, "eight", readable(page, "<h3>Propulsion by", "</section>"), "41/42/43/44/45/46/47/48")
	wants(t, "eight", readable(page, "<h3>Every start", "<h3>"), "all 8")
}

// Five turns are in tables of four and one.
func TestManyTurns(t *testing.T) {
	r, tl := inventedDay(3)
	for range 3 {
		r.Turns = append(r.Turns, r.Turns[0])
	}
	if got := readable(render(t, r, tl), "<h3>Turning", "<h3>"); strings.Count(got, "Speed at the entry") != 2 {
		t.Errorf("five turns: %s", got)
	}
}

func TestOrderOfTheEnginesInOneSentence(t *testing.T) {
	event := func(last float64, engines ...string) results.Engagement {
		return results.Engagement{Engines: engines, DelaysS: []float64{0, last}}
	}
	for _, c := range []struct {
		list []results.Engagement
		want string
	}{
		{[]results.Engagement{event(1.2, "a", "b")}, "Shifted once: a and then b, the last 1.2 s after the first."},
		{[]results.Engagement{event(1, "a", "b"), event(2, "a", "b")}, "Shifted twice: both times a and then b, the last 1.0 to 2.0 s after the first."},
		{[]results.Engagement{event(1, "a", "b"), event(2, "b", "a")}, "Shifted twice: each time in another order."},
		{[]results.Engagement{event(1, "a", "b"), event(9, "b", "a"), event(2, "a", "b")}, "Shifted 3 times: 2 times a and then b, else in another order, the last 1.0 to 2.0 s after the first."},
		{[]results.Engagement{{Engines: []string{"a", "b"}}}, "Shifted once: a and then b."},
	} {
		if got := strings.ReplaceAll(together("Shifted", c.list), "\u00a0", " "); got != c.want {
			t.Errorf("got  %q\nwant %q", got, c.want)
		}
	}
}
