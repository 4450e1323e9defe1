package sheet

import (
	"bytes"
	"strings"
	"testing"

	"trialday.example/logd/sink/results"
)

// amendedDay has a window of step 5 left out, two of step 6 that count as one,
// an amendment that could not be applied and one that was taken back.
func amendedDay() (*results.Results, *results.Timeline) {
	r, tl := inventedDay(3)
	name := func(ids ...int) (list []results.AmendedWindow) {
		for _, id := range ids {
			list = append(list, results.AmendedWindow{ID: ptr(id), Start: r.Windows[id-1].Start, End: r.Windows[id-1].End})
		}
		return list
	}
	five, six := r.Steps[4].Windows, r.Steps[5].Windows
	r.OriginalSteps = append([]results.Step(nil), r.Steps...)
	best := r.Best
	r.OriginalBest = &best
	r.Amendments = []results.Amendment{
		{ID: 1, Time: at(9000), Name: "A. Person", Reason: "wake of another boat", Action: "exclude", Windows: name(five[1]), Applied: true},
		{ID: 2, Time: at(9060), Name: "B. Person", Reason: "one stretch", Action: "merge", Windows: name(six...), Applied: true},
		{ID: 3, Time: at(9120), Name: "A. Person", Reason: "a gust", Action: "exclude", Windows: []results.AmendedWindow{{Start: at(1), End: at(61)}}, Why: "there is no such window"},
		{ID: 4, Time: at(9180), Name: "A. Person", Reason: "no", Action: "exclude", Windows: name(1), Why: "withdrawn by amendment 5"},
		{ID: 5, Time: at(9240), Name: "B. Person", Reason: "it was right", Action: "withdraw", Withdraws: ptr(4), Applied: true},
	}
	r.Windows[five[1]-1].Amended, r.Windows[five[1]-1].Step = "excluded", nil
	for _, id := range six {
		r.Windows[id-1].Amended = "merged"
	}
	s := &r.Steps[4]
	s.Windows, s.Passes, s.CurrentCorrected, s.SpeedKn = five[:1], 1, false, around(24.4, 0.006)
	return r, tl
}

func TestAmendmentsAreToldAndTheOriginalStandsBeside(t *testing.T) {
	r, tl := amendedDay()
	page := render(t, r, tl)
	wants(t, "first page", readable(page, "Limits of these figures", "</section>"), "The figures hold 2 amendments by A. Person and B. Person.")
	wants(t, "step", readable(page, ">2100", "</tbody>"), "amended", "24.4")
	if row := readable(page, ">2400", "</tbody>"); strings.Contains(row, "amended") {
		t.Errorf("a step whose figures stay reads %q", row)
	}
	list := readable(page, "<h2>Amendments", "</section>")
	wants(t, "list", list, "1 12 May 2026, 10:32:11 A. Person leaves out window 10 (2100/2108/2117 rpm, 23.5 ± 0.1 kn over ground, 134.8 L/h) Wake of another boat. applied",
		"counts as one: window 11 (2400", "and window 12 (2400", "a window from 08:02:12 to 08:03:12 that there is not A gust. not applied: there is no such window",
		"not applied: withdrawn by amendment 5", "takes back amendment 4",
		"Steps as found and as amended", "2100 23.88 ± 0.14 134.8 ± 1.6 0.177 ± 0.002 2 2100 24.40 ± 0.15")
	windows := readable(page, "<h2>Windows", "<h2>Runs")
	wants(t, "windows", windows, "excluded by hand (amendment 1)", "2400 rpm, merged by hand (amendment 2)")
	var b bytes.Buffer
	if err := WriteWindowsCSV(&b, r); err != nil || strings.Count(b.String(), ",excluded,,") != 1 || strings.Count(b.String(), ",merged,6,") != 2 {
		t.Errorf("%v\n%s", err, b.String())
	}
}

// An answer that an amendment changed has the earlier one beside it; the others
// stand alone.
func TestEarlierAnswersStandBeside(t *testing.T) {
	r, tl := amendedDay()
	r.OriginalBest.TopSpeedStep = ptr(r.Steps[4].ID)
	answers := readable(render(t, r, tl), `class="answers"`, "</section>")
	wants(t, "answers", answers, "Without amendments: 23.9 ± 0.1 kn at 2100 rpm", "Without amendments: 239 ± 3 nm at 23.9 kn")
	if n := strings.Count(answers, "Without amendments"); n != 2 {
		t.Errorf("%d earlier answers in %q", n, answers)
	}
	r.OriginalBest.BestPlaningEconomyStep, r.OriginalBest.BestEconomyStep = nil, nil
	wants(t, "answers", readable(render(t, r, tl), `class="answers"`, "</section>"), "Without amendments: none")
}

// A step that an amendment took away, and one that it made, have no other side.
func TestStepsThatComeAndGo(t *testing.T) {
	r, tl := amendedDay()
	r.Steps = append(r.Steps[:4:4], r.Steps[5:]...)
	gone := readable(render(t, r, tl), "Steps as found and as amended", "</table>")
	wants(t, "gone", gone, "2 no step")
	r.OriginalSteps = r.OriginalSteps[1:]
	wants(t, "new", readable(render(t, r, tl), "Steps as found and as amended", "</table>"), "no step — — — — 650")
	r.Amendments, r.OriginalSteps = nil, nil
	if page := render(t, r, tl); strings.Contains(page, "Amend") {
		t.Error("a day without amendments speaks of them")
	}
}
