package day

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
	"strings"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/installation"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/socketcan"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

func newFitted(c *configs.Config) *installation.Watch {
	f := installation.New(c.Vessel.Hull == "planing", known(c.Vessel.LengthM))
	f.Load.BitRate = socketcan.Bitrate
	return f
}

// wire shows the frames to who watches the bus itself.
type wire struct {
	*installation.Wire
	skipped int
}

// every is how many frames stand for one whose bits are counted: stuff bits
// depend on the data, and counting them all takes as long as decoding.
const every = 8

func (f *wire) frame(now int64, fr *frame.Frame) {
	bits := 0
	if f.skipped++; f.skipped == every {
		f.skipped = 0
		bits = every * socketcan.Bits(fr)
	}
	f.Load.Add(now, fr.Bus, bits, fr.IsError)
	if fr.IsExtended && !fr.IsError && !fr.IsRemote && fr.Length == 8 {
		if h := pgn.ParseID(fr.ID); h.PGN == pgn.AddressClaim {
			f.Claims.Add(now, fr.Bus, h.Source, binary.LittleEndian.Uint64(fr.Data[:]))
		}
	}
}

// frozenReason is why windows are rejected in which a quantity stood still;
// Accepted where steps do not hang on it.
func frozenReason(q pgn.Quantity) calc.Reason {
	switch q {
	case pgn.SpeedOverGround:
		return calc.SpeedFrozen
	case pgn.Heading, pgn.HeadingMagnetic:
		return calc.HeadingFrozen
	case pgn.EngineSpeed:
		return calc.RPMFrozen
	case pgn.FuelRate:
		return calc.FuelFrozen
	}
	return calc.Accepted
}

// frozen gives the stretches that no window may reach into.
func frozen(findings []installation.Finding) []calc.Frozen {
	var out []calc.Frozen
	for _, f := range findings {
		reason := frozenReason(f.Quantity)
		if f.Kind != installation.Stuck || reason == calc.Accepted {
			continue
		}
		for _, s := range f.Stretches {
			out = append(out, calc.Frozen{Reason: reason, From: s.From, To: s.To})
		}
	}
	return out
}

// installation puts what was found into words, and says what could not be told.
func (d *document) installation(r *results.Results, rep *calc.Report, edge results.Edge) {
	e := d.Installation
	given := installation.Given{Offset: stat.Estimate{Mean: math.NaN()}, Lag: stat.Estimate{Mean: math.NaN()}}
	if rep.Day.OK && rep.HasHeading {
		given.Offset = rep.Day.Offset
	}
	if lag := &rep.Manoeuvres.Lag; lag.Measured && d.Derived < leastDerived {
		given.Lag = lag.Filter
	}
	r.Findings = append(append(r.Findings, d.Corrected...), derived(d.Derived)...)
	r.Missing = append(r.Missing, unheard(&e.Heard, len(rep.Manoeuvres.Turns) > 0)...)
	for _, f := range e.Report(given) {
		r.Findings = append(r.Findings, d.word(&f, rep, edge))
	}
	if rep.Heard.Count() > 1 {
		r.Vessel.EngineSides = sides(e.Sides)
	}
}

// sides says whether the engines stand where they are said to.
func sides(v installation.Verdict) string {
	switch v {
	case installation.Right:
		return "confirmed: unequal engines turned the boat the way they should"
	case installation.Wrong:
		return "the wrong way round, see the findings"
	}
	return "cannot be told from this day: it takes a few stretches on one engine, with rate of turn (PGN 127251) or rudder (PGN 127245), and gears (" + pgn.Gear.Ways() + "); one engine ahead alone must turn the bow to the other side"
}

