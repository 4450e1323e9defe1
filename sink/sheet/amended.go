package sheet

import (
	"fmt"
	"slices"

	"trialday.example/logd/sink/results"
)

// amendmentRow is one amendment in words.
type amendmentRow struct {
	ID                         int
	Time, Name, Reason, Action string
	Applied                    string
}

// amendmentRows tells who changed how windows count, when, why, and what came of
// it.
func amendmentRows(r *results.Results) []amendmentRow {
	var rows []amendmentRow
	for i := range r.Amendments {
		a := &r.Amendments[i]
		applied := "applied"
		if !a.Applied {
			applied = joined(": ", "not applied", a.Why)
		}
		rows = append(rows, amendmentRow{a.ID, dayAndTime(a.Time), a.Name, sentence(a.Reason), amendmentAction(r, a), applied})
	}
	return rows
}

// amendmentAction says what was done, with the figures of the windows as they
// were found.
func amendmentAction(r *results.Results, a *results.Amendment) string {
	if a.Action == "withdraw" {
		if a.Withdraws == nil {
			return "takes back an amendment that is not named"
		}
		return fmt.Sprintf("takes back amendment %d", *a.Withdraws)
	}
	var windows []string
	for _, w := range a.Windows {
		windows = append(windows, namedWindow(r, w))
	}
	verb := map[string]string{"exclude": "leaves out", "merge": "counts as one:"}[a.Action]
	return orElse(verb, a.Action) + " " + listed(windows)
}

func namedWindow(r *results.Results, named results.AmendedWindow) string {
	i := slices.IndexFunc(r.Windows, func(w results.Window) bool { return named.ID != nil && w.ID == *named.ID })
	if i < 0 {
		return "a window from " + clockTime(named.Start) + " to " + clockTime(named.End) + " that there is not"
	}
	w := &r.Windows[i]
	found := joined(", ", nonMissing(rpmText(w.RPM, engineNames(r)), "rpm"), nonMissing(joined(" ", interval(w.SOGKn, 1).Value, interval(w.SOGKn, 1).PM), "kn over ground"),
		nonMissing(interval(burnOfWindow(w, r), 1).Value, burnUnit(r)))
	text := fmt.Sprintf("window %d", w.ID)
	if found != "" {
		text += " (" + found + ")"
	}
	return text
}

func nonMissing(value, unit string) string {
	if value == missing {
		return ""
	}
	return quantity(value, unit)
}

// amendedBy returns the ids of the applied amendments that name a window.
func amendedBy(r *results.Results, window int) []string {
	var ids []string
	for i := range r.Amendments {
		a := &r.Amendments[i]
		names := func(w results.AmendedWindow) bool { return w.ID != nil && *w.ID == window }
		if a.Applied && slices.ContainsFunc(a.Windows, names) {
			ids = append(ids, fmt.Sprint(a.ID))
		}
	}
	return ids
}

// amendedWindow is what the table of windows says of an amended one; "" of any
// other.
func amendedWindow(r *results.Results, w *results.Window) string {
	if w.Amended == "" {
		return ""
	}
	text := w.Amended + " by hand"
	if ids := amendedBy(r, w.ID); len(ids) > 0 {
		text += " (amendment " + listed(ids) + ")"
	}
	return text
}

// change is one step before and after the amendments; nil where there is no
// such step.
type change struct{ before, after *results.Step }

// changes pairs the steps as found with those that came of the amendments, by
// the windows they share; equal pairs are left out.
func changes(r *results.Results) []change {
	if len(r.OriginalSteps) == 0 {
		return nil
	}
	var list []change
	paired := map[int]bool{}
	for i := range r.OriginalSteps {
		before := &r.OriginalSteps[i]
		after := sharing(r.Steps, before.Windows)
		if after != nil {
			paired[after.ID] = true
		}
		if after == nil || !slices.Equal(figuresOf(before), figuresOf(after)) {
			list = append(list, change{before, after})
		}
	}
	for i := range r.Steps {
		if s := &r.Steps[i]; !paired[s.ID] {
			list = append(list, change{after: s})
		}
	}
	return list
}

// figuresOf are those by which steps are compared.
func figuresOf(s *results.Step) []string {
	return []string{fixed(s.RPM, 0), fmt.Sprint(s.Passes, s.CurrentCorrected), number(s.SpeedKn.Mean), number(s.SpeedKn.Lo95),
		cell(meanOrNil(s.FuelLPH)), cell(meanOrNil(s.EconomyNMPerL))}
}

func meanOrNil(i *results.Interval) any {
	if i == nil {
		return nil
	}
	return i.Mean
}

// sharing returns the step with most of the windows, nil for none.
func sharing(steps []results.Step, windows []int) *results.Step {
	var best *results.Step
	most := 0
	for i := range steps {
		n := 0
		for _, w := range steps[i].Windows {
			if slices.Contains(windows, w) {
				n++
			}
		}
		if n > most {
			best, most = &steps[i], n
		}
	}
	return best
}

// changedSteps are the ids of the steps that amendments changed.
func changedSteps(list []change) map[int]bool {
	ids := map[int]bool{}
	for _, c := range list {
		if c.after != nil {
			ids[c.after.ID] = true
		}
	}
	return ids
}

// beforeAndAfter is the table of the steps that amendments changed.
func beforeAndAfter(r *results.Results, list []change) []dataTable {
	sys := systemOf(r)
	t := dataTable{Head: heads("rpm as found", "kn", sys.burnUnit(), sys.economyUnit(), "passes", "rpm as amended", "kn", sys.burnUnit(), sys.economyUnit(), "passes")}
	side := func(s *results.Step) []figure {
		if s == nil {
			return []figure{plain("no step"), {}, {}, {}, {}}
		}
		economy := sys.economyOf(s)
		decimals := 3
		if economy != nil {
			decimals = decimalsFor([]float64{economy.Mean})
		}
		return []figure{plain(fixed(s.RPM, 0)), interval(&s.SpeedKn, 2), interval(sys.burnOf(s), 1), interval(economy, decimals), plain(fmt.Sprint(s.Passes))}
	}
	for _, c := range list {
		t.add(append(side(c.before), side(c.after)...)...)
	}
	return tables(t)
}

// dayAndTime renders an RFC 3339 time.
func dayAndTime(s string) string {
	t, ok := parseTime(s)
	if !ok {
		return orElse(s, missing)
	}
	return t.Format("2 January 2006, 15:04:05")
}

// amendedNotice says on the first page that the figures were amended.
func amendedNotice(r *results.Results) string {
	var names []string
	n := 0
	for i := range r.Amendments {
		if a := &r.Amendments[i]; a.Applied && a.Action != "withdraw" {
			if n++; !slices.Contains(names, a.Name) {
				names = append(names, a.Name)
			}
		}
	}
	switch n {
	case 0:
		return ""
	case 1:
		return "The figures hold 1 amendment by " + listed(names) + "."
	}
	return fmt.Sprintf("The figures hold %d amendments by %s.", n, listed(names))
}
