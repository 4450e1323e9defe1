package sheet

import (
	"errors"
	"html/template"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"trialday.example/logd/sink/chart"
	"trialday.example/logd/sink/results"
)

// drawing is one plot; where SVG is empty, Why says why there is none.
type drawing struct {
	Title string
	SVG   template.HTML
	Why   string
}

// size is that of a drawing; all are made to fit the width that they get.
type size struct{ w, h vg.Length }

// Three curves stand side by side on the first page, plots of the details in
// two columns.
var (
	small3 = size{252 * vg.Inch / 72, 158 * vg.Inch / 72}
	half   = size{340 * vg.Inch / 72, 202 * vg.Inch / 72}
)

func (s size) draw(p *plot.Plot) (template.HTML, error) { return chart.Draw(p, s.w, s.h) }

// point is one step in a plot.
type point struct {
	chart.Point
	oneWay bool
	mark   string
}

type points []point

// bars are the points with their intervals.
func (p points) bars() chart.Points {
	var out chart.Points
	for i := range p {
		out = append(out, p[i].Point)
	}
	return out
}

// stepPlot is one quantity of the steps over another.
type stepPlot struct {
	title, xLabel string
	x             func(*results.Step) results.Interval
	y             func(*results.Step) *results.Interval
	marks         func(*results.Step) string
	keywords      []string // of the missing figure, where there is none
}

// curves are speed, burn and economy against rpm, for the first page.
func curves(r *results.Results) ([]drawing, error) {
	rpm := func(s *results.Step) results.Interval { return chart.Exact(s.RPM) }
	sys := systemOf(r)
	plots := []stepPlot{
		{"Speed, kn, against rpm", "", rpm, func(s *results.Step) *results.Interval { return &s.SpeedKn },
			markIf(r, r.Best.TopSpeedStep, "top speed"), []string{"speed"}},
		{"Burn, " + sys.burnUnit() + ", against rpm", "", rpm, sys.burnOf,
			markIf(r, r.Best.CruiseStep, "cruise"), []string{"fuel", "burn"}},
		{"Economy, " + sys.economyUnit() + ", against rpm", "", rpm, sys.economyOf,
			economyMark(r), []string{"economy", "fuel"}},
	}
	switch {
	case burnsNothing(r):
		plots = append(plots[:1], electricPlots(r, rpm)...)
	case r.Electric != nil:
		plots = append(plots, electricPlots(r, rpm)...)
	}
	return stepPlots(r, small3, plots)
}

// bySpeed are economy and range against speed.
func bySpeed(r *results.Results) ([]drawing, error) {
	knots := func(s *results.Step) results.Interval { return s.SpeedKn }
	sys := systemOf(r)
	plots := []stepPlot{
		{"Economy, " + sys.economyUnit() + ", against speed", "kn", knots, sys.economyOf,
			economyMark(r), []string{"economy", "fuel"}},
		{"Range, nm, against speed", "kn", knots, func(s *results.Step) *results.Interval { return s.RangeNM },
			markIf(r, r.Best.CruiseStep, "cruise"), []string{"range", "tank", "fuel"}},
	}
	switch {
	case burnsNothing(r):
		plots = electricBySpeed(r, knots)
	case r.Electric != nil:
		plots = append(plots, electricBySpeed(r, knots)...)
	}
	return stepPlots(r, half, plots)
}

func stepPlots(r *results.Results, s size, plots []stepPlot) ([]drawing, error) {
	var drawings []drawing
	for _, d := range plots {
		if r.FromTank() && slices.Contains(d.keywords, "fuel") {
			d.title += ", from " + results.FromTankLevel
		}
		var pts points
		for i := range r.Steps {
			s := &r.Steps[i]
			if y := d.y(s); y != nil && !math.IsNaN(y.Mean) {
				pts = append(pts, point{chart.Point{X: d.x(s), Y: *y}, !s.CurrentCorrected, d.marks(s)})
			}
		}
		if len(pts) == 0 {
			drawings = append(drawings, drawing{Title: d.title, Why: why(r, d.keywords...)})
			continue
		}
		p, err := scatter(pts, d.xLabel)
		if err != nil {
			return nil, err
		}
		svg, err := s.draw(p)
		if err != nil {
			return nil, err
		}
		drawings = append(drawings, drawing{Title: d.title, SVG: svg})
	}
	return drawings, nil
}

func markIf(r *results.Results, id *int, text string) func(*results.Step) string {
	return func(s *results.Step) string {
		if best := stepByID(r, id); best != nil && best.ID == s.ID {
			return text
		}
		return ""
	}
}

func economyMark(r *results.Results) func(*results.Step) string {
	overall, planing := markIf(r, r.Best.BestEconomyStep, "best"), markIf(r, r.Best.BestPlaningEconomyStep, "best planing")
	return func(s *results.Step) string {
		if m := overall(s); m != "" {
			return m
		}
		return planing(s)
	}
}

// scatter draws points with their intervals: filled and joined where current is
// taken out, open where not. Room is left above for the marks.
func scatter(pts points, xLabel string) (*plot.Plot, error) {
	p := chart.New(xLabel, "")
	var corrected, oneWay chart.Points
	for _, pt := range pts {
		if pt.oneWay {
			oneWay = append(oneWay, pt.Point)
		} else {
			corrected = append(corrected, pt.Point)
		}
	}
	if err := errors.Join(chart.AddPoints(p, corrected, chart.Filled), chart.AddPoints(p, oneWay, chart.Open)); err != nil {
		return nil, err
	}
	chart.Frame(p, pts.bars(), 0.3)
	p.Add(marked(pts))
	return p, nil
}

// marked writes the mark of each point above it, on the side away from the
// curve, with a leader, and never beyond the plot.
type marked points

func (m marked) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	bars := points(m).bars()
	leader := draw.LineStyle{Color: chart.Ink, Width: 0.5}
	for i, pt := range m {
		if pt.mark == "" {
			continue
		}
		_, up := bars.YError(i)
		at := vg.Point{X: x(pt.X.Mean), Y: y(pt.Y.Mean+up) + 4}
		c.StrokeLine2(leader, at.X, at.Y, at.X, at.Y+12)
		style := chart.Text(draw.XLeft, draw.YBottom)
		width := style.Width(pt.mark)
		left := at.X - 4
		if m.rising(i) {
			left = at.X + 4 - width
		}
		left = max(c.Min.X+3, min(left, c.Max.X-width))
		c.FillText(style, vg.Point{X: left, Y: at.Y + 13}, pt.mark)
	}
}

func (m marked) rising(i int) bool {
	if i == 0 {
		return len(m) > 1 && m[1].Y.Mean > m[0].Y.Mean
	}
	return m[i].Y.Mean > m[i-1].Y.Mean
}
