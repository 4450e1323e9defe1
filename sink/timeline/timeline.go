// Package timeline keeps the course of a day for drawing at any zoom: least,
// greatest and mean value of each channel over cells of one second, of four, of
// sixteen and so on, of which a View takes those that fit its width. Values are
// whole numbers of a quantum, about a tenth of the least step that the message
// can show.
//
// It is a derived cache, made by the one pipeline as the day goes on, live and
// in replay alike, and kept in File beside the results. A file that is damaged
// is refused; a replay of the journal makes it again.
//
// # Invariants
//
//   - A cell's values are those of the seconds in it that have one. A cell
//     without any has none: gaps stay gaps.
//   - Seconds follow each other without a hole, in trial time. UTC is put on at
//     the end, as for the results.
//   - Memory is bounded: when there are more than maxCells cells at the base,
//     the finest level is given up.
package timeline

import (
	"math"
	"sync"

	"trialday.example/logd/calc"
)

// File is the name of the file in a trial's directory.
const File = "timeline.bin"

const (
	// fanout is how many cells of one level make one of the next; fanBits its
	// logarithm.
	fanout  = 1 << fanBits
	fanBits = 2
	// maxCells, of one second, is 18 hours.
	maxCells = 1 << 16
	second   = int64(1e9)
)

// Timeline is the course of a day. One goroutine may add to it while others
// look.
type Timeline struct {
	mu      sync.RWMutex
	start   int64 // trial time of the first second, ns
	seconds int
	base    int // finest level that is kept
	columns []column
	places  []place // one for each cell of the base level
	engines []string
	dates   []date
}

// column is a channel that was heard, as one series or, of a direction, two.
type column struct {
	channel int // index in channels
	engine  int
	parts   []series
}

// New begins a day.
func New() *Timeline { return new(Timeline) }

// Add takes the next second, with the position in degrees, NaN where there was
// none. Seconds must follow each other without a hole.
func (t *Timeline) Add(m *calc.Moment, lat, lon float64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.seconds == 0 {
		t.start = m.At
	}
	for c := range channels {
		for e := range channels[c].times() {
			if v := channels[c].of(m, e); !math.IsNaN(v) {
				t.column(c, e)
			}
		}
	}
	for i := range t.columns {
		c := &t.columns[i]
		c.add(channels[c.channel].of(m, c.engine))
	}
	t.addPlace(placeOf(lat, lon))
	t.seconds++
	if len(t.places) > maxCells {
		t.coarsen()
	}
}

// column begins the column of a channel unless there is one.
func (t *Timeline) column(channel, engine int) {
	for i := range t.columns {
		if t.columns[i].channel == channel && t.columns[i].engine == engine {
			return
		}
	}
	c := column{channel: channel, engine: engine, parts: make([]series, channels[channel].parts())}
	for i := range c.parts {
		c.parts[i].base = t.base
		for range t.seconds {
			c.parts[i].add(0, cell{})
		}
	}
	t.columns = append(t.columns, c)
}

func (c *column) add(v float64) {
	ch := &channels[c.channel]
	if !ch.direction {
		c.parts[0].add(0, cellOf(v, ch.quantum))
		return
	}
	sin, cos := math.Sincos(v)
	c.parts[0].add(0, cellOf(cos, ch.quantum))
	c.parts[1].add(0, cellOf(sin, ch.quantum))
}

// coarsen gives up the finest level.
func (t *Timeline) coarsen() {
	t.base++
	for i := range t.columns {
		for p := range t.columns[i].parts {
			t.columns[i].parts[p] = t.columns[i].parts[p].coarsened()
		}
	}
	var fewer []place
	for i, p := range t.places {
		fewer = putPlace(fewer, i/fanout, p)
	}
	t.places = fewer
}

func (t *Timeline) addPlace(p place) {
	t.places = putPlace(t.places, t.seconds>>(fanBits*t.base), p)
}

// Name gives the engines' names, by index.
func (t *Timeline) Name(engines []string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.engines = append(t.engines[:0:0], engines...)
}

// Date puts UTC on the seconds so far: utc turns trial time in ns into ns since
// 1970 and never falls.
func (t *Timeline) Date(utc func(trial int64) int64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.dates = dated(t.seconds, func(second int) int64 { return utc(t.start + int64(second)*1e9) })
}
