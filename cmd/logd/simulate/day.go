package simulate

import (
	"io"
	"math/rand/v2"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
)

// Day is one run of a scenario, frame by frame. It is a frame.Source.
type Day struct {
	scenario *Scenario
	world    *world
	recorder *recorder
	sensors  sensors
	rand     *rand.Rand // of the bus and the devices' timing
	bus      bus
	engines  bus // the engines' own
	devices  [deviceCount]device
	present  []int // indices of the devices that there are
	orders   []order
	next     int     // of orders
	began    bool    // the present order
	since    float64 // s, when
	over     bool
	flushed  bool
	now      int64 // ns since the start
	chores   []chore

	seed      uint64
	faultRand *rand.Rand
	crowded   int // frames that say nothing, so far
}

// chore is something that happens at a time, and perhaps again.
type chore struct {
	due int64
	do  func(due int64) (next int64) // 0 for never again
}

// Start begins a day. The same scenario and seed give the same day on machines
// of the same architecture; between architectures the last binary digit of a
// result may differ, as Go leaves fused multiplication to the compiler.
func (s *Scenario) Start(seed uint64) *Day {
	d := &Day{scenario: s, seed: seed, world: newWorld(s, seed), rand: stream(seed, streamBus)}
	d.sensors = newSensors(s, seed)
	d.recorder = newRecorder(d.world, seed)
	d.orders = s.orders(seed)
	d.bus = bus{rand: d.rand, loss: s.Faults.FastPacketLossPct / 100}
	d.engines = bus{number: 1, rand: stream(seed, streamEngineBus)}
	d.build()
	d.plan()
	return d
}

// Run emits every frame of a day and returns the truth. It stops at the first
// error that emit returns.
func (s *Scenario) Run(seed uint64, emit func(*frame.Frame) error) (*Truth, error) {
	d := s.Start(seed)
	if _, err := frame.Each(d, emit); err != nil {
		return nil, err
	}
	return d.Truth(), nil
}

// Buses implements frame.Source.
func (d *Day) Buses() []string { return d.scenario.Buses() }

// Truth is what the day really was; it is complete once Next has returned
// io.EOF.
func (d *Day) Truth() *Truth { return &d.recorder.truth }

// Next implements frame.Source.
func (d *Day) Next(f *frame.Frame) error {
	for {
		until := d.now - perTick
		if d.over {
			until = d.now + second
		}
		if d.ready().pass(until, f) {
			f.Time = d.scenario.recorded(f.Time)
			return nil
		}
		if d.over {
			d.finish()
			return io.EOF
		}
		d.advance()
	}
}

// ready is the bus whose next frame goes first.
func (d *Day) ready() *bus {
	if e, b := d.engines.queue, d.bus.queue; len(e) > 0 && (len(b) == 0 || e[0].ready < b[0].ready) {
		return &d.engines
	}
	return &d.bus
}

func (d *Day) finish() {
	if d.flushed {
		return
	}
	d.flushed = true
	d.recorder.finish()
	d.recorder.truth.ErrorFrames, d.recorder.truth.FramesLost = d.bus.wrong, d.bus.lost
}

// advance moves everything by one tick.
func (d *Day) advance() {
	d.command()
	if d.over {
		return
	}
	w := d.world
	w.advance()
	d.now = w.ticks * perTick
	d.recorder.watch()
	if w.ticks%5 == 0 {
		d.sensors.look(w, [2]bool{w.t < w.muted[deviceGNSS1], w.t < w.muted[deviceGNSS2]})
	}
	d.work()
	for _, index := range d.present {
		d.transmit(index)
	}
}

// command gives the captain's orders when their time has come.
func (d *Day) command() {
	w := d.world
	for d.next < len(d.orders) {
		o := &d.orders[d.next]
		if !d.began {
			d.began, d.since = true, w.t
			if o.act != nil {
				o.act(w)
			}
		}
		if w.t-d.since < o.limit && !o.until(w) {
			return
		}
		d.next++
		d.began = false
	}
	d.over = true
}

// transmit sends what a device has due.
func (d *Day) transmit(index int) {
	dev := &d.devices[index]
	for i := range dev.messages {
		m := &dev.messages[i]
		if m.due > d.now {
			continue
		}
		due := m.due
		m.due += m.period
		if dev.silent || index != deviceGNSS1 && index != deviceGNSS2 && d.world.t < d.world.muted[index] {
			continue
		}
		m.fill(m.data)
		for _, sp := range m.spoil {
			sp.apply(m.data, d.world.t)
		}
		late := int64(d.rand.Float64() * float64(m.jitter))
		dev.bus.packet(m.def, dev.address, pgn.Broadcast, m.sequence, m.data, due+m.latency+late)
		m.sequence++
	}
}

// work does the chores that are due.
func (d *Day) work() {
	for i := range d.chores {
		c := &d.chores[i]
		if c.due != 0 && c.due <= d.now {
			c.due = c.do(c.due)
		}
	}
}

// utc is the time in days since 1970-01-01 and seconds of the day, by the
// satellites.
func (d *Day) utc() (day, seconds float64) {
	ns := d.scenario.StartUTC.UnixNano() + d.fix()
	const length = 86400 * second
	return float64(ns / length * 86400), float64(ns%length) / 1e9
}

// fix is the moment of the receivers' latest look, ns since the start.
func (d *Day) fix() int64 { return d.now / (100 * millisecond) * (100 * millisecond) }

// clockOffset is the recorder's clock less UTC in s, t seconds into the day.
func (s *Scenario) clockOffset(t float64) float64 {
	return float64(s.clockError(int64(t*1e9))) / 1e9
}

func (s *Scenario) clockError(ns int64) int64 {
	c := &s.Clock
	offset := int64(c.OffsetS*1e9) + int64(c.DriftPPM*1e-6*float64(ns))
	if c.StartsUnix {
		offset -= s.StartUTC.UnixNano()
	}
	for _, st := range c.Steps {
		at := int64(st.AtS * 1e9)
		if ns < at {
			break
		}
		if st.SetRight {
			offset = int64(c.DriftPPM * 1e-6 * float64(ns-at))
		}
		offset += int64(st.ByS * 1e9)
	}
	return offset
}

// recorded is a time of the day, ns since the start, by the recorder's clock.
func (s *Scenario) recorded(ns int64) int64 {
	t := s.StartUTC.UnixNano() + ns + s.clockError(ns)
	return t - t%1000 // whole microseconds, as our own listener stamps
}
