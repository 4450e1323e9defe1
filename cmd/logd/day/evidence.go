package day

import (
	"slices"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/dayburn"
	"trialday.example/logd/calc/energy"
	"trialday.example/logd/calc/installation"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode"
	"trialday.example/logd/decode/clock"
	"trialday.example/logd/decode/device"
	"trialday.example/logd/sink/results"
)

// Evidence is what a day leaves once its frames are gone. It is plain data, and
// can be kept with encoding/gob.
//
// Invariants: results come from it and from Given alone, never from the frames;
// it does not change when the day goes on, and no result changes it.
type Evidence struct {
	Calc         *calc.Evidence
	Installation *installation.Evidence
	Clock        clock.Record
	Burn         *dayburn.Evidence
	Energy       []energy.Battery
	Derived      int64             // s in which speed was derived from positions
	Corrected    []results.Finding // what was applied to the samples
	// WindowFrames are the frames of each window; First is 0 for none.
	WindowFrames []results.FrameRange
	Devices      []device.Device
	Events       []decode.Event
	Dropped      int // events not kept
	Stats        decode.Stats
	Gaps         []gap
	MoreGaps     int64 // not kept
	Buses        []string
	FramesHash   string
	Bad          int64 // lines or places that could not be read
}

// Given is what results are made of beside the evidence.
type Given struct {
	Config     configs.Config
	Version    string // of the program
	Readings   []calc.Reading
	Amendments Amendments
}

// Evidence is that of the day so far; what is still going on is in it only after
// Close. Bad is the number of lines that could not be read. It changes nothing
// in the day.
func (d *Day) Evidence(bad int64) *Evidence {
	w := d.samples.settle()
	e := &Evidence{
		Burn: w.burn.Evidence(), Energy: d.energy.Evidence(), Derived: d.track.Seconds, Corrected: corrected(&d.cfg),
		Calc: w.trial.Evidence(), Installation: w.fitted.Evidence(), Clock: d.decoder.Clock().Record(), Stats: d.decoder.Stats(),
		Events: d.events, Dropped: d.dropped, Gaps: slices.Clone(w.gaps.gaps), MoreGaps: w.gaps.more,
		Buses: slices.Clone(d.buses()), FramesHash: d.frames.sum(), Bad: bad,
	}
	e.Calc.Frozen = frozen(e.Installation.Findings)
	for _, v := range d.decoder.Devices() {
		copied := *v
		copied.Addresses = slices.Clone(v.Addresses)
		e.Devices = append(e.Devices, copied)
	}
	for i := range e.Calc.Windows {
		w := &e.Calc.Windows[i]
		var f results.FrameRange
		if r := d.places.between(w.Start, w.End); r != nil {
			f = *r
		}
		e.WindowFrames = append(e.WindowFrames, f)
	}
	return e
}

// engineNames names the engines heard and configured, by index.
func (d *Day) engineNames(heard calc.EngineSet) []string { return engineNames(&d.cfg, heard) }

// frames returns the frames of a window, by its ends; nil for none.
func (e *Evidence) frames(from, to int64) *results.FrameRange {
	for i := range e.Calc.Windows {
		if w := &e.Calc.Windows[i]; w.Start == from && w.End == to && e.WindowFrames[i].First != 0 {
			r := e.WindowFrames[i]
			return &r
		}
	}
	return nil
}
