package calc

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// FuelReference is what was measured by hand to check the fuel meters by; NaN
// where nothing was.
type FuelReference struct {
	TopUp float64 // m³ pumped at the end of the day to the mark of its start
	Error float64 // m³, how closely that mark repeats: half of a 95 % interval
	Tank  float64 // m³, all tanks; for a level sender that gives no capacity
}

// FuelScale holds an integrated fuel rate against a reference.
type FuelScale struct {
	Metered   float64 // m³ by the integrated rate, over the part of the day that was compared
	Reference float64 // m³ by the reference, over the same part
	// Scale is what the metered rate must be multiplied by to give the
	// reference; NaN where they cannot be compared.
	Scale stat.Estimate
	N     int // pieces of the day that the interval comes from; 1 for a single measurement
}

// fuelMaterial: meters that agree within 1 % are not worth a word. Half of
// what economies may differ by and still be called level (levelRatio).
const fuelMaterial = 0.01

// Known tells whether there is a scale.
func (f *FuelScale) Known() bool { return !math.IsNaN(f.Scale.Mean) }

// Differs tells whether the scale is different from 1: significantly at 95 %
// and by more than fuelMaterial.
func (f *FuelScale) Differs() bool {
	d := math.Abs(f.Scale.Mean - 1)
	return f.Known() && d > fuelMaterial && d > f.Scale.HalfWidth()
}

// Contradicts tells whether two references give scales that differ in the same
// sense from each other.
func (f *FuelScale) Contradicts(g *FuelScale) bool {
	if !f.Known() || !g.Known() {
		return false
	}
	d := stat.Sum([]stat.Estimate{f.Scale, g.Scale}, []float64{1, -1})
	return math.Abs(d.Mean) > fuelMaterial && math.Abs(d.Mean) > d.HalfWidth()
}

// FuelCheck holds the day's integrated fuel rate against each reference there
// is. The trip total comes from the same controller as the rate and shows
// errors of the rate's arithmetic or lost messages; tank and top-up show its
// calibration.
type FuelCheck struct {
	Volume  float64 // m³ integrated, all engines
	Unsure  float64 // m³: how much of the burn fell into silences of the rate and is a guess
	Engines [MaxEngines]EngineFuel
	Trip    FuelScale // all engines' trip totals together
	Tank    FuelScale
	TopUp   FuelScale
	// Imbalance is an engine's burn at equal speed over the engines' mean, less
	// 1, over Balanced windows.
	Imbalance [MaxEngines]stat.Estimate
	Balanced  int
}

// EngineFuel is one engine's part of the check.
type EngineFuel struct {
	Volume float64 // m³ integrated; NaN where no rate was heard
	Trip   FuelScale
	Resets int // of the trip total
}

// fuelMeter takes the day's samples for the check. Its memory is fixed: sums,
// and series whose neighbours are merged when they are full.
type fuelMeter struct {
	engine [MaxEngines]rateMeter
	tanks  tankMeter
}

// newFuelMeter starts a check. Tank is the configured capacity in m³, NaN where
// not known.
func newFuelMeter(tank float64) *fuelMeter {
	return &fuelMeter{tanks: tankMeter{tankSizes: tankSizes{capacity: tank}, merge: 1, lowest: math.Inf(1)}}
}

func (m *fuelMeter) add(s *sample.Sample) {
	if s.State != pgn.Valid {
		return
	}
	switch q := s.Quantity; {
	case q == pgn.FuelRate && s.Instance < MaxEngines:
		if e := &m.engine[s.Instance]; e.add(s.Time, s.Value) {
			e.trip.anchored = false
			m.tanks.cut()
		}
	case q == pgn.TripFuel && s.Instance < MaxEngines:
		e := &m.engine[s.Instance]
		if e.silent(s.Time) {
			e.trip.heard, e.trip.anchored = false, false
		}
		e.trip.add(s.Value, e.volume)
	case q == pgn.FluidLevel || q == pgn.FluidCapacity || q == pgn.Pitch || q == pgn.Roll || q == pgn.SpeedOverGround:
		m.tanks.add(s, m)
	}
}

