package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"runtime"
	"runtime/metrics"
	"strings"
	"testing"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/chart"
	"trialday.example/logd/sink/journal"
)

var keepGrowth = flag.Bool("growth", false, "write what BenchmarkGrowth finds to testdata/growth.tsv and growth.svg")

// BenchmarkGrowth takes days of 1 to 16 times a length, and boats of 1 to 8
// engines, from their journals to the sheet: cpu-s and cpu-ns/frame are processor
// time, MiB-most is the most memory of the program, and MiB-alive what of it the
// pipeline holds in the end. With -growth it draws them.
func BenchmarkGrowth(b *testing.B) {
	path := program(b)
	var days, engines []growth
	run := func(name string, n, times, engines int) (g growth) {
		b.Run(fmt.Sprintf("%s=%d", name, n), func(b *testing.B) { g = grow(b, path, times, engines) })
		return g
	}
	for _, times := range []int{1, 2, 4, 8, 16} {
		days = append(days, run("days", times, times, 3))
	}
	for _, n := range []int{1, 2, 4, 8} {
		engines = append(engines, run("engines", n, 1, n))
	}
	if !*keepGrowth {
		return
	}
	table := growthTable(append(days, engines...))
	svg, err := growthPlots(days, engines)
	if err != nil {
		b.Fatal(err)
	}
	for name, text := range map[string]string{"growth.tsv": table, "growth.svg": svg} {
		if err := os.WriteFile("../../testdata/"+name, []byte(text), 0o644); err != nil {
			b.Fatal(err)
		}
	}
}

// growth is what a day took.
type growth struct {
	engines       int
	hours, frames float64
	cpu           float64 // s
	most, alive   float64 // MiB
}

func grow(b *testing.B, program string, times, engines int) growth {
	s := demoScenario(b)
	script := s.Script[2:] // without the quarter of an hour at the dock
	s.Script = nil
	for range times {
		s.Script = append(s.Script, script...)
	}
	s.Engines.Names = nil
	for i := range engines {
		s.Engines.Names = append(s.Engines.Names, fmt.Sprint(i+1))
	}
	name := journalOf(b, s)
	sum := growth{engines: engines}
	for range b.N {
		took := costOfReplay(b, program, name)
		sum.cpu += took.cpu.Seconds()
		sum.most += took.mib
		frames, hours, alive := pipelineOf(b, name)
		sum.frames, sum.hours = frames, hours
		sum.alive += alive
	}
	sum.cpu, sum.most, sum.alive = sum.cpu/float64(b.N), sum.most/float64(b.N), sum.alive/float64(b.N)
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(sum.frames, "frames")
	b.ReportMetric(sum.hours, "hours")
	b.ReportMetric(sum.cpu, "cpu-s")
	b.ReportMetric(sum.cpu/sum.frames*1e9, "cpu-ns/frame")
	b.ReportMetric(sum.most, "MiB-most")
	b.ReportMetric(sum.alive, "MiB-alive")
	return sum
}

