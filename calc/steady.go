package calc

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc/stat"
)

// Reason says why a stretch is not a steady window.
type Reason uint8

// The reasons, each stretch has one.
const (
	Accepted Reason = iota
	TooShort
	StillAccelerating
	RPMHunting
	CourseChange
	FuelUnsteady
	ShallowWater
	DataGap
	SourceChange
	// Those found by what the day shows of the sensors: see Frozen.
	SpeedFrozen
	HeadingFrozen
	RPMFrozen
	FuelFrozen
	PowerUnsteady
)

var reasonNames = [...]string{"", "too short", "still accelerating", "rpm hunting", "course change",
	"fuel rate not steady", "shallow water", "data gap", "source change",
	"speed frozen", "heading frozen", "rpm frozen", "fuel rate frozen", "electric power not steady"}

func (r Reason) String() string { return reasonNames[r] }

// Limits are the settings of the search for steady windows.
type Limits struct {
	// MinTicks, s: a shorter stretch gives no mean worth arguing over. It
	// must hold several periods of the waves and of the helm's wander.
	MinTicks int
	// Settle is the speed change still to come that is allowed at the start
	// of a window, as a ratio of speed. It bounds the bias that the tail puts
	// into the mean.
	Settle float64
	// Hunting is the standard deviation of an engine's speed allowed in a
	// window, as a ratio of its mean.
	Hunting float64
	// Course, rad: the change of heading allowed across a window.
	Course float64
	// Length of the hull, m, for the shallow-water test; 0 if not known.
	Length float64
}

// span is a stretch of ticks [from, to) with what was found of it.
type span struct {
	from, to int
	reason   Reason
}

func (s span) len() int { return s.to - s.from }

// reportTicks: rejected stretches shorter than this are not worth a line, but
// for a change of source, which takes no time and splits a window.
const reportTicks = 5

// Floors of noise for the search for changes of level: smaller ones are not
// believed, and so changes of less than about twice them are not looked for.
const (
	// rpmFloor is relative (0.4 %): what a steady engine's governor and the
	// waves make of one second's mean.
	rpmFloor = 0.004
	// headingFloor, rad (1 degree): what a good helm wanders.
	headingFloor = math.Pi / 180
	// levelStep is the relative change of rpm that makes two levels: less
	// changes the speed by less than the settling limit.
	levelStep = 0.006
)

// settleFloor, m/s (0.1 kn): below this a remaining change of speed is not
// told from the receiver's noise.
const settleFloor = 0.05

// leadTicks is how many ticks before a held run are looked at.
const leadTicks = 20

// steadySpans finds the steady windows in the ticks of one held run, and the
// stretches that are none, with the reason; all in time order. Lead is the
// ticks before the run: the beginning of the settling tail may lie there.
func steadySpans(lead, ticks []tick, lim Limits) []span {
	var out []span
	for _, s := range blocked(ticks, lim) {
		switch {
		case s.reason != Accepted:
			out = append(out, s)
		case s.from == 0:
			out = append(out, levels(lead, ticks, s, lim)...)
		default:
			out = append(out, levels(nil, ticks, s, lim)...)
		}
	}
	return tidy(out)
}

// blocked cuts the run where something forbids a window whatever the
// statistics say: missing data, a change of source, shallow water. The free
// stretches between have reason Accepted.
func blocked(ticks []tick, lim Limits) []span {
	engines := enginesOf(ticks)
	block := make([]Reason, len(ticks))
	for i := range ticks {
		k := &ticks[i]
		switch {
		case !complete(k, engines):
			block[i] = DataGap
		case k.changed:
			block[i] = SourceChange
		case shallow(k, lim.Length):
			block[i] = ShallowWater
		}
	}
	var out []span
	for i := 0; i < len(ticks); {
		j := i + 1
		for j < len(ticks) && block[j] == block[i] {
			j++
		}
		out = append(out, span{i, j, block[i]})
		i = j
	}
	return out
}

// enginesOf returns the engines heard anywhere in the run.
func enginesOf(ticks []tick) EngineSet {
	var set EngineSet
	for i := range ticks {
		for e := 0; e < MaxEngines; e++ {
			if ticks[i].has(chRPM + channel(e)) {
				set |= 1 << e
			}
		}
	}
	return set
}

// complete tells whether speed over ground and every engine's speed are there.
func complete(k *tick, engines EngineSet) bool {
	if !k.has(chSOG) {
		return false
	}
	for e := 0; e < MaxEngines; e++ {
		if engines.Has(e) && !k.has(chRPM+channel(e)) {
			return false
		}
	}
	return true
}

// shallow tells whether the water is shallow enough to change the resistance:
// depth Froude number V/sqrt(g h) between 0.7 and 1.2, around the critical
// speed, where the depth is also below 0.8 hull lengths (a wave system shorter
// than that does not feel the bottom; above critical speed a planing boat
// hardly does). From memory of the shallow-water literature on planing craft;
// ITTC 7.5-04-01-01.1 asks for h > 2.75 V²/g of ships, which would shut out
// most planing trials. Where the length is not known, 10 m is taken.
func shallow(k *tick, length float64) bool {
	h := k.scalar[chDepth]
	if length == 0 {
		length = 10
	}
	fr := depthFroude(k.speed(), h)
	return fr > 0.7 && fr < 1.2 && h < 0.8*length
}

