package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"trialday.example/logd/sink/results"
)

// printEnergy prints what the batteries that drive the boat give at the steps;
// nothing where none does.
func printEnergy(w io.Writer, r *results.Results) {
	e := r.Electric
	if e == nil {
		return
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "step\trpm\tkn\tkW\tWh/nm\t±\tnm/kWh\trange nm\tdriven by\tpasses\t\t")
	for i := range r.Steps {
		s := &r.Steps[i]
		x := e.Of(s.ID)
		if x == nil {
			continue
		}
		note := marks(r, s)
		for _, m := range []struct {
			id   *int
			text string
		}{{e.Best.EnergyStep, "least energy"}, {e.Best.PlaningStep, "least energy planing"}} {
			if m.id != nil && *m.id == s.ID {
				note = strings.TrimPrefix(note+", "+m.text, ", ")
			}
		}
		half := "-"
		if x.WhPerNM != nil {
			half = fmt.Sprintf("%.0f", (x.WhPerNM.Hi95-x.WhPerNM.Lo95)/2)
		}
		fmt.Fprintf(t, "%d\t%.0f\t%.2f\t%s\t%s\t%s\t%s\t%s\t%s\t%d\t%s\t\n", s.ID, s.RPM, s.SpeedKn.Mean, mean(x.PowerKW, 2), mean(x.WhPerNM, 0), half,
			mean(x.NMPerKWh, 3), mean(x.RangeNM, 1), x.Source, s.Passes, note)
	}
	t.Flush()
}
