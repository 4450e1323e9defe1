package compare

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"gonum.org/v1/plot/vg"

	"trialday.example/logd/sink/chart"
	"trialday.example/logd/sink/results"
)

//go:embed compare.html.tmpl
var pageText string

var page = template.Must(template.New("compare").Parse(pageText))

type view struct {
	A, B      string
	Rows      []viewRow
	Notes     []string
	Plots     []drawing
	Explained string
}

// drawing is one plot.
type drawing struct {
	Title string
	SVG   template.HTML
}

type viewRow struct {
	RPMA, RPMB string
	Figures    []viewFigure
	Notes      string
}

type viewFigure struct {
	A, B, Change string
	Differs      bool
}

// WriteHTML writes the comparison as one file that needs nothing else.
func (c *Comparison) WriteHTML(w io.Writer) error {
	v := view{A: c.A.title(), B: c.B.title(), Explained: Explained}
	for i := range c.Rows {
		r := &c.Rows[i]
		v.Rows = append(v.Rows, viewRow{fixed(r.RPMA, 0), fixed(r.RPMB, 0), []viewFigure{
			{fixed(r.Speed.A.Mean, 2), fixed(r.Speed.B.Mean, 2), r.Speed.change(2), r.Speed.star() != ""},
			{fixed(r.Fuel.A.Mean, 1), fixed(r.Fuel.B.Mean, 1), r.Fuel.change(1), r.Fuel.star() != ""},
			{fixed(r.Economy.A.Mean, 3), fixed(r.Economy.B.Mean, 3), r.Economy.percent(), r.Economy.star() != ""},
		}, strings.Join(r.Notes, "; ")})
	}
	v.Notes = append(c.lonely(), c.Conditions...)
	plots, err := c.plots()
	if err != nil {
		return fmt.Errorf("compare: plots: %w", err)
	}
	v.Plots = plots
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return fmt.Errorf("compare: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// plots draws what the steps of both sides give over one scale.
func (c *Comparison) plots() ([]drawing, error) {
	speed := func(s *results.Step) *results.Interval { return &s.SpeedKn }
	rpm := func(s *results.Step) *results.Interval {
		i := chart.Exact(s.RPM)
		return &i
	}
	var out []drawing
	for _, d := range []struct {
		title, x string
		of, at   func(*results.Step) *results.Interval
	}{
		{"Speed, kn, against rpm", "rpm", speed, rpm},
		{"Burn, L/h, against speed", "kn", func(s *results.Step) *results.Interval { return s.FuelLPH }, speed},
		{"Economy, nm/L, against speed", "kn", func(s *results.Step) *results.Interval { return s.EconomyNMPerL }, speed},
	} {
		p := chart.New(d.x, "")
		p.Legend.Top, p.Legend.Left = true, true
		var all chart.Points
		for i, side := range []Side{c.A, c.B} {
			pts := series(side.Results, d.at, d.of)
			if err := chart.AddPoints(p, pts, looks[i]); err != nil {
				return nil, err
			}
			all = append(all, pts...)
		}
		if len(all) == 0 {
			continue
		}
		chart.Frame(p, all, 0.3) // the legend stands above
		svg, err := chart.Draw(p, plotWidth, plotHeight)
		if err != nil {
			return nil, err
		}
		out = append(out, drawing{d.title, svg})
	}
	return out, nil
}

const (
	plotWidth  = 340 * vg.Inch / 72
	plotHeight = 220 * vg.Inch / 72
)

// looks are how the sides are drawn.
var looks = [2]chart.Look{chart.Filled.Named("A"), chart.Triangle.Named("B")}

// series takes the steps on as many engines as the side ever had in gear.
func series(r *results.Results, at, of func(*results.Step) *results.Interval) chart.Points {
	most := 0
	for i := range r.Steps {
		most = max(most, len(r.Steps[i].Engines))
	}
	var out chart.Points
	for _, s := range stepsOn(r, most) {
		if x, y := at(s), of(s); x != nil && y != nil && !math.IsNaN(y.Mean) {
			out = append(out, chart.Point{X: *x, Y: *y})
		}
	}
	return out
}
