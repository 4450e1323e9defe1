package sheet

import (
	"slices"

	"trialday.example/logd/sink/results"
)

// chapter is one page of details, in parts of half the width or all of it.
type chapter struct {
	Title string
	Parts []part
}

// part says one thing: sentences, a plot, tables, and what must be known to
// read them.
type part struct {
	Title  string
	Wide   bool
	Lines  []string
	Plot   *drawing
	Tables []dataTable
	Notes  []string
}

func (p *part) empty() bool { return len(p.Lines) == 0 && p.Plot == nil && len(p.Tables) == 0 }

// details are the results with the units that stand first.
type details struct {
	*results.Results
	sys system
}

// detailFigures are the missing figures that are told beside the details that
// they belong to, not on the first page.
var detailFigures = []string{"acceleration", "turning circle", "crash stop", "time to plane", "gear timeline",
	"fuel meter check", "propeller slip", "engine power", "speed at the reference mass"}

func inDetails(m results.MissingFigure) bool { return slices.Contains(detailFigures, m.Figure) }

// absent are sentences that tell which of the figures are missing and why.
func (d *details) absent(figures ...string) []string {
	var lines []string
	for _, m := range missingFigures(slices.DeleteFunc(slices.Clone(d.Missing), func(m results.MissingFigure) bool {
		return !slices.Contains(figures, m.Figure)
	})) {
		lines = append(lines, m.Figure+" "+m.Why)
	}
	return lines
}

// chapters puts the details together; what there is nothing to say of is left
// out.
func chapters(r *results.Results) ([]chapter, error) {
	d := &details{r, systemOf(r)}
	acceleration, err := d.acceleration()
	if err != nil {
		return nil, err
	}
	current, err := d.current()
	if err != nil {
		return nil, err
	}
	all := []chapter{
		{"Acceleration, turning, stopping", []part{acceleration, d.starts(), d.turning(), d.stopping(), d.gears(), d.enginesOut(), d.slow()}},
		{"Current, economy and fuel", []part{current, d.paddle(), d.economy(), d.fuelCheck(), d.moreOfSteps(), d.reference(), d.handReadings()}},
		{"Electric drive", []part{d.electric()}},
		{"Engines and propellers", []part{d.loading(), d.drives()}},
	}
	var out []chapter
	for _, c := range all {
		c.Parts = slices.DeleteFunc(c.Parts, func(p part) bool { return p.empty() })
		if len(c.Parts) > 0 {
			out = append(out, c)
		}
	}
	return out, nil
}

// withUnit renders "25.3 ± 0.5 kn".
func withUnit(f figure, unit string) string { return quantity(joined(" ", f.Value, f.PM), unit) }
