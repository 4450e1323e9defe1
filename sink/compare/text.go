package compare

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"
)

// Explained says what the columns mean.
const Explained = "B less A at A's rpm, with its 95 % interval. * marks what differs at 95 % (Welch's test on means and intervals). " +
	"What is common to all steps of a day, such as load, wind or a meter's scale, is in no interval."

// WriteText writes the comparison as a table for a terminal.
func (c *Comparison) WriteText(w io.Writer) error {
	fmt.Fprintf(w, "A: %s\nB: %s\n\n", c.A.title(), c.B.title())
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	shown := c.shown()
	fmt.Fprint(t, "rpm A\trpm B\t")
	for _, q := range shown {
		of := q.unit
		if q.relative {
			of = "%"
		}
		fmt.Fprintf(t, "%s A\t%s B\tB-A %s\t\t", q.unit, q.unit, of)
	}
	fmt.Fprintln(t)
	for i := range c.Rows {
		r := &c.Rows[i]
		fmt.Fprintf(t, "%.0f\t%.0f\t", r.RPMA, r.RPMB)
		for _, q := range shown {
			f := q.figure(r)
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t", fixed(f.A.Mean, q.digits), fixed(f.B.Mean, q.digits), q.change(f), f.star())
		}
		if len(r.Notes) > 0 {
			fmt.Fprint(t, "  ", strings.Join(r.Notes, "; "))
		}
		fmt.Fprintln(t)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, line := range append(c.lonely(), c.Conditions...) {
		fmt.Fprintf(w, "note: %s\n", line)
	}
	_, err := fmt.Fprintln(w, Explained)
	return err
}

func (s Side) title() string {
	parts := []string{s.Label}
	for _, text := range []string{s.Results.Vessel.Name, s.Results.Trial.Name, s.Results.Trial.Start} {
		if text != "" {
			parts = append(parts, text)
		}
	}
	return strings.Join(parts, ", ")
}

// lonely names the steps without a partner.
func (c *Comparison) lonely() []string {
	var out []string
	if len(c.Rows) == 0 {
		out = append(out, "no step of A has its like in B: none are on equally many engines and within 3 % or 50 rpm")
	}
	for _, side := range []struct {
		name string
		rpm  []float64
	}{{"A", c.OnlyA}, {"B", c.OnlyB}} {
		var list []string
		for _, n := range side.rpm {
			list = append(list, fixed(n, 0))
		}
		if len(list) > 0 {
			out = append(out, fmt.Sprintf("only %s has steps at %s rpm", side.name, strings.Join(list, ", ")))
		}
	}
	return out
}

// change is the difference with half of its interval.
func (q *quantity) change(f *Figure) string {
	switch {
	case !f.Known():
		return "-"
	case q.relative:
		return fmt.Sprintf("%+.1f ±%.1f", f.Percent(), 100*f.Diff.HalfWidth()/f.A.Mean)
	}
	return fmt.Sprintf("%+.*f ±%.*f", q.digits, f.Diff.Mean, q.digits, f.Diff.HalfWidth())
}

func (f *Figure) star() string {
	if f.Known() && f.Diff.Significant() {
		return "*"
	}
	return ""
}

func fixed(v float64, digits int) string {
	if math.IsNaN(v) {
		return "-"
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

// WriteCSV writes one line a pair of steps; a figure that is not there is an
// empty cell.
func (c *Comparison) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	header := []string{"step_a", "step_b", "rpm_a", "rpm_b"}
	shown := c.shown()
	for _, q := range shown {
		for _, part := range []string{"a", "b_at_rpm_a", "difference", "difference_lo95", "difference_hi95", "p"} {
			header = append(header, q.key+" "+part)
		}
	}
	out.Write(append(header, "note")) // errors are kept by the writer
	for i := range c.Rows {
		r := &c.Rows[i]
		line := []string{strconv.Itoa(r.StepA), strconv.Itoa(r.StepB), cell(r.RPMA), cell(r.RPMB)}
		for _, q := range shown {
			f := q.figure(r)
			lo, hi := f.Diff.Interval()
			for _, v := range []float64{f.A.Mean, f.B.Mean, f.Diff.Mean, lo, hi, f.Diff.P} {
				line = append(line, cell(v))
			}
		}
		out.Write(append(line, strings.Join(r.Notes, "; ")))
	}
	out.Flush()
	return out.Error()
}

func cell(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}
