package day

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/metrics"
	"strings"
	"syscall"
	"testing"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/chart"
	"trialday.example/logd/sink/journal"
)

var keepGrowth = flag.Bool("growth", false, "write what BenchmarkGrowth finds to testdata/growth.tsv and growth.svg")

// BenchmarkGrowth takes days of 1 to 16 times a length, and boats of 1 to 8
// engines, from their journals: cpu-s and cpu-ns/frame are processor time up to
// the results, kB-most the most memory that was alive meanwhile, MiB-program the
// most that logd replay has of the same. With -growth it draws them.
func BenchmarkGrowth(b *testing.B) {
	program := filepath.Join(b.TempDir(), "logd")
	if out, err := exec.Command("go", "build", "-o", program, "trialday.example/logd/cmd/logd").CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	var days, engines []growth
	run := func(name string, n, times, engines int) (g growth) {
		b.Run(fmt.Sprintf("%s=%d", name, n), func(b *testing.B) { g = grow(b, program, times, engines) })
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
		if err := os.WriteFile("../../../testdata/"+name, []byte(text), 0o644); err != nil {
			b.Fatal(err)
		}
	}
}

// growth is what a day took.
type growth struct {
	engines        int
	hours, frames  float64
	cpu, megabytes float64 // s, MB
	whole          float64 // MB, of the program
}

func grow(b *testing.B, program string, times, engines int) growth {
	s := demo(b)
	script := s.Script
	for range times - 1 {
		s.Script = append(s.Script[:len(s.Script):len(s.Script)], script...)
	}
	s.Engines.Names = nil
	for i := range engines {
		s.Engines.Names = append(s.Engines.Names, fmt.Sprint(i+1))
	}
	sum := growth{engines: engines}
	name := journalOf(b, s)
	part := make([]frame.Frame, benchFrames)
	for range b.N {
		source, err := journal.Open(name)
		if err != nil {
			b.Fatal(err)
		}
		runtime.GC()
		base, most := marked(), 0.
		d := New(boatA(b), "test", oneBus)
		var took spent
		var first, last int64
		for more := true; more; {
			var n int
			n, more = fill(b, source, part)
			sum.frames += float64(n)
			took.on(func() {
				for i := range part[:n] {
					d.Frame(&part[i])
				}
			})
			most = max(most, marked())
			if first == 0 {
				first = part[0].Time
			}
			if n > 0 {
				last = part[n-1].Time
			}
		}
		took.on(func() { d.Finish(0) })
		source.Close()
		sum.whole += wholeMemory(b, program, name)
		sum.hours += float64(last-first) / 3600e9
		sum.cpu += took.cpu.Seconds()
		sum.megabytes += (most - base) / 1e6
	}
	n := float64(b.N)
	g := growth{engines, sum.hours / n, sum.frames / n, sum.cpu / n, sum.megabytes / n, sum.whole / n}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(g.frames, "frames")
	b.ReportMetric(g.hours, "hours")
	b.ReportMetric(g.cpu, "cpu-s")
	b.ReportMetric(g.cpu/g.frames*1e9, "cpu-ns/frame")
	b.ReportMetric(g.megabytes*1000, "kB-most")
	b.ReportMetric(g.whole*1e6/(1<<20), "MiB-program")
	return g
}

// wholeMemory is the most memory, MB, of the program while it replays a journal.
func wholeMemory(b *testing.B, program, name string) float64 {
	b.Helper()
	c := exec.Command(program, "replay", "--config", "../../../configs/demo-triple.yaml", "--out", filepath.Join(b.TempDir(), "out"), name)
	if out, err := c.CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	return float64(c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss) * 1024 / 1e6
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

// fill fills part with the next frames of a journal; it returns how many there
// are, and whether there may be more.
func fill(b *testing.B, in *journal.Reader, part []frame.Frame) (n int, more bool) {
	b.Helper()
	for i := range part {
		if err := in.Next(&part[i]); errors.Is(err, io.EOF) {
			return i, false
		} else if err != nil {
			b.Fatal(err)
		}
	}
	return len(part), true
}

// marked returns the bytes that were alive at the last collection.
func marked() float64 {
	s := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(s)
	return float64(s[0].Value.Uint64())
}

func growthTable(rows []growth) string {
	var t strings.Builder
	t.WriteString("# of: go test ./cmd/logd/day -run '^$' -bench Growth -growth -benchtime 3x\n")
	t.WriteString("engines\thours\tframes\tprocessor_s\talive_MB\tprogram_MB\n")
	for _, g := range rows {
		fmt.Fprintf(&t, "%d\t%.2f\t%.0f\t%.2f\t%.1f\t%.1f\n", g.engines, g.hours, g.frames, g.cpu, g.megabytes, g.whole)
	}
	return t.String()
}

// growthPlots draws processor time above memory, by the day's length at the left
// and by the number of engines at the right.
func growthPlots(days, engines []growth) (string, error) {
	hours := func(g growth) float64 { return g.hours }
	number := func(g growth) float64 { return float64(g.engines) }
	cpu := func(g growth) float64 { return g.cpu }
	memory := func(g growth) float64 { return g.whole }
	grid := make([][]*plot.Plot, 2)
	for row, y := range []struct {
		of    func(growth) float64
		label string
	}{{cpu, "processor time, s"}, {memory, "most memory, MB"}} {
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
	if err := inProportion(grid[0][0], days); err != nil {
		return "", err
	}
	for column, list := range [][]growth{days, engines} {
		x := []func(growth) float64{hours, number}[column]
		if err := alive(grid[1][column], list, x); err != nil {
			return "", err
		}
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
		pts = append(pts, plotter.XY{X: x(g), Y: g.megabytes})
	}
	line, err := plotter.NewLine(pts)
	if err != nil {
		return err
	}
	line.LineStyle = draw.LineStyle{Color: chart.Vermilion, Width: 1}
	p.Add(line)
	p.Y.Min = 0
	p.Legend.Add("of it alive: the pipeline's", line)
	p.Legend.Left, p.Legend.XOffs = true, 8
	return nil
}
