package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"trialday.example/logd/sink/results"
)

// printTable prints the steps as plain text.
func printTable(w io.Writer, r *results.Results) {
	if r.Vessel.Name != "" {
		fmt.Fprintf(w, "%s, %s\n", r.Vessel.Name, r.Trial.Start)
	}
	if r.Vessel.FuelKind != "none" || r.Electric == nil {
		printBurn(w, r)
	}
	printEnergy(w, r)
	for _, m := range r.Missing {
		fmt.Fprintf(w, "not derived: %s: %s\n", m.Figure, m.Why)
	}
	for _, f := range r.Findings {
		fmt.Fprintf(w, "note: %s\n", f.What)
	}
}

// printBurn prints what was burnt at the steps.
func printBurn(w io.Writer, r *results.Results) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "step\trpm\tkn\t±\tL/h\tnm/L\tnm/gal\trange nm\tload %\ttrim °\tpasses\t\t")
	for i := range r.Steps {
		s := &r.Steps[i]
		fmt.Fprintf(t, "%d\t%.0f\t%.2f\t%.2f\t%s\t%s\t%s\t%s\t%s\t%s\t%d\t%s\t\n", s.ID, s.RPM,
			s.SpeedKn.Mean, (s.SpeedKn.Hi95-s.SpeedKn.Lo95)/2, mean(s.FuelLPH, 1), mean(s.EconomyNMPerL, 3),
			mean(s.EconomyNMPGal, 3), mean(s.RangeNM, 0), value(s.LoadPct, 0), value(s.PitchDeg, 1), s.Passes, marks(r, s))
	}
	t.Flush()
}

// marks tells what a step is the answer to.
func marks(r *results.Results, s *results.Step) string {
	var out []string
	for _, m := range []struct {
		id   *int
		text string
	}{
		{r.Best.TopSpeedStep, "top speed"},
		{r.Best.BestEconomyStep, "best economy"},
		{r.Best.BestPlaningEconomyStep, "best economy planing"},
		{r.Best.CruiseStep, "cruise"},
	} {
		if m.id != nil && *m.id == s.ID {
			out = append(out, m.text)
		}
	}
	if !s.CurrentCorrected {
		out = append(out, "one direction only: not corrected for current")
	}
	if s.FuelFrom != "" {
		out = append(out, "burn from "+s.FuelFrom)
	}
	return strings.Join(out, ", ")
}

func mean(v *results.Interval, digits int) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.*f", digits, v.Mean)
}

func value(v *float64, digits int) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.*f", digits, *v)
}