// volume is what all engines burnt so far; ok is false while one that was
// burning is silent.
func (m *fuelMeter) volume(now int64) (v float64, ok bool) {
	ok = true
	for i := range m.engine {
		e := &m.engine[i]
		v += e.volume
		ok = ok && !e.silent(now)
	}
	return v, ok
}

// close ends the day.
func (m *fuelMeter) close() { m.tanks.close() }

// FuelRecord is what the fuel meter took down of a day.
type FuelRecord struct {
	Engines [MaxEngines]engineRecord
	Tanks   []tankBlock
}

// engineRecord is what was metered of one engine.
type engineRecord struct {
	Heard          bool
	Volume, Unsure float64 // m³
	Trip           pieces
	Resets         int
}

// record returns a copy of what was taken down so far.
func (m *fuelMeter) record() FuelRecord {
	r := FuelRecord{Tanks: slices.Clone(m.tanks.blocks)}
	for i := range m.engine {
		e := &m.engine[i]
		r.Engines[i] = engineRecord{e.heard, e.volume, e.unsure, e.trip.pairs.clone(), e.trip.resets}
	}
	return r
}

// check holds the record against the references.
func (r *FuelRecord) check(ref FuelReference, windows []Window) FuelCheck {
	c := FuelCheck{Volume: math.NaN(), Trip: FuelScale{Scale: unknown}, TopUp: FuelScale{Scale: unknown}}
	var parts []stat.Estimate
	var weights []float64
	for i := range r.Engines {
		e, out := &r.Engines[i], &c.Engines[i]
		*out = EngineFuel{Volume: math.NaN(), Trip: e.Trip.scale(), Resets: e.Resets}
		if !e.Heard {
			continue
		}
		out.Volume = e.Volume
		if math.IsNaN(c.Volume) {
			c.Volume = 0
		}
		c.Volume += e.Volume
		c.Unsure += e.Unsure
		if out.Trip.Known() {
			c.Trip.Metered += out.Trip.Metered
			c.Trip.Reference += out.Trip.Reference
			c.Trip.N += out.Trip.N
			parts, weights = append(parts, out.Trip.Scale), append(weights, out.Trip.Metered)
		}
	}
	if len(parts) > 0 {
		c.Trip.Scale = stat.Sum(parts, weights).Scale(1 / c.Trip.Metered)
	}
	c.Tank = tankScale(r.Tanks)
	c.topUp(ref)
	c.balance(windows)
	return c
}

// pumpError is the relative error of a filling station's pump, half of a 95 %
// interval: the maximum permissible error of accuracy class 0.5 (OIML R 117-1,
// from memory).
const pumpError = 0.005

// topUp compares with a filling to the same mark. Both ends of the filling have
// the error of that mark.
func (c *FuelCheck) topUp(ref FuelReference) {
	if !(ref.TopUp > 0) || !(c.Volume > 0) {
		return
	}
	half := math.Sqrt(2*ref.Error*ref.Error + pumpError*pumpError*ref.TopUp*ref.TopUp + c.Unsure*c.Unsure)
	const dof = 1e6 // of limits that are known, not estimated
	c.TopUp = FuelScale{Metered: c.Volume, Reference: ref.TopUp, N: 1,
		Scale: stat.Estimate{Mean: ref.TopUp / c.Volume, SE: half / c.Volume / stat.StudentT975(dof), DOF: dof}}
}

// equalSpeed: engines whose speeds are within 1 % of their mean run equally;
// throttles cannot be set more closely by hand (common practice, no source).
const equalSpeed = 0.01

