package sheet

import (
	"html/template"
	"image/color"
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"trialday.example/logd/sink/chart"
	"trialday.example/logd/sink/results"
)

const (
	dayWidth    = 720 * vg.Inch / 72
	panelHeight = 118 * vg.Inch / 72 // of speed and of rpm
	laneHeight  = 11 * vg.Inch / 72
	axisHeight  = 24 * vg.Inch / 72
	panelGap    = 9 * vg.Inch / 72
	// A day longer than stripMax, s, is drawn in strips one below the other:
	// a window of a minute would be too narrow to see. Their panels are lower,
	// so that four fill a page.
	stripMax  = 3.25 * 3600
	lowPanel  = 48 * vg.Inch / 72
	maxStrips = 24
	nameWidth = 92 * vg.Inch / 72 // room for engine names at the right
	maxPoints = 1200              // of one trace; more cannot be seen in print
)

// dayDrawing is the timeline in one or more strips; where there is none, Why
// says why.
type dayDrawing struct {
	Title  string
	Strips []template.HTML
	Why    string
}

// dayPlot draws the day in strips of equal length.
func dayPlot(r *results.Results, t *results.Timeline) (dayDrawing, error) {
	d := dayDrawing{Title: "The day in UTC: speed over ground, rpm, runs and windows"}
	if !r.Clock.Known {
		d.Title = "The day by the recorder's own clock: speed over ground, rpm, runs and windows"
	}
	if t == nil && len(r.Runs) > 0 {
		d.Why = "No timeline lies beside these results; a replay of the recording makes one."
		return d, nil
	}
	if t == nil || len(t.SpeedKn) < 2 || !(t.StepS > 0) {
		d.Why = "There is too little data to draw a timeline."
		return d, nil
	}
	length := t.StepS * float64(len(t.SpeedKn)-1)
	n := max(1, min(maxStrips, int(math.Ceil(length/stripMax))))
	height, ticks := panelHeight, 6.0
	if n > 1 {
		height, ticks = lowPanel, 3
	}
	for i := range n {
		from := t.StartUnix + length*float64(i)/float64(n)
		svg, err := strip(r, t, from, from+length/float64(n), height, ticks)
		if err != nil {
			return d, err
		}
		d.Strips = append(d.Strips, svg)
	}
	return d, nil
}

// strip draws speed, rpm and the kinds of run over one time scale, the former
// two so high and with so many ticks. Accepted windows are shaded through all
// panels.
func strip(r *results.Results, t *results.Timeline, from, to float64, height vg.Length, ticks float64) (template.HTML, error) {
	bands := acceptedBands(r.Windows)
	speed := panel("kn", from, to)
	speed.Add(bands, trace{t, t.SpeedKn, draw.LineStyle{Color: chart.Blue, Width: 1}})
	rpm := panel("rpm", from, to)
	rpm.Add(bands)
	for i, values := range t.RPM {
		rpm.Add(trace{t, values, engineStyle(i)})
	}
	lanes := newLanes(r)
	kinds := panel("", from, to)
	lanes.axis(kinds)
	kinds.Add(bands, lanes)
	top(speed, t.SpeedKn)
	top(rpm, t.RPM...)
	for _, p := range []*plot.Plot{speed, rpm} {
		p.Y.Tick.Marker = chart.Ticks(ticks)
		p.HideX()
	}

	heights := []vg.Length{height, height, laneHeight*vg.Length(len(lanes)) + axisHeight}
	total := 2 * panelGap
	for _, h := range heights {
		total += h
	}
	c := chart.NewCanvas(dayWidth, total)
	area := draw.New(c)
	grid := [][]*plot.Plot{{speed}, {rpm}, {kinds}}
	// Align makes the panels' sides meet; their heights are ours.
	canvases := plot.Align(grid, draw.Tiles{Rows: 3, Cols: 1, PadRight: 4}, draw.Crop(area, 0, -nameWidth, 0, 0))
	y := area.Max.Y - 4
	for i := range grid {
		panel := &canvases[i][0]
		panel.Max.Y, panel.Min.Y = y, max(y-heights[i], area.Min.Y)
		y -= heights[i] + panelGap
		grid[i][0].Draw(*panel)
	}
	nameEngines(area, canvases[1][0], r, len(t.RPM))
	return c.Inline()
}

func panel(y string, from, to float64) *plot.Plot {
	p := chart.New("", y)
	p.X.Min, p.X.Max = from, to
	p.X.Tick.Marker = plot.TickerFunc(timeTicks)
	return p
}

// top sets the scale of values from zero up.
func top(p *plot.Plot, series ...[]float64) {
	hi := 0.0
	for _, values := range series {
		for _, v := range values {
			if v > hi && !math.IsInf(v, 0) {
				hi = v
			}
		}
	}
	p.Y.Min, p.Y.Max = 0, hi*1.05
	if hi <= 0 {
		p.Y.Max = 1
	}
}

// timeTicks gives about eight ticks on round minutes.
func timeTicks(lo, hi float64) []plot.Tick {
	step, format := 1.0, "15:04:05"
	for _, s := range []float64{1, 5, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400} {
		step = s
		if (hi-lo)/s <= 9 {
			break
		}
	}
	if step >= 60 {
		format = "15:04"
	}
	var ticks []plot.Tick
	for t := math.Ceil(lo/step) * step; t <= hi && len(ticks) < 100; t += step {
		ticks = append(ticks, plot.Tick{Value: t, Label: time.Unix(int64(t), 0).UTC().Format(format)})
	}
	return ticks
}

// trace is a line over time, broken where there is no value.
type trace struct {
	t      *results.Timeline
	values []float64
	style  draw.LineStyle
}

