// Package day is the one pipeline from frames to results, used alike live and
// in replay: frames go in one at a time, and at the end of the day (or at any
// moment of it) the results come out. It wires decode to calc to results and
// holds no mathematics of its own.
//
//	frames -> Day -> Evidence -> results
//
// What a day leaves when its frames are gone is its Evidence. Results come from
// that alone, so they can be derived again in a moment when a person amends
// them.
package day

import (
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/energy"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/calc/track"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/sink/results"
)

// Day takes the frames of one trial day.
//
// Invariant: what comes out is a pure function of the frames, their bus names,
// the configuration, the hand readings and the amendments.
type Day struct {
	cfg     configs.Config
	version string
	buses   func() []string
	decoder *decode.Decoder
	frames  fingerprint
	places  places
	wire    wire
	correct corrector
	track   track.Track
	energy  energy.Watch
	samples passing
	events  []decode.Event
	dropped int
	closed  bool

	readings   []calc.Reading
	amendments Amendments
}

// New starts a day. Version stands in the results; buses gives the names of
// the interfaces met so far.
func New(cfg configs.Config, version string, buses func() []string) *Day {
	d := &Day{cfg: cfg, version: version, buses: buses, frames: newFingerprint(buses)}
	d.correct, d.energy, d.samples = newCorrector(&cfg), newEnergy(&cfg), newPassing(newWatchers(&cfg))
	d.wire.Wire = d.samples.watchers.fitted.Wire
	d.decoder = decode.New(Options(&cfg, buses), d)
	return d
}

// Frame takes the next frame in the order of reception.
func (d *Day) Frame(f *frame.Frame) {
	d.frames.add(f)
	d.decoder.Frame(f)
	d.wire.frame(d.decoder.Now(), f)
	d.places.add(d.decoder.Now(), d.decoder.Clock().Open(), d.decoder.Late())
}

// Sample implements decode.Handler.
func (d *Day) Sample(s sample.Sample) {
	d.correct.apply(&s)
	d.samples.add(&s)
	if course, speed := d.track.Add(&s); course != nil {
		d.samples.add(course)
		d.samples.add(speed)
	}
	if power := d.energy.Add(&s); power != nil {
		d.samples.add(power)
	}
}

// Event implements decode.Handler.
func (d *Day) Event(e decode.Event) {
	if len(d.events) < maxEvents {
		d.events = append(d.events, e)
	} else {
		d.dropped++
	}
	if steadiness(e) {
		d.samples.change(e.Time)
	}
}

// maxEvents bounds the events kept; a day has a few dozen.
const maxEvents = 2000

// Close ends the day: what was still going on counts as it stands. No frame may
// follow.
func (d *Day) Close() {
	if d.closed {
		return
	}
	d.closed = true
	d.decoder.Finish()
	d.places.finish(d.decoder.Late())
	d.samples.settle().close()
}

// Finish ends the day and returns its results, and the line for drawing it.
// Bad is the number of lines that could not be read.
func (d *Day) Finish(bad int64) (*results.Results, *results.Timeline) {
	d.Close()
	return d.Results(bad)
}

// Results are those so far, or of the whole day after Close. It changes nothing
// in the day.
func (d *Day) Results(bad int64) (*results.Results, *results.Timeline) {
	r, line := d.Evidence(bad).Results(Given{d.cfg, d.version, d.readings, d.amendments})
	line.Zoom = d.Timeline()
	return r, line
}

// settings turns the configuration into what calculation needs, in SI.
func settings(c *configs.Config) calc.Settings {
	limits := calc.Limits{
		MinTicks: int(math.Ceil(c.Steady.MinS)),
		Settle:   c.Steady.SettlePct / 100,
		Hunting:  c.Steady.RPMHuntingPct / 100,
		Course:   c.Steady.CourseDeg * math.Pi / 180,
	}
	if c.Vessel.LengthM != nil {
		limits.Length = *c.Vessel.LengthM
	}
	return calc.Settings{Limits: limits, Step: c.Steady.StepPct / 100, Boat: boat(c),
		Fuel: fuelReference(c), Shafts: shafts(c), Reference: referenceMass(c), Marks: marks(c), Latency: latency(&c.Sources)}
}

// latency is what is told of the satellite receiver's, zero where nothing is.
func latency(s *configs.Sources) stat.Estimate {
	if s.LatencyS == nil {
		return stat.Estimate{}
	}
	return stat.Estimate{Mean: *s.LatencyS, SE: s.LatencyErrorS / 1.96, DOF: math.Inf(1)}
}

func boat(c *configs.Config) calc.Boat {
	b := calc.Boat{
		Length: known(c.Vessel.LengthM),
		Usable: known(c.Fuel.TankL) / 1000 * (1 - c.Fuel.ReservePct/100),
		Tank:   known(c.Fuel.TankL) / 1000, Section: c.Fuel.TankSectionPct / 100,
		Fuel:     known(c.Fuel.DensityKgPerL) * 1000,
		Cruise:   c.Fuel.CruiseLoadPct / 100,
		Planes:   c.Vessel.Hull == "planing",
		Mass:     math.NaN(),
		Full:     math.NaN(),
		Electric: electricDrive(c),
	}
	if items, ok := massItems(c); ok {
		b.Mass = calc.TotalMass(items)
		b.Full = b.Mass + (known(c.Fuel.TankL)-*c.Load.FuelL)/1000*b.Fuel
	}
	return b
}

// massItems lists what the test weight is made of; ok is false where a part of
// it that cannot be guessed is not configured.
func massItems(c *configs.Config) (items []calc.MassItem, ok bool) {
	if c.Vessel.DryMassKg == nil || c.Load.FuelL == nil {
		return nil, false
	}
	water := 0.0
	if c.Load.WaterL != nil {
		water = *c.Load.WaterL
	}
	return calc.MassItems(*c.Vessel.DryMassKg, *c.Load.FuelL/1000, *c.Fuel.DensityKgPerL*1000,
		water/1000, c.Load.People, c.Load.PersonKg, c.Load.GearKg), true
}

// known returns NaN where a value is not configured.
func known(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
