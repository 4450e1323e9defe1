package day

import (
	"fmt"
	"math"
	"strings"

	"trialday.example/logd/calc"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// thing numbers what lamps tell of.
type thing uint8

const (
	thingPosition thing = iota
	thingMotion
	thingHeading
	thingAttitude
	thingDepth
	thingEngine // one an engine
	thingFuel   // one an engine
	numThings
)

// thingOf finds the thing of a quantity, numThings for none. It is asked for every
// sample.
var thingOf = func() (things [256]thing) {
	for q := range things {
		things[q] = numThings
	}
	things[pgn.Latitude] = thingPosition
	things[pgn.SpeedOverGround] = thingMotion
	things[pgn.Heading], things[pgn.HeadingMagnetic] = thingHeading, thingHeading
	things[pgn.Pitch] = thingAttitude
	things[pgn.Depth] = thingDepth
	things[pgn.EngineSpeed] = thingEngine
	things[pgn.FuelRate] = thingFuel
	return things
}()

// heard tells when a thing was last heard, and last heard with a value: trial
// time + 1, 0 for never.
type heard struct{ any, value int64 }

// hearing notes it for each thing, of each engine.
type hearing struct {
	last       [numThings][calc.MaxEngines]heard
	satellites float64 // in use by the last count; 0 where not told
}

func (h *hearing) add(s *sample.Sample) {
	if s.Quantity == pgn.Satellites && s.State == pgn.Valid {
		h.satellites = s.Value
	}
	t := thingOf[s.Quantity]
	if t == numThings || ofEngine(s.Quantity) && s.Instance >= calc.MaxEngines {
		return
	}
	e := 0
	if ofEngine(s.Quantity) {
		e = int(s.Instance)
	}
	at := &h.last[t][e]
	at.any = s.Time + 1
	if s.State == pgn.Valid {
		at.value = s.Time + 1
	}
}

// presence is what can be said of a thing at a time.
type presence int

const (
	present presence = iota
	empty            // its sender is there, but gives no value
	silent           // was heard, and is not any more
	never            // was not heard on this trial
)

func (h heard) at(now int64) presence {
	switch {
	case h.value != 0 && now-h.value <= gapLimit:
		return present
	case h.any != 0 && now-h.any <= gapLimit:
		return empty
	case h.any != 0:
		return silent
	}
	return never
}

// sensor is a lamp of one thing: for each presence its state and, but for
// present, its words.
type sensor struct {
	name  string
	thing thing
	state [4]string
	words [4]string
}

const (
	good, warn, bad, off = results.LampGood, results.LampWarn, results.LampBad, results.LampOff

	noFix   = "the receiver has no fix: free its view of the sky, or wait a few minutes"
	starts  = "its sensor gives no value: it may still be starting"
	unplug  = "silent: check plug and power"
	noMap   = "not heard (PGN 129025, 129029): connect a satellite receiver; without one there is no map and no time"
	noSpeed = "not heard (PGN 129026): connect a satellite receiver; without one there are no figures"
	noHead  = "not heard (PGN 127250): courses over ground stand for it, which a cross current spoils"
	noTrim  = "not heard (PGN 127257): no trim angle and no time to plane"
	noFloor = "the sounder finds no bottom: deep water, or air under it at speed"
	deaf    = "silent: the boat is too fast for the sounder, or its plug or power is out"
	noDepth = "not heard (PGN 128267): shallow water is not noticed, keep to deep water"
)

var sensors = []sensor{
	{"satellite position", thingPosition, [4]string{good, bad, bad, bad}, [4]string{"", noFix, unplug, noMap}},
	{"speed over ground", thingMotion, [4]string{good, bad, bad, bad}, [4]string{"", noFix, unplug, noSpeed}},
	{"heading", thingHeading, [4]string{good, warn, warn, off}, [4]string{"", starts, unplug, noHead}},
	{"attitude", thingAttitude, [4]string{good, warn, warn, off}, [4]string{"", starts, unplug, noTrim}},
	{"depth", thingDepth, [4]string{good, off, off, off}, [4]string{"", noFloor, deaf, noDepth}},
}

// hearing is what was heard so far.
func (d *Day) hearing() *hearing { return &d.samples.settle().hearing }

// lamps tells of everything that the figures hang on and that is heard on the
// bus.
func (d *Day) lamps(names []string) []results.Lamp {
	now := d.decoder.Now()
	var out []results.Lamp
	for _, s := range sensors {
		at := d.hearing().last[s.thing][0]
		is := at.at(now)
		l := results.Lamp{Name: s.name, State: s.state[is], Text: s.words[is]}
		if is == present {
			l.Text = "heard"
		}
		out = append(out, l)
	}
	if few := d.hearing().satellites; out[0].State == good && few > 0 {
		out[0].Text = fmt.Sprintf("heard, by %g satellites", few)
		if few < fewSatellites {
			out[0].State = warn
			out[0].Text = fmt.Sprintf("only %g satellites: free the receiver's view of the sky", few)
		}
	}
	out = append(out, d.engineLamp(names, now))
	if !burnsNothing(&d.cfg) {
		out = append(out, d.fuelLamp(names, now))
	}
	if l, ok := d.batteryLamp(now); ok {
		out = append(out, l)
	}
	return append(out, d.clockLamp())
}

// fewSatellites: with fewer than five a receiver cannot tell a wrong one from
// the right ones (common practice, no source).
const fewSatellites = 5

// engineSets sorts the engines, n of them, by the presence of a thing.
func (h *hearing) engineSets(t thing, n int, now int64) (sets [4]calc.EngineSet) {
	for e := range min(n, calc.MaxEngines) {
		sets[h.last[t][e].at(now)] |= 1 << e
	}
	return sets
}

func (d *Day) engineLamp(names []string, now int64) results.Lamp {
	l := results.Lamp{Name: "engines", State: good}
	is := d.hearing().engineSets(thingEngine, len(names), now)
	gone := is[silent] | is[empty]
	switch {
	case is[present]|gone == 0:
		l.State, l.Text = bad, "none is heard ("+pgn.EngineSpeed.Ways()+"): switch on the ignition; check plug and power of the engine gateway"
	case gone != 0:
		l.State, l.Text = bad, engineList(names, gone)+": no engine speed any more; is the ignition off, or a plug out?"
	case is[never] != 0:
		l.State, l.Text = warn, engineList(names, is[never])+": not heard; is the ignition off, or engines in the configuration wrong?"
	default:
		l.Text = "heard: " + engineList(names, is[present])
	}
	return l
}

func (d *Day) fuelLamp(names []string, now int64) results.Lamp {
	l := results.Lamp{Name: "fuel rate", State: good}
	is := d.hearing().engineSets(thingFuel, len(names), now)
	running := d.hearing().engineSets(thingEngine, len(names), now)[present]
	gone := is[silent] | is[empty]
	switch {
	case is[present]|gone == 0:
		l.State, l.Text = off, "not heard ("+pgn.FuelRate.Ways()+"): no burn, economy or range; the engine gateway may need to be set to send it"
	case gone&running != 0:
		l.State, l.Text = bad, engineList(names, gone&running)+": no fuel rate any more; a total without it would be wrong"
	case is[never]&running != 0:
		l.State, l.Text = warn, engineList(names, is[never]&running)+": no fuel rate; a total without it would be wrong"
	case is[present] == 0:
		l.State, l.Text = warn, "silent, as the engines are"
	default:
		l.Text = "heard: " + engineList(names, is[present])
	}
	return l
}

func (d *Day) clockLamp() results.Lamp {
	clock := d.decoder.Clock()
	if !clock.Known() {
		return results.Lamp{Name: "clock", State: warn,
			Text: "no satellite time yet: times of day are the recorder's own; durations and figures are not affected"}
	}
	l := results.Lamp{Name: "clock", State: good}
	l.Text = fmt.Sprintf("satellite time, within %.1f s", math.Ceil(float64(clock.Uncertainty())/1e8)/10)
	if n := clock.Steps(); n > 0 {
		l.Text += fmt.Sprintf("; the recorder's own clock was set %d times, which was taken out", n)
	}
	return l
}

// engineList names the engines of a set; "" for none.
func engineList(names []string, set calc.EngineSet) string {
	var list []string
	for e := range calc.MaxEngines {
		if set.Has(e) {
			list = append(list, engineName(names, uint8(e)))
		}
	}
	return strings.Join(list, ", ")
}