// depthFroude is NaN where speed or depth is not known, or the depth not above
// zero.
func depthFroude(speed, depth float64) float64 {
	if !(depth > 0) {
		return math.NaN()
	}
	return speed / math.Sqrt(gravity*depth)
}

const gravity = 9.80665 // m/s², standard gravity

// levels cuts a free stretch where throttle or course change their level, and
// tests each piece.
func levels(lead, ticks []tick, s span, lim Limits) []span {
	w := ticks[s.from:s.to]
	if len(w) < lim.MinTicks {
		return []span{{s.from, s.to, TooShort}}
	}
	series, floor := levelSeries(w)
	cuts := stat.Changes(series, floor)
	cuts = mergeLevels(append(cuts, len(w)), series, len(series)-1)
	var out []span
	for i := 0; i+1 < len(cuts); i++ {
		p := span{s.from + cuts[i], s.from + cuts[i+1], Accepted}
		if p.len() < lim.MinTicks {
			p.reason = whyShort(ticks[p.from:p.to], ticks, p, lim)
			out = append(out, p)
			continue
		}
		if i > 0 {
			lead = nil
		}
		out = append(out, settled(lead, ticks, p, lim)...)
	}
	return out
}

// levelSeries returns each engine's speed and, last, the heading, with their
// noise floors.
func levelSeries(w []tick) (series [][]float64, floor []float64) {
	engines := enginesOf(w)
	for e := 0; e < MaxEngines; e++ {
		if engines.Has(e) {
			x := gather(w, chRPM+channel(e))
			series = append(series, x)
			floor = append(floor, math.Max(rpmFloor*stat.Mean(x), 0.02))
		}
	}
	h := headings(w)
	return append(series, h), append(floor, headingFloor)
}

func gather(w []tick, c channel) []float64 {
	out := make([]float64, len(w))
	for i := range w {
		out[i] = w[i].scalar[c]
	}
	return out
}

// headings returns the unwrapped heading of each tick; a tick without one
// takes its neighbour's.
func headings(w []tick) []float64 {
	out := make([]float64, len(w))
	last := math.NaN()
	for i := range w {
		if h := w[i].heading(); !math.IsNaN(h) {
			if !math.IsNaN(last) {
				h -= 2 * math.Pi * math.Round((h-last)/(2*math.Pi))
			}
			last = h
		}
		out[i] = last
	}
	for i := len(out) - 1; i >= 0; i-- {
		if math.IsNaN(out[i]) {
			out[i] = 0
			if i+1 < len(out) {
				out[i] = out[i+1]
			}
		}
	}
	return out
}

// mergeLevels drops the cuts across which no engine changes by levelStep nor
// the heading by 2 degrees: statistically a change, but of no consequence.
func mergeLevels(cuts []int, series [][]float64, heading int) []int {
	for i := 1; i+1 < len(cuts); {
		if consequence(series, heading, cuts[i-1], cuts[i], cuts[i+1]) {
			i++
			continue
		}
		cuts = append(cuts[:i], cuts[i+1:]...)
	}
	return cuts
}

func consequence(series [][]float64, heading, a, b, c int) bool {
	for i, x := range series {
		m1, m2 := stat.Mean(x[a:b]), stat.Mean(x[b:c])
		limit := levelStep * math.Abs(m1)
		if i == heading {
			limit = 2 * headingFloor
		}
		if math.Abs(m2-m1) > limit {
			return true
		}
	}
	return false
}

// whyShort names what made a piece too short: the speed still changing, the
// course, or the throttle going to and fro.
func whyShort(w, all []tick, p span, lim Limits) Reason {
	around := all[max(0, p.from-lim.MinTicks/2):min(len(all), p.to+lim.MinTicks/2)]
	switch {
	case rpmSpread(around) > lim.Hunting:
		return RPMHunting
	case math.Abs(stat.LineSlope(unwrapped(around, (*tick).heading)))*float64(len(around)) > lim.Course:
		return CourseChange
	case math.Abs(speedSlope(w))*float64(len(w)) > 0.02*speedOf(w):
		return StillAccelerating
	}
	return TooShort
}

// rpmSpread returns the largest relative standard deviation of an engine's
// speed.
func rpmSpread(w []tick) float64 {
	spread := 0.0
	for e := channel(0); e < MaxEngines; e++ {
		x := unwrappedScalar(w, func(k *tick) float64 { return k.scalar[chRPM+e] })
		if m := stat.Mean(x); m > 0 {
			spread = math.Max(spread, stat.SD(x)/m)
		}
	}
	return spread
}

func speedOf(w []tick) float64 { return stat.Mean(unwrappedScalar(w, (*tick).speed)) }

