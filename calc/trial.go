package calc

import (
	"math"

	"trialday.example/logd/calc/manoeuvre"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
)

// Settings are all that calculation is told beside the samples.
type Settings struct {
	Limits Limits
	Boat   Boat
	Step   float64 // spread of rpm inside one step, ratio
	Fuel   FuelReference
	Shafts []Shaft // by engine index
	// Reference is the mass in kg to give speeds at too; 0 for none.
	Reference float64
	// Marks are the speeds to which accelerations are timed.
	Marks []manoeuvre.Mark
	// Latency is how late the satellite receiver's messages are, s; zero where
	// it is not told.
	Latency stat.Estimate
}

// Report is what calculation gives, in SI units and trial time.
type Report struct {
	Found
	Outcomes   []Outcome // of the amendments, in the order given
	Steps      []Step
	Best       Best
	Motors     EngineSet // engines that burn nothing
	Energy     Best      // of the steps that batteries drove; see BestByEnergy
	Day        DayFit
	Paddle     Paddle
	FuelCheck  FuelCheck
	Propulsion Propulsion
	Reference  float64  // kg, as asked for; 0 for none
	AtMass     []AtMass // the steps at that mass
	Manoeuvres manoeuvre.Report
}

// Trial takes the samples of a day in time order and gives its figures. It
// keeps the ticks of the present run, the runs and windows found so far, and a
// line of bounded length for drawing; no samples, but for the few minutes and
// the clips that manoeuvre keeps.
type Trial struct {
	set    Settings
	ticker *ticker
	cutter *cutter
	fuel   *fuelMeter
	found  Found
	lead   []tick
	any    bool
	watch  *manoeuvre.Watch
	closed bool
	live   liveState
}

// New starts a trial.
func New(set Settings) *Trial {
	t := &Trial{set: set, fuel: newFuelMeter(set.Fuel.Tank)}
	t.cutter = &cutter{out: t.endRun}
	t.ticker = newTicker(t.tick)
	t.ticker.levels.capacity = set.Fuel.Tank
	t.ticker.cells.batteries, t.ticker.motors = set.Boat.Electric.Batteries, set.Boat.Electric.Motors
	t.watch = manoeuvre.New(set.manoeuvres())
	return t
}

// Add takes one sample.
func (t *Trial) Add(s *sample.Sample) {
	t.ticker.add(s)
	t.fuel.add(s)
	t.watch.Add(s)
}

// Advance tells that trial time has come to now, with or without samples.
func (t *Trial) Advance(now int64) {
	if t.ticker.started {
		t.ticker.advance(now)
		t.watch.Advance(now)
	}
}

// SourceChanged tells that at this time another device took over a quantity
// that steadiness is judged by.
func (t *Trial) SourceChanged(now int64) {
	t.Advance(now)
	t.ticker.changed = true
}

func (t *Trial) tick(k *tick) {
	if !t.any {
		t.any = true
		t.found.Start = k.at
	}
	t.found.End = k.at + second
	t.found.note(k)
	t.found.Line.add(k)
	t.live.tick(k)
	t.cutter.add(k)
}

// note keeps which data was heard.
func (r *Found) note(k *tick) {
	r.HasSOG = r.HasSOG || k.has(chSOG)
	r.HasHeading = r.HasHeading || k.hasVec(vecHeading)
	r.HasPower = r.HasPower || !math.IsNaN(k.power)
	for e := 0; e < MaxEngines; e++ {
		if k.has(chRPM + channel(e)) {
			r.Heard |= 1 << e
		}
		if k.gear[e] != gearUnknown {
			r.Geared |= 1 << e
		}
		r.HasFuel = r.HasFuel || k.has(chFuel+channel(e))
		r.HasLoad = r.HasLoad || k.has(chLoad+channel(e))
	}
}

func (t *Trial) endRun(kind Kind, ticks []tick) {
	defer t.keepLead(ticks)
	r := Run{ID: len(t.found.Runs) + 1, Kind: kind, Start: ticks[0].at, End: ticks[len(ticks)-1].at + second}
	t.found.Runs = append(t.found.Runs, r)
	if kind != HeldThrottle {
		return
	}
	for _, s := range steadySpans(t.lead, ticks, t.set.Limits) {
		w := newWindow(ticks[s.from:s.to], r.ID, s.reason)
		w.ID = len(t.found.Windows) + 1
		t.found.Windows = append(t.found.Windows, w)
	}
}

// keepLead keeps the last ticks, as the lead of the next run.
func (t *Trial) keepLead(ticks []tick) {
	t.lead = append(t.lead, ticks[max(0, len(ticks)-leadTicks):]...)
	t.lead = append(t.lead[:0], t.lead[max(0, len(t.lead)-leadTicks):]...)
}

// Close ends the day: the run that was going on ends here. No sample may follow.
func (t *Trial) Close() {
	if t.closed {
		return
	}
	t.closed = true
	if t.ticker.started {
		t.ticker.close()
	}
	t.cutter.finish()
	t.watch.Close()
	t.fuel.close()
}

// Finish ends the day and returns its figures.
func (t *Trial) Finish() *Report {
	t.Close()
	return Derive(t.Evidence(), t.set, nil)
}

// linePoints bounds the line kept for drawing.
const linePoints = 4096

// Line is the day thinned for drawing: when it is full, neighbours are merged
// and the spacing doubles.
type Line struct {
	Start  int64 // trial time of the first point, ns
	Step   int64 // ns between points
	Points []LinePoint
	fill   int // ticks in the last point
}

// LinePoint is the mean of the ticks in one step of the line.
type LinePoint struct {
	SOG, Fuel float64
	RPM       [MaxEngines]float64
}

func (l *Line) add(k *tick) {
	p := LinePoint{SOG: k.scalar[chSOG], Fuel: fuelTotal([]tick{*k})[0]}
	for e := range p.RPM {
		p.RPM[e] = k.scalar[chRPM+channel(e)]
	}
	if l.Step == 0 {
		l.Start, l.Step = k.at, second
	}
	per := int(l.Step / second)
	if n := len(l.Points); n > 0 && l.fill < per {
		l.Points[n-1] = l.Points[n-1].mix(p, 1/float64(l.fill+1))
		l.fill++
		return
	}
	if len(l.Points) == linePoints {
		for i := range linePoints / 2 {
			l.Points[i] = l.Points[2*i].mix(l.Points[2*i+1], 0.5)
		}
		l.Points = l.Points[:linePoints/2]
		l.Step *= 2
	}
	l.Points = append(l.Points, p)
	l.fill = 1
}

// mix returns p moved towards q by x; a side that is missing gives way.
func (p LinePoint) mix(q LinePoint, x float64) LinePoint {
	m := func(a, b float64) float64 {
		switch {
		case math.IsNaN(a):
			return b
		case math.IsNaN(b):
			return a
		}
		return a + x*(b-a)
	}
	out := LinePoint{SOG: m(p.SOG, q.SOG), Fuel: m(p.Fuel, q.Fuel)}
	for e := range out.RPM {
		out.RPM[e] = m(p.RPM[e], q.RPM[e])
	}
	return out
}
