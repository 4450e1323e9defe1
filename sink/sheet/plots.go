package sheet

import (
	"bytes"
	"fmt"
	"html/template"
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"trialday.example/logd/sink/results"
)

// drawing is one plot; where SVG is empty, Why says why there is none.
type drawing struct {
	Title string
	SVG   template.HTML
	Why   string
}

// The one style of all plots. Blue and vermilion stay apart for every common
// kind of colour blindness (Okabe and Ito's palette, from memory), and the
// shapes say the same without colour.
var (
	ink       = color.Gray{0x20}
	faint     = color.Gray{0xd8}
	accent    = color.RGBA{0x00, 0x5a, 0x9c, 0xff}
	vermilion = color.RGBA{0xb8, 0x4a, 0x00, 0xff}
)

const (
	plotWidth  = 340 * vg.Inch / 72
	plotHeight = 202 * vg.Inch / 72
	textSize   = 10.5 * vg.Inch / 72
)

func label(anchorX text.XAlignment, anchorY text.YAlignment) text.Style {
	return text.Style{Color: ink, Font: font.Font{Typeface: "Liberation", Variant: "Sans", Size: textSize}, XAlign: anchorX, YAlign: anchorY,
		Handler: plot.DefaultTextHandler}
}

// newPlot returns an empty plot in our style.
func newPlot(x, y string) *plot.Plot {
	p := plot.New()
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle = label(a.Label.TextStyle.XAlign, a.Label.TextStyle.YAlign)
		a.Tick.Label = label(a.Tick.Label.XAlign, a.Tick.Label.YAlign)
		a.Tick.LineStyle = draw.LineStyle{Color: ink, Width: 0.5}
		a.LineStyle = draw.LineStyle{Color: ink, Width: 0.75}
		a.Tick.Length = 4
		a.Tick.Marker = majorTicks(6)
		a.Padding = 2
	}
	p.X.Label.Text, p.Y.Label.Text = x, y
	grid := plotter.NewGrid()
	grid.Vertical.Color = nil
	grid.Horizontal = draw.LineStyle{Color: faint, Width: 0.5}
	p.Add(grid)
	return p
}

// majorTicks gives round ticks, at most so many intervals of them.
func majorTicks(most float64) plot.TickerFunc {
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
		ticks = append(ticks, plot.Tick{Value: k * step, Label: fixed(k*step, decimals)})
	}
	return ticks
}

// svgCanvas is an SVG canvas that remembers how wide each text was taken to be,
// so that it keeps its place where the reader's machine lacks the font.
type svgCanvas struct {
	*vgsvg.Canvas
	widths []vg.Length
}

func newCanvas(w, h vg.Length) *svgCanvas { return &svgCanvas{Canvas: vgsvg.New(w, h)} }

func (c *svgCanvas) FillString(f font.Face, pt vg.Point, str string) {
	c.widths = append(c.widths, f.Width(str))
	c.Canvas.FillString(f, pt, str)
}

// inline returns the svg element alone. The canvas escapes all text, so that it
// is safe inside HTML.
func (c *svgCanvas) inline() (template.HTML, error) {
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", err
	}
	_, body, _ := strings.Cut(b.String(), "<svg")
	parts := strings.Split(body, "<text ")
	out := "<svg" + parts[0]
	for i, part := range parts[1:] {
		out += fmt.Sprintf(`<text textLength="%.1f" lengthAdjust="spacingAndGlyphs" `, c.widths[i].Points()) + part
	}
	return template.HTML(out), nil
}

// point is one step in a plot.
type point struct {
	x, y   results.Interval
	oneWay bool
	mark   string
}

type points []point

func (p points) Len() int                { return len(p) }
func (p points) XY(i int) (x, y float64) { return p[i].x.Mean, p[i].y.Mean }
func (p points) XError(i int) (lo, hi float64) {
	return side(p[i].x.Mean - p[i].x.Lo95), side(p[i].x.Hi95 - p[i].x.Mean)
}
func (p points) YError(i int) (lo, hi float64) {
	return side(p[i].y.Mean - p[i].y.Lo95), side(p[i].y.Hi95 - p[i].y.Mean)
}

// side is half an interval for drawing: nothing where it is not known.
func side(d float64) float64 {
	if math.IsNaN(d) || math.IsInf(d, 0) {
		return 0
	}
	return d
}

func exact(x float64) results.Interval { return results.Interval{Mean: x, Lo95: x, Hi95: x} }

