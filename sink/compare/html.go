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
	Heads     []viewHead
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

type viewHead struct{ Name, Unit, Change string }

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
	shown := c.shown()
	for _, q := range shown {
		head := viewHead{q.name, q.unit, "B − A"}
		if q.relative {
			head.Change += ", %"
		}
		v.Heads = append(v.Heads, head)
	}
	for i := range c.Rows {
		r := &c.Rows[i]
		row := viewRow{fixed(r.RPMA, 0), fixed(r.RPMB, 0), nil, strings.Join(r.Notes, "; ")}
		for _, q := range shown {
			f := q.figure(r)
			row.Figures = append(row.Figures, viewFigure{fixed(f.A.Mean, q.digits), fixed(f.B.Mean, q.digits), q.change(f), f.star() != ""})
		}
		v.Rows = append(v.Rows, row)
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
	rpm := func(_ *results.Results, s *results.Step) *results.Interval {
		i := chart.Exact(s.RPM)
		return &i
	}
	var out []drawing
	for i, q := range c.shown() {
		at, over, x := rpm, "rpm", "rpm"
		if i > 0 {
			at, over, x = quantities[0].of, "speed", "kn"
		}
		title := fmt.Sprintf("%s%s, %s, against %s", strings.ToUpper(q.name[:1]), q.name[1:], q.unit, over)
		p := chart.New(x, "")
		p.Legend.Top, p.Legend.Left = true, true
		var all chart.Points
		for i, side := range []Side{c.A, c.B} {
			pts := series(side.Results, at, q.of)
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
		out = append(out, drawing{title, svg})
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
func series(r *results.Results, at, of func(*results.Results, *results.Step) *results.Interval) chart.Points {
	most := 0
	for i := range r.Steps {
		most = max(most, len(r.Steps[i].Engines))
	}
	var out chart.Points
	for _, s := range stepsOn(r, most) {
		if x, y := at(r, s), of(r, s); x != nil && y != nil && !math.IsNaN(y.Mean) {
			out = append(out, chart.Point{X: *x, Y: *y})
		}
	}
	return out
}
