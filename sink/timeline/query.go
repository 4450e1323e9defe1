package timeline

import (
	"fmt"
	"math"
)

// grid is how a stretch is cut for drawing.
type grid struct {
	level int // of the cells taken
	first int // of them
	each  int // of them in one point
	count int // points
}

// seconds from the beginning of the day to that of point i.
func (g grid) second(i int) int { return (g.first + i*g.each) << (fanBits * g.level) }

func (g grid) width() int { return g.each << (fanBits * g.level) }

// grid cuts what lies between two times into no more than about so many points.
func (t *Timeline) grid(from, to float64, points int) grid {
	a := max(0, secondAt(t.dates, from))
	b := min(t.seconds, secondAt(t.dates, to)+1)
	if a >= b || len(t.dates) < 2 {
		return grid{each: 1}
	}
	width := max(1, (b-a+points-1)/max(points, 1))
	g := grid{level: t.base}
	for width >= fanout<<(fanBits*g.level) {
		g.level++
	}
	size := 1 << (fanBits * g.level)
	g.each = (width + size - 1) / size
	g.first = a / size / g.each * g.each // so that points stay where they are when the view moves
	g.count = (b - g.second(0) + g.width() - 1) / g.width()
	return g
}

// View returns what was measured between two times, s since 1970 UTC (or
// infinite), in no more than about so many points.
func (t *Timeline) View(from, to float64, points int) *View {
	t.mu.RLock()
	defer t.mu.RUnlock()
	g := t.grid(from, to, points)
	v := &View{StepS: float64(g.width()), Time: t.times(g), Channels: make(map[string]Channel, len(t.columns))}
	for i := range t.columns {
		c := &t.columns[i]
		v.Channels[t.key(c)] = c.view(g)
	}
	return v
}

func (t *Timeline) times(g grid) Values {
	out := make(Values, g.count)
	for i := range out {
		out[i] = unix(t.dates, g.second(i))
	}
	return out
}

func (t *Timeline) key(c *column) string {
	ch := &channels[c.channel]
	switch {
	case !ch.perEngine:
		return ch.key
	case c.engine < len(t.engines):
		return ch.key + t.engines[c.engine]
	}
	return fmt.Sprintf("%sengine %d", ch.key, c.engine+1)
}

func (c *column) view(g grid) Channel {
	ch := &channels[c.channel]
	if ch.direction {
		return Channel{Mean: c.directions(g)}
	}
	out := Channel{Min: make(Values, g.count), Max: make(Values, g.count), Mean: make(Values, g.count)}
	at := c.parts[0].look(g.level)
	for i := range g.count {
		m := at.over(g, i)
		out.Min[i], out.Max[i], out.Mean[i] = ch.show(float64(m.min)), ch.show(float64(m.max)), ch.show(m.mean())
		if m.count == 0 {
			out.Min[i], out.Max[i] = math.NaN(), math.NaN()
		}
	}
	return out
}

// directions are those of the mean vectors, 0 up to 360 degrees.
func (c *column) directions(g grid) Values {
	out := make(Values, g.count)
	cosines, sines := c.parts[0].look(g.level), c.parts[1].look(g.level)
	for i := range out {
		cos, sin := cosines.over(g, i), sines.over(g, i)
		out[i] = math.NaN()
		if cos.count > 0 {
			out[i] = math.Mod(round(math.Atan2(float64(sin.sum), float64(cos.sum))*degree+360), 360)
		}
	}
	return out
}

// over gathers the cells of point i.
func (l *looker) over(g grid, i int) (m merge) {
	for k := range g.each {
		m.add(l.cell(g.first + i*g.each + k))
	}
	return m
}

// show turns quanta into the unit of the key, to a thousandth.
func (c *channel) show(v float64) float64 { return round(v * c.quantum * c.scale) }

func round(v float64) float64 { return math.Round(v*1e3) / 1e3 }

// Track returns the way of the boat between two times, s since 1970 UTC (or
// infinite), in no more than about so many points.
func (t *Timeline) Track(from, to float64, points int) *Track {
	t.mu.RLock()
	defer t.mu.RUnlock()
	g := t.grid(from, to, points)
	out := &Track{Time: t.times(g), LatDeg: make(Values, g.count), LonDeg: make(Values, g.count), SOGKn: make(Values, g.count)}
	speed := column{channel: speedChannel, parts: make([]series, 1)}
	for i := range t.columns {
		if t.columns[i].channel == speedChannel {
			speed = t.columns[i]
		}
	}
	at := speed.parts[0].look(g.level)
	for i := range g.count {
		out.LatDeg[i], out.LonDeg[i] = t.lastPlace(g, i).degrees()
		m := at.over(g, i)
		out.SOGKn[i] = channels[speedChannel].show(m.mean())
	}
	return out
}

// lastPlace is the last known position in point i.
func (t *Timeline) lastPlace(g grid, i int) place {
	from, to := g.second(i)>>(fanBits*t.base), g.second(i+1)>>(fanBits*t.base)
	for k := min(to, len(t.places)) - 1; k >= from; k-- {
		if t.places[k] != nowhere {
			return t.places[k]
		}
	}
	return nowhere
}