func (tr trace) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	first := max(0, int(math.Ceil((p.X.Min-tr.t.StartUnix)/tr.t.StepS)))
	last := min(len(tr.values), int(math.Floor((p.X.Max-tr.t.StartUnix)/tr.t.StepS))+1)
	stride := max(1, (last-first+maxPoints-1)/maxPoints)
	var line []vg.Point
	for i := first; i < last; i += stride {
		mean := meanOf(tr.values[i:min(i+stride, last)])
		if math.IsNaN(mean) {
			c.StrokeLines(tr.style, line)
			line = nil
			continue
		}
		at := tr.t.StartUnix + tr.t.StepS*(float64(i)+float64(stride-1)/2)
		line = append(line, vg.Point{X: x(at), Y: y(mean)})
	}
	c.StrokeLines(tr.style, line)
}

func meanOf(values []float64) float64 {
	sum, n := 0.0, 0
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			sum, n = sum+v, n+1
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

// engineStyle tells up to eight engines apart by colour and by dashes.
func engineStyle(i int) draw.LineStyle {
	colours := []color.Color{chart.Blue, chart.Vermilion, chart.Green, chart.Ink}
	dashes := [][]vg.Length{nil, {5, 2}, {2, 2}, {8, 2, 2, 2}}
	return draw.LineStyle{Color: colours[i%4], Width: 1, Dashes: dashes[(i+i/4)%4]}
}

// nameEngines writes the names beside the rpm panel with a piece of each line.
func nameEngines(area, panel draw.Canvas, r *results.Results, n int) {
	y := panel.Max.Y - 8
	for i := range n {
		name := "engine"
		if i < len(r.Vessel.Engines) {
			name = r.Vessel.Engines[i].Name
		}
		name = shortened(name, 14)
		x := area.Max.X - nameWidth + 6
		area.StrokeLine2(engineStyle(i), x, y, x+16, y)
		area.FillText(chart.Text(draw.XLeft, draw.YCenter), vg.Point{X: x + 20, Y: y}, name)
		y -= 13
	}
}

// bar is a stretch of time, in s since 1970.
type bar struct{ from, to float64 }

func barOf(start, end string) (bar, bool) {
	a, okA := parseTime(start)
	b, okB := parseTime(end)
	unix := func(t time.Time) float64 { return float64(t.UnixNano()) / 1e9 }
	if !okA || !okB {
		return bar{}, false
	}
	return bar{unix(a), unix(b)}, true
}

// bands shade stretches over the full height of a panel.
type bands []bar

func acceptedBands(windows []results.Window) bands {
	var list bands
	for _, w := range windows {
		if b, ok := barOf(w.Start, w.End); ok && w.Accepted && w.Amended != "excluded" {
			list = append(list, b)
		}
	}
	return list
}

func (b bands) Plot(c draw.Canvas, p *plot.Plot) {
	for _, band := range b {
		fillBar(c, p, band, c.Min.Y, c.Max.Y, chart.Shade)
	}
}

// fillBar fills a bar between two heights, at least a hair wide.
func fillBar(c draw.Canvas, p *plot.Plot, b bar, bottom, top vg.Length, colour color.Color) {
	x, _ := p.Transforms(&c)
	l, r := max(x(b.from), c.Min.X), min(x(b.to), c.Max.X)
	if r < l {
		return
	}
	r = max(r, l+0.7)
	c.FillPolygon(colour, []vg.Point{{X: l, Y: bottom}, {X: r, Y: bottom}, {X: r, Y: top}, {X: l, Y: top}})
}

// lane is one row of bars.
type lane struct {
	name   string
	colour color.Color
	open   bool
	bars   []bar
}

// lanes show each kind of run on a row of its own, so that neither colour nor
// pattern is needed to tell them apart, and windows on two more.
type lanes []lane

// laneOrder is from bottom to top.
var laneOrder = []string{"at_rest", "manoeuvring", "slowing", "turning", "accelerating", "held_throttle"}

func newLanes(r *results.Results) lanes {
	rejected := lane{name: "not steady", colour: chart.Vermilion, open: true}
	accepted := lane{name: "steady window", colour: chart.Blue}
	for _, w := range r.Windows {
		b, ok := barOf(w.Start, w.End)
		switch {
		case ok && w.Accepted:
			accepted.bars = append(accepted.bars, b)
		case ok:
			rejected.bars = append(rejected.bars, b)
		}
	}
	var list lanes
	for _, kind := range laneOrder {
		l := lane{name: words(kind), colour: color.Gray{0x70}}
		for _, run := range r.Runs {
			if b, ok := barOf(run.Start, run.End); ok && run.Kind == kind {
				l.bars = append(l.bars, b)
			}
		}
		list = append(list, l)
	}
	return append(list, rejected, accepted)
}

func (l lanes) axis(p *plot.Plot) {
	var ticks plot.ConstantTicks
	for i := range l {
		ticks = append(ticks, plot.Tick{Value: float64(i), Label: l[i].name})
	}
	p.Y.Tick.Marker, p.Y.Tick.Length = ticks, 0
	p.Y.Min, p.Y.Max = -0.6, float64(len(l))-0.4
}

func (l lanes) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for i := range l {
		bottom, top := y(float64(i)-0.3), y(float64(i)+0.3)
		for _, b := range l[i].bars {
			if !l[i].open {
				fillBar(c, p, b, bottom, top, l[i].colour)
				continue
			}
			left, right := max(x(b.from), c.Min.X), min(x(b.to), c.Max.X)
			if right < left {
				continue
			}
			c.StrokeLines(draw.LineStyle{Color: l[i].colour, Width: 0.9}, []vg.Point{{X: left, Y: bottom},
				{X: right, Y: bottom}, {X: right, Y: top}, {X: left, Y: top}, {X: left, Y: bottom}})
		}
	}
}
