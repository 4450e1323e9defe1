// Package chart is the one style of all plots: typeface, colours, scales, and
// points with their intervals, drawn as SVG to stand inside a page.
//
// Invariants: equal values give equal bytes; an end of an interval that is not
// known is not drawn, and nothing is ever drawn at zero for being unknown.
package chart

import (
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Blue, vermilion and green stay apart for every common kind of colour
// blindness (dark members of Okabe and Ito's palette, from memory); shapes and
// dashes say the same without colour. Shade is for areas, Faint for the grid.
var (
	Ink       = color.Gray{0x20}
	Faint     = color.Gray{0xd8}
	Blue      = color.RGBA{0x00, 0x5a, 0x9c, 0xff}
	Vermilion = color.RGBA{0xb8, 0x4a, 0x00, 0xff}
	Green     = color.RGBA{0x00, 0x80, 0x5e, 0xff}
	Shade     = color.RGBA{0xdc, 0xea, 0xf5, 0xff}
)

const textSize = 10.5 * vg.Inch / 72

// Text is the style of all words, anchored as given.
func Text(x text.XAlignment, y text.YAlignment) text.Style {
	return text.Style{Color: Ink, Font: font.Font{Typeface: "Liberation", Variant: "Sans", Size: textSize}, XAlign: x, YAlign: y,
		Handler: plot.DefaultTextHandler}
}

// New returns an empty plot; either label may be "".
func New(x, y string) *plot.Plot {
	p := plot.New()
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle = Text(a.Label.TextStyle.XAlign, a.Label.TextStyle.YAlign)
		a.Tick.Label = Text(a.Tick.Label.XAlign, a.Tick.Label.YAlign)
		a.Tick.LineStyle = draw.LineStyle{Color: Ink, Width: 0.5}
		a.LineStyle = draw.LineStyle{Color: Ink, Width: 0.75}
		a.Tick.Length = 4
		a.Tick.Marker = Ticks(6)
		a.Padding = 2
	}
	p.X.Label.Text, p.Y.Label.Text = x, y
	p.Legend.TextStyle = Text(p.Legend.TextStyle.XAlign, p.Legend.TextStyle.YAlign)
	grid := plotter.NewGrid()
	grid.Vertical.Color = nil
	grid.Horizontal = draw.LineStyle{Color: Faint, Width: 0.5}
	p.Add(grid)
	return p
}

// Ticks gives round ticks, at most so many intervals of them.
func Ticks(most float64) plot.TickerFunc {
	return func(lo, hi float64) []plot.Tick { return roundTicks(lo, hi, most) }
}

func roundTicks(lo, hi, most float64) []plot.Tick {
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/most)))
	for _, m := range []float64{1, 2, 5, 10} {
		if (hi-lo)/(step*m) <= most {
			step *= m
			break
		}
	}
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	var ticks []plot.Tick
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9; k++ {
		label := strconv.FormatFloat(k*step+0, 'f', decimals, 64)
		ticks = append(ticks, plot.Tick{Value: k * step, Label: strings.Replace(label, "-", "−", 1)})
	}
	return ticks
}