// balance compares the engines' burn in steady windows in which all run
// equally fast. What is left of the difference in speed is taken out by the
// propeller law, burn ~ n³.
func (c *FuelCheck) balance(windows []Window) {
	var ratios [MaxEngines][]float64
	for i := range windows {
		w := &windows[i]
		burn, ok := equalBurn(w)
		if !w.counts() || !ok {
			continue
		}
		c.Balanced++
		for e, b := range burn {
			if w.Engines.Has(e) {
				ratios[e] = append(ratios[e], b)
			}
		}
	}
	for e, r := range ratios {
		c.Imbalance[e] = unknown
		if len(r) >= 3 {
			c.Imbalance[e] = stat.Estimate{Mean: stat.Mean(r), SE: stat.SD(r) / math.Sqrt(float64(len(r))), DOF: float64(len(r) - 1)}
		}
	}
}

// equalBurn returns each engine's burn over the mean, less 1; ok is false
// where the engines do not run equally or one gives no rate.
func equalBurn(w *Window) (burn [MaxEngines]float64, ok bool) {
	n := w.Engines.Count()
	if n < 2 {
		return burn, false
	}
	mean, sum := w.MeanRPM(), 0.0
	for e := range burn {
		if !w.Engines.Has(e) {
			continue
		}
		x := w.RPM[e].Mean / mean
		if !(math.Abs(x-1) <= equalSpeed) || !(w.Fuel[e].Mean > 0) {
			return burn, false
		}
		burn[e] = w.Fuel[e].Mean / (x * x * x)
		sum += burn[e]
	}
	for e := range burn {
		burn[e] = burn[e]/(sum/float64(n)) - 1
	}
	return burn, true
}

// rateSilence, ns: a fuel rate that comes twice a second and stays away for
// longer leaves a burn that is not known.
const rateSilence = 5 * second

// rateBridge, ns: over shorter silences the rate is taken as a line from its
// last value to its next; after longer ones the engine may have been off.
const rateBridge = 60 * second

// rateMeter integrates one engine's fuel rate by the trapezoidal rule.
type rateMeter struct {
	heard  bool
	at     int64
	rate   float64 // m³/s
	volume float64 // m³
	unsure float64 // m³
	trip   tripMeter
}

// silent tells whether the engine may be burning an unknown amount at a time.
func (r *rateMeter) silent(now int64) bool {
	return r.heard && r.rate > 0 && now-r.at > rateSilence
}

// add takes the rate at a time and tells whether a silence came before it in
// which the engine may have burnt an unknown amount.
func (r *rateMeter) add(now int64, rate float64) (silence bool) {
	silence = r.silent(now)
	if r.heard {
		dt := now - r.at
		burnt := float64(dt) / 1e9 * (rate + r.rate) / 2
		if silence {
			r.unsure += burnt / 2
		}
		if !silence || dt <= rateBridge {
			r.volume += burnt
		}
	}
	r.heard, r.at, r.rate = true, now, rate
	return silence
}

// tripMeter holds the integrated rate against the trip total, which has a
// resolution of 1 L. At the moment at which the total steps it is exact, but
// for a constant (rounded or cut off), so only the amounts from step to step
// count; that moment is taken half way between two messages. A fall of the
// total, or a step that the rate cannot have made, is a reset.
type tripMeter struct {
	heard    bool
	total    float64 // m³, last heard
	volume   float64 // m³ integrated by then
	anchored bool
	anchor   float64 // m³ integrated at the last step
	pairs    pairs
	resets   int
}

func (t *tripMeter) add(total, volume float64) {
	step := total - t.total
	switch middle := (volume + t.volume) / 2; {
	case !t.heard:
	case step < -tripStep/2 || step > 3*tripStep+3*(volume-t.volume):
		t.resets++
		t.anchored = false
	case step > tripStep/2:
		if t.anchored {
			t.pairs.add(middle-t.anchor, step)
		}
		t.anchored, t.anchor = true, middle
	}
	t.heard, t.total, t.volume = true, total, volume
}

// tripStep, m³, is the resolution of the trip total in PGN 127497.
const tripStep = 1e-3

// maxPairs bounds the pairs kept; they are merged two and two when full.
const maxPairs = 64

