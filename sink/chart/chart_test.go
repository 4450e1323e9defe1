package chart

import (
	"encoding/xml"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"

	"trialday.example/logd/sink/results"
)

func TestTicksAreRoundAndFew(t *testing.T) {
	for _, c := range []struct {
		lo, hi, most float64
		want         string
	}{
		{0, 42, 6, "0 10 20 30 40"}, {-1, 1, 5, "−1.0 −0.5 0.0 0.5 1.0"}, {0, 0.0042, 6, "0.000 0.001 0.002 0.003 0.004"},
		{640, 3100, 3, "1000 2000 3000"}, {7, 7, 6, ""},
	} {
		var got []string
		for _, k := range roundTicks(c.lo, c.hi, c.most) {
			got = append(got, k.Label)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("from %g to %g: %q, want %q", c.lo, c.hi, got, c.want)
		}
	}
}

func drawn(t *testing.T, pts Points, look Look) string {
	t.Helper()
	p := New("rpm", "kn")
	if err := AddPoints(p, pts, look); err != nil {
		t.Fatal(err)
	}
	Frame(p, pts, 0.2)
	svg, err := Draw(p, 340*vg.Inch/72, 200*vg.Inch/72)
	if err != nil {
		t.Fatal(err)
	}
	if err := xml.Unmarshal([]byte(svg), new(struct{ XMLName xml.Name })); err != nil {
		t.Fatalf("not well formed: %v", err)
	}
	return string(svg)
}

// Ends of an interval that are not known are not drawn; equal points give equal
// bytes; names are text.
func TestDrawing(t *testing.T) {
	nan := math.NaN()
	known := Points{{Exact(1000), results.Interval{Mean: 10, Lo95: 9, Hi95: 11}}, {Exact(2000), results.Interval{Mean: 20, Lo95: 18, Hi95: 22}}}
	open := Points{{Exact(1000), results.Interval{Mean: 10, Lo95: nan, Hi95: nan}}, {Exact(2000), results.Interval{Mean: 20, Lo95: nan, Hi95: math.Inf(1)}}}
	a, b := drawn(t, known, Filled), drawn(t, known, Filled)
	if a != b {
		t.Error("two drawings of the same differ")
	}
	without := drawn(t, open, Filled)
	if strings.Contains(without, "NaN") || strings.Contains(without, "Inf") {
		t.Error("an unknown end is drawn")
	}
	if drawn(t, known, Open) == a {
		t.Error("the looks are one")
	}
	if svg := drawn(t, known, Triangle.Named("<b>A & B")); !strings.Contains(svg, "&lt;b&gt;A &amp; B") {
		t.Error("a name is not escaped, or not shown")
	}
	drawn(t, Points{{Exact(0), Exact(0)}}, Filled)
	drawn(t, nil, Filled)
}

// Points below zero are inside the frame; an interval that only reaches below it does
// not move the scale.
func TestFrameOfPointsBelowZero(t *testing.T) {
	at := func(mean, half float64) Point {
		return Point{X: Exact(1), Y: results.Interval{Mean: mean, Lo95: mean - half, Hi95: mean + half}}
	}
	p := New("", "")
	if Frame(p, Points{at(5, 1), at(0, 1)}, 0.2); p.Y.Min != 0 {
		t.Errorf("from %v", p.Y.Min)
	}
	if Frame(p, Points{at(5, 1), at(-6, 1)}, 0.2); p.Y.Min > -7 || p.Y.Max < 6 {
		t.Errorf("from %v to %v", p.Y.Min, p.Y.Max)
	}
}