// settled cuts the settling tail off a piece of one level, then tests what is
// left.
func settled(lead, ticks []tick, p span, lim Limits) []span {
	w := ticks[p.from:p.to]
	lead = tailLead(lead, w)
	v := append(gather(lead, chSOG), gather(w, chSOG)...)
	n := settleTicks(v, lim) - len(lead)
	var out []span
	if n > 0 {
		cut := min(p.from+n, p.to)
		out = append(out, span{p.from, cut, StillAccelerating})
		p.from = cut
	}
	if p.len() == 0 {
		return out
	}
	p.reason = judge(ticks[p.from:p.to], lim)
	return append(out, p)
}

// tailLead returns the end of lead in which throttle and course already stood
// as in w, so that only the speed was still changing: each engine within 3 %
// of its mean (at full throttle it gains some with the speed), the heading
// within 8 degrees.
func tailLead(lead, w []tick) []tick {
	from := len(lead)
	for from > 0 && lead[from-1].has(chSOG) && near(&lead[from-1], w, 0.03, 8*math.Pi/180) {
		from--
	}
	return lead[from:]
}

// settleTicks returns how many ticks pass until the change of speed still to
// come is below the limit.
//
// The end of an acceleration is an exponential approach; its beginning, over
// the hump, is not. So the exponential is fitted from where the speed is
// within tailReach of the final value, the final value is estimated anew, and
// the fit is repeated.
func settleTicks(v []float64, lim Limits) int {
	final := stat.Mean(v[2*len(v)/3:])
	start, ticks := 0, 0.0
	for range 3 {
		start = lastBeyond(v, final, tailReach*math.Abs(final))
		if len(v)-start < lim.MinTicks {
			return len(v)
		}
		ticks, final = stat.Settle(v[start:], math.Max(lim.Settle*math.Abs(final), settleFloor))
	}
	return start + int(math.Floor(ticks))
}

// tailReach is how far from the final speed, as a ratio of it, the approach is
// still an exponential one.
const tailReach = 0.08

// lastBeyond returns the index after the last value that is further than d
// from final.
func lastBeyond(v []float64, final, d float64) int {
	for i := len(v) - 1; i >= 0; i-- {
		if math.Abs(v[i]-final) > d {
			return i + 1
		}
	}
	return 0
}

// judge tests a stretch of one level with the tail cut off.
func judge(w []tick, lim Limits) Reason {
	switch {
	case len(w) < lim.MinTicks:
		return TooShort
	case rpmSpread(w) > lim.Hunting:
		return RPMHunting
	case drift(headings(w)) > lim.Course:
		return CourseChange
	case drift(gather(w, chSOG)) > 3*math.Max(lim.Settle*speedOf(w), settleFloor):
		return StillAccelerating
	case fuelDrift(w) > 0.05:
		return FuelUnsteady
	case powerDrift(w) > 0.05:
		return PowerUnsteady
	}
	return Accepted
}

// drift returns the change across the series that its slope amounts to, where
// the slope differs from zero at 95 % with autocorrelation allowed for; else 0.
func drift(x []float64) float64 {
	s := stat.Slope(x)
	if math.Abs(s.Mean) < s.HalfWidth() {
		return 0
	}
	return math.Abs(s.Mean) * float64(len(x))
}

// fuelDrift returns the relative drift of the total fuel rate; 0 where it is
// not known.
func fuelDrift(w []tick) float64 {
	total := fuelTotal(w)
	for _, v := range total {
		if math.IsNaN(v) {
			return 0
		}
	}
	m := stat.Mean(total)
	if !(m > 0) {
		return 0
	}
	return drift(total) / m
}

// fuelTotal returns the fuel rate of all engines together; NaN in a tick where
// an engine that runs gives none.
func fuelTotal(w []tick) []float64 {
	out := make([]float64, len(w))
	for i := range w {
		heard := false
		for e := channel(0); e < MaxEngines; e++ {
			f, running := w[i].scalar[chFuel+e], w[i].scalar[chRPM+e] > 0 && !w[i].motors.Has(int(e))
			switch {
			case !math.IsNaN(f):
				out[i] += f
				heard = true
			case running:
				out[i] = math.NaN()
			}
		}
		if !heard {
			out[i] = math.NaN()
		}
	}
	return out
}

// tidy joins neighbouring rejected stretches of one reason, and drops
// rejected ones too short to report. A hunting stretch comes in many short
// pieces; it is one stretch to a person.
func tidy(in []span) []span {
	var joined []span
	for _, s := range in {
		if n := len(joined); n > 0 && s.reason != Accepted && joined[n-1].reason == s.reason && joined[n-1].to == s.from {
			joined[n-1].to = s.to
			continue
		}
		joined = append(joined, s)
	}
	var out []span
	for _, s := range joined {
		if s.reason == Accepted || s.reason == SourceChange || s.len() >= reportTicks {
			out = append(out, s)
		}
	}
	return out
}

// meanVector returns the mean of a vector series, NaN ticks left out.
func meanVector(w []tick, v vector) complex128 {
	var sum complex128
	n := 0
	for i := range w {
		if w[i].hasVec(v) {
			sum += w[i].vec[v]
			n++
		}
	}
	if n == 0 {
		return cmplx.NaN()
	}
	return sum / complex(float64(n), 0)
}