// pieces are amounts X by one meter and Y by another over consecutive pieces of
// the day.
type pieces struct{ X, Y []float64 }

func (p *pieces) clone() pieces { return pieces{slices.Clone(p.X), slices.Clone(p.Y)} }

// pairs gathers pieces of merge steps each.
type pairs struct {
	pieces
	merge  int
	px, py float64 // the piece being gathered
	n      int
}

func (p *pairs) add(x, y float64) {
	p.px, p.py = p.px+x, p.py+y
	if p.n++; p.n < p.merge || !(p.px > 0) {
		return
	}
	p.X, p.Y = append(p.X, p.px), append(p.Y, p.py)
	p.px, p.py, p.n = 0, 0, 0
	if len(p.X) < maxPairs {
		return
	}
	for i := range maxPairs / 2 {
		p.X[i], p.Y[i] = p.X[2*i]+p.X[2*i+1], p.Y[2*i]+p.Y[2*i+1]
	}
	p.X, p.Y, p.merge = p.X[:maxPairs/2], p.Y[:maxPairs/2], 2*max(p.merge, 1)
}

// scale fits y = scale*x through the origin with a variance that grows with x,
// as that of two independent counters does: the estimate is the ratio of sums
// (Cochran, Sampling Techniques, 3rd ed., 1977, 6.3). The standard error comes
// from at least 32 pieces of the day, so that wander of the meter slower than
// a step is in it (batch means: Schmeiser, Operations Research 30 (1982) 556).
func (p *pieces) scale() FuelScale {
	out := FuelScale{Scale: unknown, N: len(p.X)}
	for i := range p.X {
		out.Metered += p.X[i]
		out.Reference += p.Y[i]
	}
	n := float64(len(p.X))
	if n < 3 {
		return out
	}
	k, squares := out.Reference/out.Metered, 0.0
	for i, x := range p.X {
		r := p.Y[i] - k*x
		squares += r * r / x
	}
	out.Scale = stat.Estimate{Mean: k, SE: math.Sqrt(squares / (n - 1) / out.Metered), DOF: n - 1}
	return out
}

// fuelTanks is the number of tanks that PGN 127505 tells apart. The instance
// of its samples is the fluid type << 4 | tank, and fuel is type 0.
const fuelTanks = 16

// blockSpan, ns: levels are averaged over a minute, many periods of slosh,
// which takes seconds.
const blockSpan = 60 * second

// maxBlocks bounds memory: 8.5 hours of minutes, then two minutes a block.
const maxBlocks = 512

// fuelled: a level that at rest rises by 2 % of the capacity above its lowest
// was not slosh but a filling. Slosh averages to a few tenths of a per cent in
// a minute (from memory).
const fuelled = 0.02

// mean is a running mean.
type mean struct{ Sum, N float64 }

func (m *mean) add(v float64)   { m.Sum, m.N = m.Sum+v, m.N+1 }
func (m mean) value() float64   { return m.Sum / m.N }
func (m mean) with(o mean) mean { return mean{m.Sum + o.Sum, m.N + o.N} }
func (m mean) over() bool       { return m.N > 0 }

// tankBlock is a piece of the day: mean level in m³ of all tanks, mean volume
// burnt so far, attitude and speed.
type tankBlock struct {
	Segment                          int
	Level, Volume, Pitch, Roll, Pace mean
}

func (b *tankBlock) with(o *tankBlock) tankBlock {
	return tankBlock{b.Segment, b.Level.with(o.Level), b.Volume.with(o.Volume), b.Pitch.with(o.Pitch), b.Roll.with(o.Roll), b.Pace.with(o.Pace)}
}

// tankMeter gathers blocks. A filling or a silence of the fuel rate begins a
// new segment, which has a starting level of its own.
type tankMeter struct {
	tankSizes

	end     int64
	ratio   [fuelTanks]mean // of the block being gathered
	now     tankBlock
	blocks  []tankBlock
	merge   int // pieces of blockSpan in a block
	pieces  int
	segment int
	lowest  float64 // at rest, in the present segment
}

