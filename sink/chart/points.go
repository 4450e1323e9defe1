package chart

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"trialday.example/logd/sink/results"
)

// Point is a value of each axis with its 95 % interval.
type Point struct{ X, Y results.Interval }

// Exact is a value without an interval.
func Exact(x float64) results.Interval { return results.Interval{Mean: x, Lo95: x, Hi95: x} }

// Points are drawn with bars for their intervals.
type Points []Point

func (p Points) Len() int                { return len(p) }
func (p Points) XY(i int) (x, y float64) { return p[i].X.Mean, p[i].Y.Mean }

// XError and YError are the sides of the intervals, 0 where not known.
func (p Points) XError(i int) (lo, hi float64) { return sides(p[i].X) }
func (p Points) YError(i int) (lo, hi float64) { return sides(p[i].Y) }

func sides(i results.Interval) (lo, hi float64) { return side(i.Mean - i.Lo95), side(i.Hi95 - i.Mean) }

func side(d float64) float64 {
	if math.IsNaN(d) || math.IsInf(d, 0) {
		return 0
	}
	return d
}

// Look is how one group of points is drawn: colour and shape say the same.
type Look struct {
	Glyph  draw.GlyphStyle
	Joined bool   // by a thin line in their order
	Name   string // in the legend; "" for none
}

// The looks of groups that share a plot.
var (
	Filled   = Look{Glyph: draw.GlyphStyle{Color: Blue, Radius: 3, Shape: draw.CircleGlyph{}}, Joined: true}
	Open     = Look{Glyph: draw.GlyphStyle{Color: Vermilion, Radius: 3.5, Shape: draw.RingGlyph{}}}
	Triangle = Look{Glyph: draw.GlyphStyle{Color: Vermilion, Radius: 3.5, Shape: draw.TriangleGlyph{}}, Joined: true}
)

// Named is the look with a name for the legend.
func (l Look) Named(name string) Look {
	l.Name = name
	return l
}

// AddPoints draws one group of points.
func AddPoints(p *plot.Plot, pts Points, look Look) error {
	if len(pts) == 0 {
		return nil
	}
	line, dots, err := plotter.NewLinePoints(pts)
	if err != nil {
		return err
	}
	ys, err := plotter.NewYErrorBars(pts)
	if err != nil {
		return err
	}
	xs, err := plotter.NewXErrorBars(pts)
	if err != nil {
		return err
	}
	ys.LineStyle = draw.LineStyle{Color: look.Glyph.Color, Width: 1}
	xs.LineStyle, ys.CapWidth, xs.CapWidth = ys.LineStyle, 5, 0
	dots.GlyphStyle = look.Glyph
	if look.Joined && len(pts) > 1 {
		line.LineStyle = draw.LineStyle{Color: look.Glyph.Color, Width: 0.75}
		p.Add(line)
	}
	p.Add(ys, xs, dots)
	if look.Name != "" {
		p.Legend.Add(look.Name, dots)
	}
	return nil
}

// Frame starts the scale of y at zero, or below points that are themselves below it,
// and ends it so far above all points, relatively; that of x reaches little beyond
// them.
func Frame(p *plot.Plot, pts Points, room float64) {
	lo, hi, xLo, xHi := 0.0, 0.0, math.Inf(1), math.Inf(-1)
	for i, pt := range pts {
		down, up := pts.YError(i)
		hi = max(hi, pt.Y.Mean+up)
		if pt.Y.Mean < 0 {
			lo = min(lo, pt.Y.Mean-math.Abs(down))
		}
		xLo, xHi = min(xLo, pt.X.Mean), max(xHi, pt.X.Mean)
	}
	p.Y.Min, p.Y.Max = 1.1*lo, hi*(1+room)
	if hi <= 0 {
		p.Y.Max = 1
	}
	pad := max((xHi-xLo)*0.06, xHi*0.01, 1e-3)
	p.X.Min, p.X.Max = max(0, xLo-pad), xHi+pad
}
