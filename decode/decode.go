// Package decode is the way from frames to samples: frames are joined to
// messages (decode/assemble), messages attributed to devices (decode/device),
// times repaired (decode/clock), and of every quantity the samples of one
// device at a time are handed on (decode/choose).
//
// Everything that comes out is a function of the frames alone, in their order:
// no wall clock, no random order. What comes out at one frame never depends on
// a later one. Memory does not grow with the length of the day.
//
// After a jump of the recorder's clock messages are held back until GNSS time
// tells what it was, for 10 s at the most; see decode/clock.
package decode

import (
	"time"

	"trialday.example/logd/decode/assemble"
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/decode/clock"
	"trialday.example/logd/decode/device"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// DefaultHold is how long a better device must be heard before it takes over.
const DefaultHold = 30 * time.Second

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
	// Engines from port to starboard; none: engine index is engine instance.
	Engines []Engine
	// Prefer lists the devices preferred in a group, best first, each by its
	// NAME in hexadecimal, its model, or interface/address.
	Prefer map[choose.Group][]string
	// Hold is how long a better device must be heard before it takes over; 0:
	// DefaultHold.
	Hold time.Duration
}

// Decoder turns frames into samples. Make it with New.
type Decoder struct {
	options   Options
	out       Handler
	assemble  *assemble.Assembler
	devices   *device.Registry
	clock     clock.Clock
	chooser   *choose.Chooser
	engines   engines
	bus       engineBus
	north     north
	rapid     rapid
	batteries batteries
	held      hold
	stats     Stats
	unknown   unknown
	now       int64 // trial time of the last frame; without the pause at an open jump
	steps     int   // clock steps told so far
	late      int64 // pauses added to the times of frames already taken

	// The message that is being made into samples.
	msg  message
	emit func(q pgn.Quantity, instance uint8, v pgn.Value)
}

// message is a message with what was found out about it.
type message struct {
	at     int64 // trial time
	source uint16
	engine int8 // engine index, -1 where the message is not of an engine
	def    *pgn.Message
	data   []byte
}

// New makes a Decoder that hands what it decodes to out.
func New(o Options, out Handler) *Decoder {
	if o.Hold == 0 {
		o.Hold = DefaultHold
	}
	d := &Decoder{options: o, out: out, assemble: assemble.New(), devices: device.New()}
	d.chooser = choose.New(o.Hold, d.rank, d.sourceChanged)
	d.engines = engines{listed: o.Engines, devices: d.devices, matches: d.matches, tell: d.event, bus: &d.bus}
	d.bus = engineBus{engines: &d.engines, twins: choose.NewTwins(o.Hold, d.sourceChanged), name: d.busName}
	d.emit = d.sample
	return d
}

// Frame takes the next frame in the order of reception.
func (d *Decoder) Frame(f *frame.Frame) {
	d.stats.count(f)
	if d.clock.Open() && (d.clock.Jumped(f.Time) || d.held.full(d.now)) {
		d.release(d.clock.Settle())
	}
	before := d.now
	d.now = d.clock.Tick(f.Time)
	if d.clock.Open() {
		d.held.begin(before)
	} else {
		d.tellJump(before, d.now)
	}
	if m := d.assemble.Add(f); m != nil {
		d.message(m)
	}
}

// Finish hands on what was held back. No frame may follow.
func (d *Decoder) Finish() {
	if d.clock.Open() {
		d.release(d.clock.Settle())
	}
}

// message takes a whole message: it is decoded now, or held back while a jump
// of the clock is open.
func (d *Decoder) message(m *assemble.Message) {
	source := d.devices.Message(m.Bus, m.Header, m.Data)
	if m.Def == nil {
		d.unknown.add(m.Header.PGN)
		return
	}
	d.stats.Messages++
	d.msg.at, d.msg.source, d.msg.def, d.msg.data = d.now, source, m.Def, m.Data
	if !d.clock.Open() {
		d.decode()
		return
	}
	d.held.add(&d.msg)
	if r, ok := clock.Read(m.Def.PGN, m.Data); ok {
		if pause, decided := d.clock.Judge(r, source, d.now); decided {
			d.release(pause)
		}
	}
}

// release decodes what was held back, later by the pause that was found.
func (d *Decoder) release(pause int64) {
	d.now += pause
	d.late += pause
	d.tellJump(d.held.jump, d.held.jump+pause)
	d.held.release(pause, func(m message) {
		d.msg = m
		d.decode()
	})
}

// tellJump tells of a pause on the bus, and of a step of the clock.
func (d *Decoder) tellJump(before, after int64) {
	if after-before > int64(clock.MaxSilence) {
		d.event(Event{Kind: Gap, Time: before, Until: after})
	}
	if n := d.clock.Steps(); n > d.steps {
		d.steps = n
		d.event(Event{Kind: ClockStep, Time: after})
	}
}

