package calc

import (
	"math"

	"trialday.example/logd/calc/stat"
)

// TankBurn is the burn at one step by the slope of the tank's level, on a boat
// whose fuel rate does not tell it.
//
// In each window the level is fitted by a start of the window's own, a slope that
// all windows of the step share, and a tilt that goes with pitch and roll where
// they are heard (fuel runs to one end of a tank). The interval holds
//   - slosh, by the scatter about the fit, with the autocorrelation that waves
//     and damped senders leave in it (leastSquares);
//   - the senders' resolution, where slosh does not average over it (grainError);
//   - a tilt of the boat that changes unheard, where there is no attitude;
//   - the tank's section, which is not known unless told (Boat.Section).
//
// The figure is shown where it is worth it: where half of its interval is at most
// tankWorth of the burn that is to be expected at the step, so that the ends of the
// interval differ by about a factor of two. What is to be expected comes from the
// fall of the levels over the whole day, not from the step: a step that is shown
// because chance made its own slope steep would be wrong more often than its
// interval says. What draws from the tanks beside the engines is in the figure.
type TankBurn struct {
	Burn     stat.Estimate // m³/s, the whole interval
	Expected float64       // m³/s; NaN where not known

	day    dayLevels
	passes int
}

// tankWorth: half of the 95 % interval over the burn to be expected (our own
// judgement, no source).
const tankWorth = 1.0 / 3

// Worth tells whether the figure is worth showing.
func (t *TankBurn) Worth() bool {
	return t.Burn.Mean > 0 && t.Burn.HalfWidth() <= tankWorth*t.Expected
}

const (
	// levelSettle, ticks: at the start of a window a damped sender may still tell
	// of the manoeuvre before (from memory of senders that average over 10 to 20 s).
	levelSettle = 30
	// levelSpan, ticks: levels are averaged over so long, a few of the senders'
	// messages and one or two periods of slosh.
	levelSpan = 10
	// leastSpans in all windows of a step: with fewer the scatter is not known.
	leastSpans = 12
	// tiltDrift, rad: standard error of a change of pitch from end to end of a
	// window that no sensor tells (our own judgement, no source).
	tiltDrift = 0.1 * math.Pi / 180
	// tiltLevel is what a tilt of 1 rad does to the level, as a ratio of the
	// capacity: a tank four times as long as high, its sender at one end but one
	// quarter (from memory of boats' tanks).
	tiltLevel = 0.5
)

// AllTanks: levels are those of all the fuel where the capacities heard are within
// so much of the configured one, a ratio (our own judgement, no source).
const AllTanks = 0.1

// Levels are those of the tanks in one window.
type Levels struct {
	Grain, Size float64 // m³; see tankLevel
	Spans       []LevelSpan
}

// LevelSpan is a mean over levelSpan ticks.
type LevelSpan struct {
	At, Cubes, Volume float64 // s, (1/s)³ s, m³
	Pitch, Roll       float64 // rad
}

// levelsOf gives the levels of a window; none where tanks are not heard.
func levelsOf(ticks []tick) Levels {
	var l Levels
	for from := levelSettle; from+levelSpan <= len(ticks); from += levelSpan {
		part := ticks[from : from+levelSpan]
		var volume, pitch, roll mean
		for i := range part {
			k := &part[i]
			if !math.IsNaN(k.tanks.volume) {
				volume.add(k.tanks.volume)
				pitch.add(k.scalar[chPitch])
				roll.add(k.scalar[chRoll])
			}
		}
		if volume.over() {
			middle := float64(part[0].at)/1e9 + levelSpan/2
			l.Spans = append(l.Spans, LevelSpan{middle, part[levelSpan/2].cubes, volume.value(), pitch.value(), roll.value()})
			l.Grain, l.Size = part[len(part)-1].tanks.grain, part[len(part)-1].tanks.size
		}
	}
	return l
}

// levelRows are those of a regression: time or its like, pitch and roll, and the
// volumes, each less the mean of its start's windows.
type levelRows struct {
	x       [][]float64
	y       []float64
	windows []*Levels
}

// add takes a window; along gives what its volume falls with.
func (r *levelRows) add(l *Levels, along func(*LevelSpan) float64) {
	r.windows = append(r.windows, l)
	for i := range l.Spans {
		s := &l.Spans[i]
		r.x, r.y = append(r.x, []float64{along(s), s.Pitch, s.Roll}), append(r.y, s.Volume)
	}
}

// begin lets the windows from the one at a place on have starts of their own.
func (r *levelRows) begin() {
	at := 0
	for _, l := range r.windows {
		to := at + len(l.Spans)
		centre(r.x[at:to], r.y[at:to])
		at = to
	}
}

// fit gives the coefficients, that of time first; ok is false where there are too
// few spans to know their scatter.
func (r *levelRows) fit(starts int) (fit []stat.Estimate, ok bool) {
	if len(r.y) < leastSpans || len(r.y) < starts+4 {
		return nil, false
	}
	return leastSquares(columns(r.x), r.y, starts)
}

// squares is the sum of squares of time.
func squares(rows [][]float64) float64 {
	sum := 0.0
	for _, r := range rows {
		sum += r[0] * r[0]
	}
	return sum
}

// allTanks tells whether a window has levels, of a known resolution and of all
// tanks.
func (b *Boat) allTanks(l *Levels) bool {
	return len(l.Spans) >= 2 && l.Grain > 0 && !(b.Tank > 0 && math.Abs(l.Size/b.Tank-1) > AllTanks)
}

// dayLevels is what the windows of the day say together; for judging single steps,
// never for a figure.
type dayLevels struct {
	// perCube is what all engines burn a cubed revolution, m³, by the propeller law
	// burn ~ n³: the fall of the levels over the day, with one start for all of it.
	// NaN where it is not known to half of itself, as after a filling.
	perCube float64
	slosh   float64 // variance of a span, as large as if neighbours were independent, m³²; NaN where not known
	grain   float64 // m³
}