func (t *tankMeter) add(s *sample.Sample, m *fuelMeter) {
	if s.Time >= t.end {
		t.close()
		t.end = s.Time + blockSpan
	}
	switch s.Quantity {
	case pgn.Pitch:
		t.now.Pitch.add(s.Value)
	case pgn.Roll:
		t.now.Roll.add(s.Value)
	case pgn.SpeedOverGround:
		t.now.Pace.add(s.Value)
	case pgn.FluidCapacity:
		if s.Instance < fuelTanks {
			t.size[s.Instance] = s.Value
		}
	case pgn.FluidLevel:
		if v, ok := m.volume(s.Time); ok && s.Instance < fuelTanks {
			t.present[s.Instance] = true
			t.ratio[s.Instance].add(s.Value)
			t.now.Volume.add(v)
		}
	}
}

// cut begins a new segment: the piece being gathered spans the break and is
// dropped.
func (t *tankMeter) cut() {
	t.now, t.ratio = tankBlock{}, [fuelTanks]mean{}
	t.segment++
	t.lowest = math.Inf(1)
}

// level adds up the tanks, m³; ok is false unless each tank that was ever heard
// has a level in this piece and a capacity.
func (t *tankMeter) level() (level, size float64, ok bool) {
	for i, present := range t.present {
		if present {
			c := t.of(i)
			level += t.ratio[i].value() * c
			size += c
		}
	}
	return level, size, level >= 0 && size > 0
}

// close ends the piece being gathered.
func (t *tankMeter) close() {
	level, size, ok := t.level()
	b := t.now
	t.now, t.ratio = tankBlock{}, [fuelTanks]mean{}
	if !ok {
		return
	}
	if b.Pace.value() < restSpeed {
		if level > t.lowest+fuelled*size {
			t.segment++
			t.lowest = level
		}
		t.lowest = math.Min(t.lowest, level)
	}
	b.Segment = t.segment
	b.Level.add(level)
	t.keep(&b)
}

// keep appends a piece, or joins it to the last block while that is not full.
func (t *tankMeter) keep(b *tankBlock) {
	if n := len(t.blocks); n > 0 && t.pieces < t.merge && t.blocks[n-1].Segment == b.Segment {
		t.blocks[n-1] = t.blocks[n-1].with(b)
		t.pieces++
		return
	}
	if len(t.blocks) == maxBlocks {
		t.halve()
	}
	if len(t.blocks) < maxBlocks { // else a day of hundreds of silences: its later part is not looked at
		t.blocks = append(t.blocks, *b)
		t.pieces = 1
	}
}

// halve merges neighbours of one segment.
func (t *tankMeter) halve() {
	out := t.blocks[:0]
	for i := 0; i < len(t.blocks); i++ {
		b := t.blocks[i]
		if i+1 < len(t.blocks) && t.blocks[i+1].Segment == b.Segment {
			i++
			b = b.with(&t.blocks[i])
		}
		out = append(out, b)
	}
	t.blocks = out
	t.merge *= 2
}

// tankScale fits
//
//	level = start[segment] - scale*burnt + a*pitch + b*roll
//
// by least squares, with the fall of the level in the tanks as the reference.
// Pitch and roll are there because fuel runs to one end of a tank: a boat on
// the plane can show several per cent of the capacity too little or too much.
// Without an attitude sensor only levels at rest count, as one reads a gauge
// alongside. The standard error allows for autocorrelated residuals, as in
// stat.Slope. Assumption: the sender is linear in volume (a tank of even
// section, or a sender calibrated for its shape).
func tankScale(blocks []tankBlock) FuelScale {
	out := FuelScale{Scale: unknown}
	rows, y := tankRows(blocks)
	out.N = len(rows)
	if len(rows) < 8 {
		return out
	}
	fit, ok := leastSquares(columns(rows), y, 1)
	if !ok {
		return out
	}
	first, last := blocks[0].Volume.value(), blocks[len(blocks)-1].Volume.value()
	out.Metered = last - first
	out.Scale = fit[0].Scale(-1)
	out.Reference = out.Scale.Mean * out.Metered
	return out
}