// word is a finding in plain words.
func (d *document) word(f *installation.Finding, rep *calc.Report, edge results.Edge) results.Finding {
	deg := func(rad float64) float64 { return rad * 180 / math.Pi }
	half := deg(f.Value.SE) * stat.StudentT975(f.Value.DOF)
	angle := fmt.Sprintf("%+.1f ± %.1f degrees", deg(f.Value.Mean), half)
	r := results.Finding{Kind: string(f.Kind), Sure: sure(f), Probability: &f.Probability}
	what := strings.ReplaceAll(f.Quantity.String(), "_", " ")
	switch f.Quantity {
	case pgn.EngineSpeed, pgn.FuelRate, pgn.EngineLoad:
		what += " of " + engineName(edge.Engines, f.Instance)
	}
	during := fmt.Sprintf("between %s and %s", edge.Stamp(f.From), edge.Stamp(f.To))
	switch f.Kind {
	case installation.RollZero, installation.PitchZero:
		axis := map[installation.Kind]string{installation.RollZero: "roll", installation.PitchZero: "pitch"}[f.Kind]
		r.What = fmt.Sprintf("at rest the %s reads %s", axis, angle)
		r.Meaning = "the sensor's zero is off, or the boat really lies so; every " + axis + " on this sheet has it in it, changes of " + axis + " do not"
		r.Remedy = fmt.Sprintf("set the sensor's zero with the boat level, or corrections.%s_deg: %.1f in the configuration", axis, -deg(f.Value.Mean))
	case installation.RollSign:
		const tenth = 10 // of a g
		r.What = fmt.Sprintf("in turns at speed the boat leans outward by %.1f ± %.1f degrees for a tenth of a g as the roll is sent, in %d turns", -deg(f.Value.Mean)/tenth, half/tenth, f.N)
		r.Meaning = "a planing boat leans into its turns: roll has the wrong sign, and heel on this sheet is to the wrong side"
		r.Remedy = "turn the sensor about or set its orientation; or corrections.roll_reversed: true"
	case installation.PitchSign:
		r.What = fmt.Sprintf("at speed the bow is %.1f ± %.1f degrees lower than at rest as the pitch is sent", -deg(f.Value.Mean), half)
		r.Meaning = "a planing boat raises its bow: pitch has the wrong sign; trim and time to plane on this sheet are wrong"
		r.Remedy = "turn the sensor about or set its orientation; or corrections.pitch_reversed: true"
	case installation.EnginesSwapped:
		r.What = "engines pushing on one side turn the boat to that same side: port and starboard are the wrong way round"
		r.Meaning = "the figures of single engines stand under the wrong names; totals are right"
		r.Remedy = "set the instances of the engine gateways, or order engines[].instance in the configuration"
	case installation.HeadingOffset:
		r.What = fmt.Sprintf("reciprocal runs show that the heading needs %s added", angle)
		r.Meaning = "the current of the day is fitted with this taken out; headings and wind on this sheet have it in them"
		r.Remedy = fmt.Sprintf("swing or align the compass, or corrections.heading_deg: %.1f", deg(f.Value.Mean))
	case installation.MagneticAsTrue:
		r.What = fmt.Sprintf("the heading needs %s added, which is the variation: magnetic north is sent as true", angle)
		r.Meaning = "headings and wind on this sheet are off by it; the current of the day is fitted with it taken out"
		r.Remedy = fmt.Sprintf("set the sensor's reference, or corrections.heading_deg: %.1f here", deg(f.Value.Mean))
	case installation.VariationTwice:
		r.What = fmt.Sprintf("the heading needs %s added, the variation with its sign turned: true north is sent as magnetic", angle)
		r.Meaning = "headings and wind on this sheet are off by it; the current of the day is fitted with it taken out"
		r.Remedy = fmt.Sprintf("set the sensor's reference, or corrections.heading_deg: %.1f here", deg(f.Value.Mean))
	case installation.VelocityLag:
		r.What = fmt.Sprintf("speed and course over ground come %.1f ± %.1f s late", f.Value.Mean, f.Value.HalfWidth())
		r.Meaning = "the lag is taken out of accelerations, turns and stops, with wider intervals; steady figures are not affected"
		r.Remedy = "set the receiver's filter to its fastest, or prefer another receiver in sources.motion"
	case installation.Stuck:
		r.What = fmt.Sprintf("%s stood still at one value, %d times and %.0f s in all, while the boat was moving; %s", what, f.N, f.Seconds, during)
		r.Meaning = "means over those stretches hold a dead value" + affected(f.Quantity)
		r.Remedy = "check the sensor, its plug and its converter"
		if reason := frozenReason(f.Quantity); reason != calc.Accepted {
			r.Meaning += "; no window that reaches into them counts (" + reason.String() + ")"
		} else if w := windowsWithin(rep.Windows, f.From, f.To); w != "" {
			r.Meaning += "; steady windows in it: " + w
			r.Remedy += "; leave out those windows whose figures hang on it"
		}
	case installation.Spikes:
		r.What = fmt.Sprintf("%s jumped %d times for a single value and back; %s", what, f.N, during)
		r.Meaning = "nothing afloat moves so; a jump moves the mean of a window of 30 s by a thirtieth of its size, at ten values a second by a three-hundredth" + affected(f.Quantity)
		r.Remedy = "check for a second device with the same address, a loose plug, and interference"
	case installation.DuplicateAddress:
		if f.Quantity != pgn.None {
			r.What = fmt.Sprintf("%s%s comes from two senders in turn, %s apart, %d times and %.0f s in all; %s", what, d.address(f.Source), apart(f), f.N, f.Seconds, during)
			r.Meaning = "two devices use one address and instance, and means over both are of neither" + affected(f.Quantity)
			r.Remedy = "set another address or instance on one of them, or unplug one"
			break
		}
		r.What = fmt.Sprintf("two devices use address %d on %s: both claimed it, %d times in turn", f.Address, d.busName(f.Bus), f.N)
		r.Meaning = "their messages cannot be told apart, and messages of several frames are lost"
		r.Remedy = "set another address or device instance on one of them, or unplug one"
	case installation.BusLoad:
		r.What = fmt.Sprintf("%s was loaded above 80 %% for %.0f s, up to %.0f %% at 250 kbit/s; %s", d.busName(f.Bus), f.Seconds, 100*f.Value.Mean, during)
		r.Meaning = "messages come late or are lost; times of accelerations and turns suffer first"
		r.Remedy = "find the talker (device list), lower its rates or move it to another bus"
	case installation.BusErrors:
		r.What = fmt.Sprintf("%d error frames on %s, %.2f %% of all; %s", f.N, d.busName(f.Bus), 100*f.Value.Mean, during)
		r.Meaning = "messages are lost on the bus"
		r.Remedy = "check for two terminators of 120 ohms (60 ohms across the pair with the power off), connectors, and the bit rate"
	}
	return r
}

