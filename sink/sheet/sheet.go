// Package sheet renders the results of a trial day as the sheet that is handed
// over: one HTML file that needs nothing else, to read on any screen and to
// print on A4 or Letter, and the same figures as CSV.
//
// Invariants: every figure comes from results.Results, nothing is derived here
// but conversions of units; a figure that is not there shows as a dash with the
// reason, never as 0; equal results give equal bytes; there is no script and no
// reference to anything outside the file.
package sheet

import (
	"bufio"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"

	"trialday.example/logd/sink/results"
)

//go:embed sheet.html.tmpl
var pageText string

//go:embed details.html.tmpl
var detailsText string

//go:embed method.html.tmpl
var methodText string

//go:embed sheet.css
var styleText string

var pageTemplate = template.Must(template.New("sheet").Parse(pageText + detailsText + methodText + electricText))

// WriteHTML writes the sheet of r to w. T is drawn as the day's timeline; it
// may be nil. Errors are those of w and of drawing; w may then have a part of it.
func WriteHTML(w io.Writer, r *results.Results, t *results.Timeline) error {
	return writePage(w, r, t, "")
}

// asWritten returns r as it stands in results.json, so that a sheet is the same
// whether it is made at once or from the file. What cannot be written there is
// shown as it is.
func asWritten(r *results.Results) *results.Results {
	if rounded, err := r.Rounded(); err == nil {
		return rounded
	}
	return r
}

// writePage writes the page; more style may be added to it.
func writePage(w io.Writer, r *results.Results, t *results.Timeline, more template.CSS) error {
	r = asWritten(r)
	v := newView(r)
	v.Style += more
	var err error
	if v.Curves, err = curves(r); err != nil {
		return fmt.Errorf("sheet: curves: %w", err)
	}
	if v.BySpeed, err = bySpeed(r); err != nil {
		return fmt.Errorf("sheet: plots: %w", err)
	}
	if v.Day, err = dayPlot(r, t); err != nil {
		return fmt.Errorf("sheet: timeline: %w", err)
	}
	if v.Chapters, err = chapters(r); err != nil {
		return fmt.Errorf("sheet: details: %w", err)
	}
	out := bufio.NewWriter(w)
	if err := errors.Join(pageTemplate.Execute(out, v), out.Flush()); err != nil {
		return fmt.Errorf("sheet: %w", err)
	}
	return nil
}