// tankRows returns the regression's rows, volume burnt first, and the levels, each
// less its segment's mean, which stands for a start level a segment.
func tankRows(blocks []tankBlock) (rows [][]float64, y []float64) {
	attitude := false
	for i := range blocks {
		attitude = attitude || blocks[i].Pitch.over() && blocks[i].Roll.over()
	}
	var segments []int
	for i := range blocks {
		b := &blocks[i]
		switch {
		case attitude && b.Pitch.over() && b.Roll.over():
			rows = append(rows, []float64{b.Volume.value(), b.Pitch.value(), b.Roll.value()})
		case !attitude && !(b.Pace.value() >= restSpeed):
			rows = append(rows, []float64{b.Volume.value()})
		default:
			continue
		}
		y = append(y, b.Level.value())
		segments = append(segments, b.Segment)
	}
	for from := 0; from < len(y); {
		to := from
		for to < len(y) && segments[to] == segments[from] {
			to++
		}
		centre(rows[from:to], y[from:to])
		from = to
	}
	return rows, y
}

func centre(rows [][]float64, y []float64) {
	n := float64(len(y))
	m := stat.Mean(y)
	for i := range y {
		y[i] -= m
	}
	for k := range rows[0] {
		sum := 0.0
		for _, r := range rows {
			sum += r[k]
		}
		for _, r := range rows {
			r[k] -= sum / n
		}
	}
}

// columns makes a matrix of the columns of rows that have any spread.
func columns(rows [][]float64) *mat.Dense {
	var use []int
	for k := range rows[0] {
		squares := 0.0
		for _, r := range rows {
			squares += r[k] * r[k]
		}
		if k == 0 || squares > 1e-12*float64(len(rows)) {
			use = append(use, k)
		}
	}
	x := mat.NewDense(len(rows), len(use), nil)
	for i, r := range rows {
		for j, k := range use {
			x.Set(i, j, r[k])
		}
	}
	return x
}

// leastSquares returns the coefficients of y = x*b with standard errors that
// allow for autocorrelation of the residuals; ok is false where x does not
// determine them. So many means were taken off before, each of which costs a
// degree of freedom.
func leastSquares(x *mat.Dense, y []float64, means int) ([]stat.Estimate, bool) {
	n, m := x.Dims()
	var qr mat.QR
	qr.Factorize(x)
	var b, covariance mat.Dense
	if err := qr.SolveTo(&b, false, mat.NewVecDense(n, y)); err != nil {
		return nil, false
	}
	var normal mat.Dense
	normal.Mul(x.T(), x)
	if err := covariance.Inverse(&normal); err != nil {
		if _, poor := err.(mat.Condition); !poor {
			return nil, false
		}
	}
	res := make([]float64, n)
	squares := 0.0
	for i := range res {
		res[i] = y[i]
		for k := range m {
			res[i] -= x.At(i, k) * b.At(k, 0)
		}
		squares += res[i] * res[i]
	}
	dof := float64(n - m - means)
	variance := squares / dof
	if variance > 0 {
		// MeanOf's standard error over that of white noise is the root of what
		// autocorrelation adds.
		white := stat.SD(res) / math.Sqrt(float64(n))
		inflation := math.Max(1, math.Pow(stat.MeanOf(res).SE/white, 2))
		variance *= inflation
		dof = math.Max(1, float64(n)/inflation-float64(m+means))
	}
	out := make([]stat.Estimate, m)
	for k := range out {
		out[k] = stat.Estimate{Mean: b.At(k, 0), SE: math.Sqrt(variance * covariance.At(k, k)), DOF: dof}
	}
	return out, true
}