// stepPlots draws what the steps give: speed and burn against rpm, economy and
// range against speed.
func stepPlots(r *results.Results) ([]drawing, error) {
	rpm := func(s *results.Step) results.Interval { return exact(s.RPM) }
	knots := func(s *results.Step) results.Interval { return s.SpeedKn }
	sys := systemOf(r)
	plots := []struct {
		title, xLabel string
		x             func(*results.Step) results.Interval
		y             func(*results.Step) *results.Interval
		marks         func(*results.Step) string
		keywords      []string
	}{
		{"Speed, kn, against rpm", "rpm", rpm, func(s *results.Step) *results.Interval { return &s.SpeedKn },
			markIf(r, r.Best.TopSpeedStep, "top speed"), []string{"speed"}},
		{"Burn, " + sys.burnUnit() + ", against rpm", "rpm", rpm, sys.burnOf,
			markIf(r, r.Best.CruiseStep, "cruise"), []string{"fuel", "burn"}},
		{"Economy, " + sys.economyUnit() + ", against speed", "kn", knots, sys.economyOf,
			economyMark(r), []string{"economy", "fuel"}},
		{"Range, nm, against speed", "kn", knots, func(s *results.Step) *results.Interval { return s.RangeNM },
			markIf(r, r.Best.CruiseStep, "cruise"), []string{"range", "tank", "fuel"}},
	}
	var drawings []drawing
	for _, d := range plots {
		var pts points
		for i := range r.Steps {
			s := &r.Steps[i]
			if y := d.y(s); y != nil && !math.IsNaN(y.Mean) {
				pts = append(pts, point{d.x(s), *y, !s.CurrentCorrected, d.marks(s)})
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
		svg, err := drawn(p)
		if err != nil {
			return nil, err
		}
		drawings = append(drawings, drawing{Title: d.title, SVG: svg})
	}
	return drawings, nil
}

// drawn renders a plot of the common size.
func drawn(p *plot.Plot) (template.HTML, error) {
	c := newCanvas(plotWidth, plotHeight)
	p.Draw(draw.Crop(draw.New(c), 0, -9, 0, 0))
	return c.inline()
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

// scatter draws points with their intervals: filled where current is taken out,
// open where not, and a thin line through the filled ones.
func scatter(pts points, xLabel string) (*plot.Plot, error) {
	p := newPlot(xLabel, "")
	var corrected, oneWay points
	for _, pt := range pts {
		if pt.oneWay {
			oneWay = append(oneWay, pt)
		} else {
			corrected = append(corrected, pt)
		}
	}
	line, err := plotter.NewLine(corrected)
	if len(corrected) > 1 && err == nil {
		line.LineStyle = draw.LineStyle{Color: accent, Width: 0.75}
		p.Add(line)
	}
	for _, group := range []struct {
		pts   points
		glyph draw.GlyphStyle
	}{
		{corrected, draw.GlyphStyle{Color: accent, Radius: 3, Shape: draw.CircleGlyph{}}},
		{oneWay, draw.GlyphStyle{Color: vermilion, Radius: 3.5, Shape: draw.RingGlyph{}}},
	} {
		if len(group.pts) == 0 {
			continue
		}
		if err := addGroup(p, group.pts, group.glyph); err != nil {
			return nil, err
		}
	}
	frame(p, pts)
	p.Add(marked(pts))
	return p, nil
}

func addGroup(p *plot.Plot, pts points, glyph draw.GlyphStyle) error {
	ys, err := plotter.NewYErrorBars(pts)
	if err != nil {
		return err
	}
	xs, err := plotter.NewXErrorBars(pts)
	if err != nil {
		return err
	}
	dots, err := plotter.NewScatter(pts)
	if err != nil {
		return err
	}
	ys.LineStyle = draw.LineStyle{Color: glyph.Color, Width: 1}
	xs.LineStyle, ys.CapWidth, xs.CapWidth = ys.LineStyle, 5, 0
	dots.GlyphStyle = glyph
	p.Add(ys, xs, dots)
	return nil
}

// frame starts both scales at zero where that costs little, and leaves head
// room for the labels.
func frame(p *plot.Plot, pts points) {
	hi, xLo, xHi := 0.0, math.Inf(1), math.Inf(-1)
	for i, pt := range pts {
		_, up := pts.YError(i)
		hi = max(hi, pt.y.Mean+up)
		xLo, xHi = min(xLo, pt.x.Mean), max(xHi, pt.x.Mean)
	}
	p.Y.Min, p.Y.Max = 0, hi*1.2
	if hi <= 0 {
		p.Y.Max = 1
	}
	pad := max((xHi-xLo)*0.06, xHi*0.01, 1e-3)
	p.X.Min, p.X.Max = max(0, xLo-pad), xHi+pad
}

// marked writes the mark of each point above it, on the side away from the
// curve, with a leader, and never beyond the plot.
type marked points

func (m marked) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	leader := draw.LineStyle{Color: ink, Width: 0.5}
	for i, pt := range m {
		if pt.mark == "" {
			continue
		}
		_, up := points(m).YError(i)
		at := vg.Point{X: x(pt.x.Mean), Y: y(pt.y.Mean+up) + 4}
		c.StrokeLine2(leader, at.X, at.Y, at.X, at.Y+12)
		style := label(draw.XLeft, draw.YBottom)
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
		return len(m) > 1 && m[1].y.Mean > m[0].y.Mean
	}
	return m[i].y.Mean > m[i-1].y.Mean
}