func dayLevelsOf(windows []Window, b Boat) dayLevels {
	var r levelRows
	d := dayLevels{perCube: math.NaN(), slosh: math.NaN()}
	for i := range windows {
		if w := &windows[i]; w.counts() && b.allTanks(&w.Levels) {
			r.add(&w.Levels, func(s *LevelSpan) float64 { return s.Cubes })
			d.grain = w.Levels.Grain
		}
	}
	if len(r.windows) == 0 {
		return d
	}
	centre(r.x, r.y)
	if fit, ok := r.fit(1); ok && -fit[0].Mean > 2*fit[0].HalfWidth() {
		d.perCube = -fit[0].Mean
	}
	r.begin()
	if fit, ok := r.fit(len(r.windows)); ok {
		d.slosh = fit[0].SE * fit[0].SE * squares(r.x)
	}
	return d
}

// tankBurn gives the burn of a step that does so many cubed revolutions in a
// second. Its mean is NaN where the tanks heard are not all tanks, or were heard too
// briefly.
func tankBurn(passes []passGroup, b Boat, day dayLevels, cubes float64) TankBurn {
	t := TankBurn{Burn: unknown, Expected: day.perCube * cubes, day: day, passes: len(passes)}
	var r levelRows
	for _, p := range passes {
		for _, w := range p.windows {
			if b.allTanks(&w.Levels) {
				r.add(&w.Levels, func(s *LevelSpan) float64 { return s.At })
			}
		}
	}
	r.begin()
	fit, ok := r.fit(len(r.windows))
	if !ok {
		return t
	}
	slope := fit[0].Scale(-1)
	// By chance a step's scatter can be small, or look independent, as that of the
	// day cannot.
	if se := math.Sqrt(day.slosh / squares(r.x)); se > slope.SE {
		slope.SE = se
	}
	t.Burn = stat.Sum([]stat.Estimate{slope, exactly(r.slopeFloor(fit)), exactly(b.Section / stat.StudentT975(exact) * slope.Mean)}, []float64{1, 1, 1})
	return t
}

// exact is the degrees of freedom of an error that is known, not estimated.
const exact = 1e6

// exactly is an error that is known.
func exactly(se float64) stat.Estimate { return stat.Estimate{SE: math.Abs(se), DOF: exact} }

// slopeFloor is the standard error of the common slope that the scatter about the
// fit does not show. An error of a window's slope goes into the common one by the
// window's part of the sum of squares of time.
func (r *levelRows) slopeFloor(fit []stat.Estimate) float64 {
	all, variance, at := squares(r.x), 0.0, 0
	for _, l := range r.windows {
		part, residual := r.x[at:at+len(l.Spans)], 0.0
		for i, row := range part {
			d := r.y[at+i] - fit[0].Mean*row[0]
			residual += d * d
		}
		at += len(part)
		length := part[len(part)-1][0] - part[0][0] + levelSpan
		e := grainError(l.Grain, math.Sqrt(residual/float64(len(part)))) / length
		if len(fit) < 3 { // pitch or roll is not in it
			e = math.Hypot(e, tiltLevel*tiltDrift*l.Size/length)
		}
		variance += math.Pow(squares(part)/all*e, 2)
	}
	return math.Sqrt(variance)
}

// grainError is the standard error of the fall from end to end, by a least-squares
// line, of a level rounded to a grain with slosh of standard deviation sd. An
// error of up to half a grain that changes its sign in the middle tilts the line
// by 1.5 grains at the most, taken as evenly likely up to there; slosh takes it
// away as it does the error of a mean (roundingError).
func grainError(grain, sd float64) float64 {
	if !(grain > 0) {
		return 0
	}
	r := sd / grain
	return 1.5 / math.Sqrt(3) * grain * math.Exp(-2*math.Pi*math.Pi*r*r)
}

// quotientError is the relative error of a quotient of independent quantities.
func quotientError(a, b stat.Estimate) stat.Estimate {
	return stat.Sum([]stat.Estimate{a.Scale(1 / a.Mean), b.Scale(1 / b.Mean)}, []float64{1, -1})
}

// longestHold, min: no one holds a pass for longer.
const longestHold = 60

// Hold is for how many s each pass of the step would have to be held for its burn
// to be worth showing: NaN where that is not known, +Inf where an hour is not
// enough. Section is Boat.Section.
func (t *TankBurn) Hold(section float64) float64 {
	if math.IsNaN(t.Expected) || math.IsNaN(t.day.slosh) {
		return math.NaN()
	}
	allowed := t.Expected * math.Sqrt(tankWorth*tankWorth-section*section) / stat.StudentT975(exact)
	return holdFor(allowed, t.day.slosh, grainError(t.day.grain, 0), t.passes)
}

// cubes is the sum of n³ of a step's engines.
func cubes(s *Step) float64 { return float64(s.Engines.Count()) * math.Pow(s.RPM, 3) }

// holdFor is the least whole number of minutes, in s, for which passes must be held
// for a standard error of the slope of no more than allowed; slosh is the variance
// of a span, grain the error of the fall. The sum of squares of time in n spans
// over a time T is n*T²/12.
func holdFor(allowed, slosh, grain float64, passes int) float64 {
	for minutes := 2; minutes <= longestHold; minutes++ {
		held := float64(60*minutes - levelSettle)
		sum := held / levelSpan * held * held / 12
		if (slosh/sum+math.Pow(grain/held, 2))/float64(passes) <= allowed*allowed {
			return float64(60 * minutes)
		}
	}
	return math.Inf(1)
}
