package installation

import (
	"math"
	"slices"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// MaxEngines is the number of engines that are told apart.
const MaxEngines = 8

const second = int64(1e9)

// Kind says what was found. Its text is a key of the results.
type Kind string

const (
	RollZero         Kind = "roll_zero"               // Value: rad at rest
	PitchZero        Kind = "pitch_zero"              // Value: rad at rest
	RollSign         Kind = "roll_sign"               // Value: rad of heel into turns a g of lateral acceleration
	PitchSign        Kind = "pitch_sign"              // Value: rad of trim at speed, above rest
	EnginesSwapped   Kind = "engines_swapped"         // N: stretches of unequal thrust
	HeadingOffset    Kind = "heading_offset"          // Value: rad to add
	MagneticAsTrue   Kind = "magnetic_called_true"    // Value: rad to add
	VariationTwice   Kind = "variation_applied_twice" // Value: rad to add
	VelocityLag      Kind = "velocity_lag"            // Value: s
	Stuck            Kind = "stuck"                   // Quantity, Instance; N times, Seconds altogether
	Spikes           Kind = "spikes"                  // Quantity, Instance; N
	DuplicateAddress Kind = "duplicate_address"       // Bus, Address; N rounds. Or Quantity, Instance, Source; N turns
	BusLoad          Kind = "bus_load"                // Bus; Value: highest ratio in a second; Seconds above the limit
	BusErrors        Kind = "bus_errors"              // Bus; N in all, Seconds that had any
)

// Finding is one thing that is wrong.
type Finding struct {
	Kind     Kind
	Value    stat.Estimate // SI
	Quantity pgn.Quantity
	Instance uint8
	Bus      uint8
	Address  uint8
	Source   uint16 // device that sent the quantity last, where there is one
	N        int
	Seconds  float64
	From, To int64 // trial time, ns, where it has a place in the day
	// Stretches are those of a value that was stuck, from the first of the equal
	// samples to the last.
	Stretches []Stretch
	// T is Student's t behind the probability; NaN where there is none.
	T float64
	// Probability is that of the finding being right, 0 to 1.
	Probability float64
}

// Stretch is a part of the day, in trial time, ns.
type Stretch struct{ From, To int64 }

func (s Stretch) seconds() float64 { return float64(s.To-s.From) / 1e9 }

// Given is what the rest of calc found out about the day.
type Given struct {
	Offset stat.Estimate // of the compass by reciprocal runs, rad to add; NaN where not known
	Lag    stat.Estimate // of the receiver's velocity behind its position, s; NaN where this day does not tell
}

// Evidence is what a day shows, before the rest of calc has had its say. It can
// be kept with encoding/gob.
type Evidence struct {
	Findings []Finding
	// Sides tells whether it is known which engine is on which side.
	Sides Verdict
	// Variation is the mean of those heard, rad; NaN without any.
	Variation float64
	// Heard tells of each quantity whether it came with a value.
	Heard [pgn.NumQuantities]bool
}

// Verdict is the answer to a question that a day may leave open.
type Verdict uint8

const (
	Open Verdict = iota // cannot be told from this day
	Right
	Wrong
)

// Watch takes the samples of a day in order of time.
type Watch struct {
	*Wire

	cells     cells
	rest      rest
	sign      sign
	sides     sides
	series    series
	variation mean
	heard     [pgn.NumQuantities]bool
}

// Wire watches the bus itself. It is fed with frames, and may be while the samples
// before them are still on their way.
type Wire struct {
	Claims Claims
	Load   Load
}

// New starts a day.
func New(planes bool, length float64) *Watch {
	w := &Watch{Wire: new(Wire)}
	w.cells.init(w.cell)
	w.sign.init(planes, length)
	w.series.init()
	return w
}

// Add takes one sample.
func (w *Watch) Add(s *sample.Sample) {
	w.cells.add(s)
	if s.State != pgn.Valid {
		return
	}
	if s.Quantity < pgn.NumQuantities {
		w.heard[s.Quantity] = true
	}
	if s.Quantity == pgn.Variation {
		w.variation.add(s.Value)
	}
	w.series.add(s)
}

func (w *Watch) cell(c *cell) {
	w.rest.cell(c)
	w.sign.cell(c)
	w.sides.cell(c)
	w.series.cell(c)
}

// Evidence judges the day so far; more of it can follow.
func (w *Watch) Evidence() *Evidence {
	all := *w
	all.cells.out = all.cell
	all.sign.turns = slices.Clone(w.sign.turns)
	all.sides.pushes = slices.Clone(w.sides.pushes)
	all.cells.close()
	return all.evidence()
}

// Stuck is what Evidence finds of values that stood still, for the price of that
// alone.
func (w *Watch) Stuck() []Finding {
	all := w.series
	last := w.cells
	last.out = all.cell
	last.close()
	return slices.DeleteFunc(all.findings(), func(f Finding) bool { return f.Kind != Stuck })
}

func (w *Watch) evidence() *Evidence {
	e := &Evidence{Variation: w.variation.value(), Heard: w.heard}
	add := func(f []Finding) { e.Findings = append(e.Findings, f...) }
	add(w.rest.findings())
	add(w.sign.findings(&w.rest))
	found, verdict := w.sides.finding()
	add(found)
	e.Sides = verdict
	add(w.series.findings())
	add(w.Claims.findings())
	load := w.Load // a copy: its last second is closed
	add(load.findings())
	return e
}

// Report is all that is wrong, with what the rest of calc gives. It does not
// change the evidence.
func (e *Evidence) Report(g Given) []Finding {
	out := slices.Clone(e.Findings)
	out = append(out, compass(g.Offset, e.Variation)...)
	return append(out, exceeds(Finding{Kind: VelocityLag, Value: g.Lag}, lagLimit)...)
}

// mean is a running mean with its scatter (Welford 1962).
type mean struct {
	n, m, squares float64
}

func (m *mean) add(v float64) {
	m.n++
	d := v - m.m
	m.m += d / m.n
	m.squares += d * (v - m.m)
}

func (m *mean) value() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return m.m
}

// estimate is that of independent values, with a floor under the standard error
// of one for days on which few of them happen to agree.
func (m *mean) estimate(floor float64) stat.Estimate {
	if m.n < 2 {
		return stat.Estimate{Mean: m.value(), SE: math.NaN(), DOF: 1}
	}
	sd := math.Max(math.Sqrt(m.squares/(m.n-1)), floor)
	return stat.Estimate{Mean: m.m, SE: sd / math.Sqrt(m.n), DOF: m.n - 1}
}

// lagLimit, s: receivers made for small craft lag by about half a second (from
// memory); twice that is a filter set for a plotter.
const lagLimit = 1.0

// merge adds the values of o less zero, times a sign (Chan, Golub and LeVeque
// 1979).
func (m *mean) merge(o *mean, zero, sign float64) {
	v := sign * (o.m - zero)
	d, n := v-m.m, m.n+o.n
	m.squares += o.squares + d*d*m.n*o.n/n
	m.m += d * o.n / n
	m.n = n
}
