package chart

import (
	"bytes"
	"fmt"
	"html/template"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Canvas is an SVG canvas that remembers how wide each text was taken to be, so
// that it keeps its place where the reader's machine lacks the font.
type Canvas struct {
	*vgsvg.Canvas
	widths []vg.Length
}

// NewCanvas makes an empty canvas.
func NewCanvas(w, h vg.Length) *Canvas { return &Canvas{Canvas: vgsvg.New(w, h)} }

// FillString implements vg.Canvas.
func (c *Canvas) FillString(f font.Face, pt vg.Point, str string) {
	c.widths = append(c.widths, f.Width(str))
	c.Canvas.FillString(f, pt, str)
}

// Inline returns the svg element alone. The canvas escapes all text, so that it
// is safe inside HTML.
func (c *Canvas) Inline() (template.HTML, error) {
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

// Draw renders a whole plot on a canvas of its own. A strip at the right stays
// free for the half of the last label that stands out.
func Draw(p *plot.Plot, w, h vg.Length) (template.HTML, error) {
	c := NewCanvas(w, h)
	p.Draw(draw.Crop(draw.New(c), 0, -9, 0, 0))
	return c.Inline()
}
