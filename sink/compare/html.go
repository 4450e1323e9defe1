package compare

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"image/color"
	"io"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"trialday.example/logd/sink/results"
)

//go:embed compare.html.tmpl
var pageText string

var page = template.Must(template.New("compare").Parse(pageText))

type view struct {
	A, B         string
	Rows         []viewRow
	Notes, Plots []any
	Explained    string
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
	for _, n := range append(c.lonely(), c.Conditions...) {
		v.Notes = append(v.Notes, n)
	}
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
func (c *Comparison) plots() ([]any, error) {
	speed := func(s *results.Step) *results.Interval { return &s.SpeedKn }
	rpm := func(s *results.Step) *results.Interval {
		return &results.Interval{Mean: s.RPM, Lo95: s.RPM, Hi95: s.RPM}
	}
	var out []any
	for _, d := range []struct {
		title, x string
		of, at   func(*results.Step) *results.Interval
	}{
		{"Speed, kn, against rpm", "rpm", speed, rpm},
		{"Burn, L/h, against speed", "kn", func(s *results.Step) *results.Interval { return s.FuelLPH }, speed},
		{"Economy, nm/L, against speed", "kn", func(s *results.Step) *results.Interval { return s.EconomyNMPerL }, speed},
	} {
		p := plot.New()
		p.Title.Text, p.X.Label.Text = d.title, d.x
		p.Y.Min = 0
		p.Legend.Top, p.Legend.Left = true, true
		drawn := 0
		for i, side := range []Side{c.A, c.B} {
			pts := series(side.Results, d.at, d.of)
			if len(pts) == 0 {
				continue
			}
			drawn++
			if err := draws[i].add(p, pts); err != nil {
				return nil, err
			}
		}
		if drawn == 0 {
			continue
		}
		canvas := vgsvg.New(360, 250)
		p.Draw(draw.New(canvas))
		var b bytes.Buffer
		if _, err := canvas.WriteTo(&b); err != nil {
			return nil, err
		}
		_, svg, _ := strings.Cut(b.String(), "<svg")
		out = append(out, template.HTML("<svg"+svg)) // the canvas escapes all text
	}
	return out, nil
}

// style is how one side is drawn: colour and shape say the same. Blue and
// vermilion stay apart for every common kind of colour blindness (Okabe and
// Ito's palette, from memory).
type style struct {
	name   string
	colour color.Color
	shape  draw.GlyphDrawer
}

var draws = [2]style{
	{"A", color.RGBA{0x00, 0x5a, 0x9c, 0xff}, draw.CircleGlyph{}},
	{"B", color.RGBA{0xb8, 0x4a, 0x00, 0xff}, draw.TriangleGlyph{}},
}

func (s style) add(p *plot.Plot, pts points) error {
	line, dots, err := plotter.NewLinePoints(pts)
	if err != nil {
		return err
	}
	bars, err := plotter.NewYErrorBars(pts)
	if err != nil {
		return err
	}
	line.Color, bars.Color = s.colour, s.colour
	line.Width, bars.LineStyle.Width, bars.CapWidth = 0.75, 1, 4
	dots.GlyphStyle = draw.GlyphStyle{Color: s.colour, Radius: vg.Length(3), Shape: s.shape}
	p.Add(line, bars, dots)
	p.Legend.Add(s.name, dots)
	return nil
}

// points are the steps of one side with intervals of y.
type points [][2]results.Interval

func (p points) Len() int                { return len(p) }
func (p points) XY(i int) (x, y float64) { return p[i][0].Mean, p[i][1].Mean }
func (p points) YError(i int) (lo, hi float64) {
	y := p[i][1]
	return known(y.Mean - y.Lo95), known(y.Hi95 - y.Mean)
}

// known is half an interval for drawing: nothing where it is not known.
func known(d float64) float64 {
	if math.IsNaN(d) || math.IsInf(d, 0) {
		return 0
	}
	return d
}

// series takes the steps on as many engines as the side ever had in gear.
func series(r *results.Results, at, of func(*results.Step) *results.Interval) points {
	most := 0
	for i := range r.Steps {
		most = max(most, len(r.Steps[i].Engines))
	}
	var out points
	for _, s := range stepsOn(r, most) {
		if x, y := at(s), of(s); x != nil && y != nil && !math.IsNaN(y.Mean) {
			out = append(out, [2]results.Interval{*x, *y})
		}
	}
	return out
}
