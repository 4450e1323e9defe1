// Package decode is the way from frames to samples: frames are joined to
// messages (decode/assemble), messages attributed to devices (decode/device),
// times repaired (decode/clock), and of every quantity the samples of one
// device at a time are handed on (decode/choose).
//
// Everything that comes out is a function of the frames alone, in their order:
// no wall clock, no random order. What comes out at one frame never depends on
// a later one. Memory does not grow with the length of the day.
package decode

import (
	"trialday.example/logd/decode/assemble"
	"trialday.example/logd/decode/device"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// Handler receives what comes out, in the order of trial time.
type Handler interface {
	// Sample takes one sample of the device chosen for its quantity. Samples
	// without a value are handed on too, with their state.
	Sample(s sample.Sample)
	// Event takes a change that concerns what follows it.
	Event(e Event)
}

// Options says what the decoder cannot hear on the bus.
type Options struct {
	// Buses gives the names of the interfaces met so far; see frame.Source.
	// Nil: interfaces have no names.
	Buses func() []string
}

// Decoder turns frames into samples. Make it with New.
type Decoder struct {
	options  Options
	out      Handler
	assemble *assemble.Assembler
	devices  *device.Registry
	stats    Stats
	unknown  unknown

	// The message that is being decoded.
	now    int64
	source uint16
	emit   func(q pgn.Quantity, instance uint8, v pgn.Value)

	start   int64
	started bool
}

// New makes a Decoder that hands what it decodes to out.
func New(o Options, out Handler) *Decoder {
	d := &Decoder{options: o, out: out, assemble: assemble.New(), devices: device.New()}
	d.emit = d.sample
	return d
}

// Frame takes the next frame in the order of reception.
func (d *Decoder) Frame(f *frame.Frame) {
	d.stats.count(f)
	if !d.started {
		d.start, d.started = f.Time, true
	}
	d.now = max(d.now, f.Time-d.start)
	if m := d.assemble.Add(f); m != nil {
		d.message(m)
	}
}

// Finish hands on what was held back. No frame may follow.
func (d *Decoder) Finish() {}

func (d *Decoder) message(m *assemble.Message) {
	d.source = d.devices.Message(m.Bus, m.Header, m.Data)
	if m.Def == nil {
		d.unknown.add(m.Header.PGN)
		return
	}
	d.stats.Messages++
	m.Def.Samples(m.Data, d.emit)
}

func (d *Decoder) sample(q pgn.Quantity, instance uint8, v pgn.Value) {
	d.out.Sample(sample.Sample{Time: d.now, Value: v.V, Quantity: q, Instance: instance, Source: d.source, State: v.State})
}

// Devices lists the devices met so far by the index that samples carry.
func (d *Decoder) Devices() []*device.Device { return d.devices.Devices() }
