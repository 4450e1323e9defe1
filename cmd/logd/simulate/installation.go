package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"

	"trialday.example/logd/pgn"
)

// This file holds what is wrong with an installation: fields that a device
// sends wrongly, instances and addresses set wrongly, a crowded bus. Nothing of
// it changes a day that does not ask for it.

// FieldFault spoils one field of one device's message, from AtS on, for ForS
// (0: to the end of the day).
type FieldFault struct {
	Device string  `mapstructure:"device"`
	PGN    int     `mapstructure:"pgn"`
	Field  string  `mapstructure:"field"` // as in the table of messages
	Do     string  `mapstructure:"do"`    // offset, scale, stuck, spike, twin, absent or raw
	By     float64 `mapstructure:"by"`    // SI; a factor to scale; the number sent for raw
	EveryS float64 `mapstructure:"every_s"`
	AtS    float64 `mapstructure:"at_s"`
	ForS   float64 `mapstructure:"for_s"`
}

// SameAddress lets a device use another's address, as two do that cannot
// change theirs.
type SameAddress struct {
	Device string `mapstructure:"device"`
	As     string `mapstructure:"as"`
}

// BusLoad adds frames that say nothing.
type BusLoad struct {
	AtS      float64 `mapstructure:"at_s"`
	ForS     float64 `mapstructure:"for_s"`
	FramesHz float64 `mapstructure:"frames_hz"`
}

var fieldFaults = []string{"offset", "scale", "stuck", "spike", "twin", "absent", "raw"}

func (s *Scenario) checkInstallation(c *checker) {
	const day = 24 * 3600
	f := &s.Faults
	for i, ff := range f.Fields {
		path := fmt.Sprintf("faults.fields[%d]", i)
		c.oneOf(path+".device", ff.Device, deviceKeys...)
		c.oneOf(path+".do", ff.Do, fieldFaults...)
		if m := pgn.Lookup(uint32(ff.PGN)); m == nil {
			c.refuse(path+".pgn", "%d is not in the table", ff.PGN)
		} else if m.Field(ff.Field) == nil {
			c.refuse(path+".field", "%q is no field of PGN %d", ff.Field, ff.PGN)
		}
		c.within(path+".at_s", ff.AtS, 0, day)
		c.within(path+".for_s", ff.ForS, 0, day)
		if ff.Do == "spike" {
			c.within(path+".every_s", ff.EveryS, 0.1, day)
		}
	}
	if a := f.SameAddress; a != nil {
		c.oneOf("faults.same_address.device", a.Device, deviceKeys...)
		c.oneOf("faults.same_address.as", a.As, deviceKeys...)
	}
	if b := f.BusLoad; b != nil {
		c.within("faults.bus_load.at_s", b.AtS, 1, day)
		c.within("faults.bus_load.for_s", b.ForS, 1, day)
		c.within("faults.bus_load.frames_hz", b.FramesHz, 1, 1800)
	}
}

func (e *Engines) checkInstances(c *checker) {
	if n := len(e.Instances); n > 0 {
		c.within("engines.instances (their count)", float64(n), float64(len(e.Names)), float64(len(e.Names)))
	}
	for i, n := range e.Instances {
		c.within(fmt.Sprintf("engines.instances[%d]", i), float64(n), 0, 252)
	}
}

// instance is the number that an engine's gateway sends.
func (e *Engines) instance(engine int) int64 {
	if engine < len(e.Instances) {
		return int64(e.Instances[engine])
	}
	return int64(engine)
}

// side is where an engine stands: -1 the most port, 1 the most starboard.
func (s *Scenario) side(engine int) float64 {
	n := len(s.Engines.Names)
	if n == 1 {
		return 0
	}
	return 2*float64(engine)/float64(n-1) - 1
}

// pushed is the rate in rad/s to port at which unequal thrust would turn the
// boat; way on resists it.
func (w *world) pushed() float64 {
	return w.boat.ThrustYaw * w.twist / (1 + math.Abs(w.speed)/2)
}

// unsteered is 1 without way on, when the rudder does nothing, and 0 once the
// helm holds the course against whatever turns the boat.
func (w *world) unsteered() float64 { return 1 - smooth(math.Abs(w.speed)/1.5) }

// misinstall applies what is fixed for the day once the devices are there.
func (d *Day) misinstall() {
	f := &d.scenario.Faults
	if a := f.SameAddress; a != nil {
		d.devices[indexOf(a.Device)].address = d.devices[indexOf(a.As)].address
	}
	for i := range f.Fields {
		ff := &f.Fields[i]
		dev := &d.devices[indexOf(ff.Device)]
		for k := range dev.messages {
			if m := &dev.messages[k]; m.def.PGN == uint32(ff.PGN) {
				m.spoil = append(m.spoil, &spoiler{FieldFault: ff, field: field(m.def, ff.Field), rand: d.faulty()})
			}
		}
	}
}

// faulty is the random stream of the faults, made when there is the first.
func (d *Day) faulty() *rand.Rand {
	if d.faultRand == nil {
		d.faultRand = stream(d.seed, streamFaults)
	}
	return d.faultRand
}

// spoiler is a fault of a field at work.
type spoiler struct {
	*FieldFault
	field *pgn.Field
	rand  *rand.Rand
	held  bool
	other bool    // of two senders it is the other's turn
	raw   int64   // that it is stuck at
	next  float64 // s, time of the next spike
}

// apply spoils a payload that goes out t seconds into the day.
func (s *spoiler) apply(data []byte, t float64) {
	if t < s.AtS || s.ForS > 0 && t >= s.AtS+s.ForS {
		s.held = false
		return
	}
	raw, state := s.field.Raw(data)
	switch s.Do {
	case "absent":
		s.field.Put(data, pgn.Value{V: math.NaN()})
		return
	case "raw":
		s.field.PutRaw(data, int64(s.By))
		return
	}
	if state != pgn.Valid {
		return
	}
	v := s.field.SI(data).V
	switch s.Do {
	case "offset":
		v += s.By
	case "scale":
		v *= s.By
	case "twin": // a second sender with the same address, whose value is off by so much
		if s.other = !s.other; s.other {
			v += s.By
		}
	case "stuck":
		if !s.held {
			s.held, s.raw = true, raw
		}
		s.field.PutRaw(data, s.raw)
		return
	case "spike":
		if t < s.next {
			return
		}
		due := s.next > 0
		s.next = t + s.EveryS*(0.5+s.rand.Float64())
		if !due {
			return
		}
		v += s.By
	}
	if q := s.field.Name; q == "heading" || q == "course" {
		v = wrap(v)
	}
	s.field.Put(data, pgn.Value{V: v})
}

// crowd fills the bus, a tick at a time.
func (d *Day) crowd(due int64) int64 {
	b := d.scenario.Faults.BusLoad
	if due > int64((b.AtS+b.ForS)*1e9) {
		return 0
	}
	n := int(b.FramesHz * float64(due-int64(b.AtS*1e9)) / 1e9)
	for ; d.crowded < n; d.crowded++ {
		w := waiting{ready: due}
		w.ID = pgn.Header{Priority: 7, PGN: 65331, Source: d.devices[deviceDisplay].address, Destination: pgn.Broadcast}.ID()
		w.IsExtended, w.Length = true, 8
		d.bus.send(&w)
	}
	return due + perTick
}