// decode makes samples of the present message.
func (d *Decoder) decode() {
	m := &d.msg
	if r, ok := clock.Read(m.def.PGN, m.data); ok {
		d.clock.Observe(r, m.source, m.at)
	}
	m.engine = -1
	switch m.def.PGN {
	case engineRapid, engineDynamic, transmission, tripFuel:
		if len(m.data) == 0 {
			return
		}
		index, ok := d.engines.find(m.def.PGN, m.source, m.data[0], m.at)
		if !ok {
			d.stats.NoEngine++
			return
		}
		m.engine = int8(index)
	case positionRapid:
		d.rapid.note(m.source, m.at)
	case dcPower:
		d.batteries.fine(m, d.chooser)
	case batteryStatus:
		if d.batteries.covered(m, d.chooser) {
			d.stats.NotChosen += int64(len(coarse))
			return
		}
	default:
		if m.def.Ranges == pgn.TopBytes && !d.onEngineBus() {
			return
		}
	}
	m.def.Samples(m.data, d.emit)
}

// sample takes one measured field of the present message.
func (d *Decoder) sample(q pgn.Quantity, instance uint8, v pgn.Value) {
	m := &d.msg
	switch {
	case m.engine >= 0:
		instance = uint8(m.engine)
	case q == pgn.HeadingMagnetic || q == pgn.CourseMagnetic:
		q, v = d.north.turn(m, q, v)
	case (q == pgn.Latitude || q == pgn.Longitude) && m.def.PGN != positionRapid && d.rapid.recent(m.source, m.at):
		return
	}
	// Field by field: a literal is made elsewhere and copied 16 bytes at a time,
	// and the processor waits for the single bytes before it reads them together.
	var s sample.Sample
	s.Time, s.Value, s.Quantity, s.Instance, s.Source, s.State = m.at, v.V, q, instance, m.source, v.State
	if !d.use(&s) {
		d.stats.NotChosen++
		return
	}
	if q == pgn.Variation && v.State == pgn.Valid {
		d.north.learn(v.V, m.at)
	}
	d.stats.Samples++
	d.out.Sample(s)
}

// use reports whether a sample is from the device, and the bus, in use.
func (d *Decoder) use(s *sample.Sample) bool {
	m := &d.msg
	switch {
	case m.engine < 0 || !d.bus.heard():
		return d.chooser.Use(s)
	case m.def.Ranges == pgn.TopBytes:
		return d.bus.use(s, m.def)
	}
	if s.Quantity == pgn.EngineSpeed {
		d.bus.compare(s)
	}
	return d.chooser.Use(s) && (!d.bus.holds(int(s.Instance)) || d.bus.twins.Use(s, choose.Backbone, m.def))
}

// onEngineBus finds the engine of the present message of the engines' own bus.
func (d *Decoder) onEngineBus() bool {
	index, ok := d.bus.find(&d.msg)
	if !ok {
		d.stats.NoEngine++
		return false
	}
	d.msg.engine = int8(index)
	return true
}

func (d *Decoder) event(e Event) { d.out.Event(e) }

func (d *Decoder) sourceChanged(c choose.Change) {
	d.event(Event{Kind: SourceChange, Time: c.Time, Group: c.Group, Quantity: c.Quantity, Instance: c.Instance, From: c.From, To: c.To, Why: c.Why})
}

// rank is a device's place in the preference of a group.
func (d *Decoder) rank(g choose.Group, source uint16) int {
	list := d.options.Prefer[g]
	for i, text := range list {
		if d.matches(source, text) {
			return i
		}
	}
	return len(list)
}

// matches reports whether a device is the one that the configuration names.
func (d *Decoder) matches(source uint16, text string) bool {
	return d.devices.Matches(source, d.busName(source), text)
}

// busName is the name of a device's interface, "" if it has none.
func (d *Decoder) busName(source uint16) string {
	if d.options.Buses == nil {
		return ""
	}
	names := d.options.Buses()
	if i := int(d.devices.Devices()[source].Bus); i < len(names) {
		return names[i]
	}
	return ""
}

// Now is the trial time of the last frame, in nanoseconds.
func (d *Decoder) Now() int64 { return d.now }

// Late is the sum of the pauses that were found at jumps only after frames had
// been given a time: what Now said while a jump was open is too early by what
// Late grows by when it closes.
func (d *Decoder) Late() int64 { return d.late }

// Clock turns trial time into UTC.
func (d *Decoder) Clock() *clock.Clock { return &d.clock }

// Devices lists the devices met so far by the index that samples carry.
func (d *Decoder) Devices() []*device.Device { return d.devices.Devices() }