// pipelineOf goes through a journal and returns what the pipeline holds then.
func pipelineOf(b *testing.B, name string) (frames, hours, mib float64) {
	b.Helper()
	cfg, err := configs.ReadFile(demoConfig)
	if err != nil {
		b.Fatal(err)
	}
	in, err := journal.Open(name)
	if err != nil {
		b.Fatal(err)
	}
	defer in.Close()
	before := marked()
	d := day.New(cfg, version, in.Buses)
	var first, last int64
	n, err := frame.Each(in, func(f *frame.Frame) error {
		if first == 0 {
			first = f.Time
		}
		last = f.Time
		d.Frame(f)
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	mib = (marked() - before) / (1 << 20)
	runtime.KeepAlive(d)
	return float64(n), float64(last-first) / 3600e9, mib
}

// journalOf writes a day's journal; the simulation, which remembers what it did,
// is gone when it is read.
func journalOf(b *testing.B, s *simulate.Scenario) string {
	b.Helper()
	name := b.TempDir()
	j, err := journal.Create(name, journal.Options{Packed: true})
	if err != nil {
		b.Fatal(err)
	}
	_, err = s.Run(1, func(f *frame.Frame) error { return j.Append(f, "can0") })
	if err := errors.Join(err, j.Close()); err != nil {
		b.Fatal(err)
	}
	return name
}

// marked returns the bytes that a collection finds alive.
func marked() float64 {
	runtime.GC()
	runtime.GC() // a finalizer's memory goes with the second
	s := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(s)
	return float64(s[0].Value.Uint64())
}

func growthTable(rows []growth) string {
	var t strings.Builder
	t.WriteString("# of: go test ./cmd/logd -run '^$' -bench Growth -growth -benchtime 3x\n")
	t.WriteString("engines\thours\tframes\tprocessor_s\tmost_MiB\talive_MiB\n")
	for _, g := range rows {
		fmt.Fprintf(&t, "%d\t%.2f\t%.0f\t%.2f\t%.1f\t%.1f\n", g.engines, g.hours, g.frames, g.cpu, g.most, g.alive)
	}
	return t.String()
}

// growthPlots draws processor time above memory, by the day's length at the left
// and by the number of engines at the right.
func growthPlots(days, engines []growth) (string, error) {
	hours := func(g growth) float64 { return g.hours }
	number := func(g growth) float64 { return float64(g.engines) }
	cpu := func(g growth) float64 { return g.cpu }
	memory := func(g growth) float64 { return g.most }
	grid := make([][]*plot.Plot, 2)
	for row, y := range []struct {
		of    func(growth) float64
		label string
	}{{cpu, "processor time, s"}, {memory, "most memory, MiB"}} {
		for _, x := range []struct {
			list  []growth
			of    func(growth) float64
			label string
		}{{days, hours, "length of the day with three engines, h"}, {engines, number, "engines, the shortest of these days"}} {
			var pts chart.Points
			for _, g := range x.list {
				pts = append(pts, chart.Point{X: chart.Exact(x.of(g)), Y: chart.Exact(y.of(g))})
			}
			p := chart.New(x.label, y.label)
			if err := chart.AddPoints(p, pts, chart.Filled); err != nil {
				return "", err
			}
			chart.Frame(p, pts, 0.15)
			p.X.Min = 0
			grid[row] = append(grid[row], p)
		}
	}
	if err := errors.Join(inProportion(grid[0][0], days), alive(grid[1][0], days, hours), alive(grid[1][1], engines, number)); err != nil {
		return "", err
	}
	c := chart.NewCanvas(720*vg.Inch/72, 460*vg.Inch/72)
	tiles := draw.Tiles{Rows: 2, Cols: 2, PadX: 24, PadY: 16, PadTop: 8, PadBottom: 6, PadLeft: 6, PadRight: 10}
	for row, line := range plot.Align(grid, tiles, draw.New(c)) {
		for column, area := range line {
			grid[row][column].Draw(area)
		}
	}
	svg, err := c.Inline()
	return string(svg) + "\n", err
}

// inProportion adds the straight line through no time for no day and the longest
// day.
func inProportion(p *plot.Plot, days []growth) error {
	end := days[len(days)-1]
	line, err := plotter.NewLine(plotter.XYs{{}, {X: end.hours, Y: end.cpu}})
	if err != nil {
		return err
	}
	line.LineStyle = draw.LineStyle{Color: chart.Vermilion, Width: 0.75, Dashes: []vg.Length{4, 3}}
	p.Add(line)
	p.Legend.Add("in proportion", line)
	p.Legend.Top, p.Legend.Left, p.Legend.XOffs = true, true, 8
	return nil
}

// alive adds the memory that was alive in the pipeline, beside that of the program.
func alive(p *plot.Plot, list []growth, x func(growth) float64) error {
	var pts plotter.XYs
	for _, g := range list {
		pts = append(pts, plotter.XY{X: x(g), Y: g.alive})
	}
	line, err := plotter.NewLine(pts)
	if err != nil {
		return err
	}
	line.LineStyle = draw.LineStyle{Color: chart.Vermilion, Width: 1}
	p.Add(line)
	p.Y.Min = 0
	p.Legend.Add("of it the pipeline's", line)
	p.Legend.Top, p.Legend.Left, p.Legend.XOffs = true, true, 8
	return nil
}