// address tells the address of a device, "" where it is not known.
func (d *document) address(source uint16) string {
	if int(source) >= len(d.Devices) || len(d.Devices[source].Addresses) == 0 {
		return ""
	}
	v := &d.Devices[source]
	return fmt.Sprintf(" from address %d on %s", v.Addresses[len(v.Addresses)-1], d.busName(v.Bus))
}

// apart is how far the values of two senders are from each other.
func apart(f *installation.Finding) string {
	switch f.Quantity {
	case pgn.EngineSpeed:
		return fmt.Sprintf("%.0f rpm", 60*f.Value.Mean)
	case pgn.SpeedOverGround, pgn.SpeedThroughWater:
		return fmt.Sprintf("%.1f kn", units.Knots(f.Value.Mean))
	}
	return fmt.Sprintf("%.0f degrees", f.Value.Mean*180/math.Pi)
}

// windowsWithin lists the steady windows that a stretch touches, by id.
func windowsWithin(windows []calc.Window, from, to int64) string {
	var ids []string
	for i := range windows {
		if w := &windows[i]; w.Accepted() && w.Start < to && w.End > from {
			ids = append(ids, strconv.Itoa(w.ID))
		}
	}
	return strings.Join(ids, ", ")
}

// affected says which figures hang on a quantity.
func affected(q pgn.Quantity) string {
	figures := map[pgn.Quantity]string{
		pgn.SpeedOverGround: "speed, economy and range", pgn.Heading: "current and wind", pgn.FuelRate: "burn, economy and range",
		pgn.EngineSpeed: "the rpm of steps", pgn.EngineLoad: "load and cruise", pgn.Pitch: "trim", pgn.Roll: "heel",
		pgn.Depth: "only the check for shallow water", pgn.SpeedThroughWater: "only the paddle wheel's calibration",
	}
	if f := figures[q]; f != "" {
		return "; it bears on " + f
	}
	return ""
}

func (d *document) busName(bus uint8) string {
	if int(bus) < len(d.Buses) {
		return d.Buses[bus]
	}
	return fmt.Sprintf("bus %d", bus)
}

// sure says in words how likely it is that a finding is right.
func sure(f *installation.Finding) string {
	words := "probable"
	switch p := f.Probability; {
	case p == 1 && math.IsNaN(f.T) || f.T == 0:
		return "certain: counted"
	case p > 0.999:
		words = "practically certain"
	case p > 0.95:
		words = "very likely"
	case p > 0.8:
		words = "likely"
	}
	words = fmt.Sprintf("%s (probability %.4g", words, math.Min(f.Probability, 0.9999))
	if !math.IsNaN(f.T) {
		words += fmt.Sprintf(", t = %.0f", f.T)
	}
	return words + ")"
}
