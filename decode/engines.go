package decode

import (
	"time"

	"trialday.example/logd/decode/choose"
	"trialday.example/logd/decode/device"
)

// MaxEngines is the number of engine positions.
const MaxEngines = 8

const (
	// silent is how long the device of an engine says nothing before another
	// with its instance can replace it: ten periods of 127488 (10 Hz, common
	// practice, no source).
	silent = int64(time.Second)
	// together is how long two devices must both send an instance to be two
	// engines, and not one device that has changed its address.
	together = int64(500 * time.Millisecond)
	// maxInstance is the last value of the instance that is a number.
	maxInstance = 252
)

// Engine is one configured engine position.
type Engine struct {
	// Instance that its messages carry.
	Instance int
	// Source names the device that sends them, where two engines have one
	// instance: NAME in hexadecimal, model, or interface/address. Empty: any.
	Source string
	// Bus and Address name the one that sends on the engines' own bus by its
	// interface and source address; "" and nil: any. Neither: none is named.
	Bus     string
	Address *int
}

// engines finds the position that a message of an engine is of, 0 being the
// most port.
//
// The position belongs to a device and the instance that it sends in 127488.
// It is the configured one; without configuration it is the instance. If a
// second device sends an instance at the same time, that is another engine
// wrongly set up, and gets the lowest free position. Messages other than
// 127488 go to the position of their device and instance, else to that of
// their instance, as gearboxes and flow meters can be devices of their own.
type engines struct {
	listed  []Engine
	devices *device.Registry
	matches func(source uint16, text string) bool
	tell    func(Event)

	places  [MaxEngines]place
	rivals  []rival
	changes int64 // of the device registry, that places agree with
	bus     *engineBus
}

// place is an engine position and who speaks for it.
type place struct {
	taken  bool
	loose  bool // taken for want of a better match with the configuration
	source uint16
	sent   uint8
	last   int64 // trial time of its last 127488
}

// rival is a device that sends an instance which another device speaks for.
type rival struct {
	source      uint16
	sent        uint8
	since, last int64
}

// find is the position of a message; false if it has none or none yet.
func (e *engines) find(pgn uint32, source uint16, sent uint8, at int64) (int, bool) {
	if sent > maxInstance {
		return 0, false
	}
	if e.changes != e.devices.Changes {
		e.changes = e.devices.Changes
		e.reconsider()
	}
	for i := range e.places {
		if p := &e.places[i]; p.taken && p.source == source && p.sent == sent {
			if pgn == engineRapid {
				p.last = at
			}
			return i, true
		}
	}
	if pgn != engineRapid {
		return e.byInstance(source, sent, at)
	}
	return e.settle(source, sent, at)
}

// byInstance is the position of a message of a device that speaks for none.
func (e *engines) byInstance(source uint16, sent uint8, at int64) (int, bool) {
	for _, r := range e.rivals {
		if r.source == source && r.sent == sent && at-r.last <= silent {
			return 0, false
		}
	}
	for i := range e.places {
		if p := &e.places[i]; p.taken && p.sent == sent {
			return i, true
		}
	}
	i, _ := e.wanted(source, sent)
	return i, i >= 0
}

// wanted is the position that the configuration gives, -1 for none; sure says
// that it names the device.
func (e *engines) wanted(source uint16, sent uint8) (index int, sure bool) {
	if len(e.listed) == 0 {
		if sent < MaxEngines {
			return int(sent), false
		}
		return -1, false
	}
	index = -1
	for i, l := range e.listed[:min(len(e.listed), MaxEngines)] {
		if l.Instance != int(sent) {
			continue
		}
		if l.Source != "" && e.matches(source, l.Source) {
			return i, true
		}
		if index < 0 && l.Source == "" {
			index = i
		}
	}
	return index, false
}

// settle finds a position for a device that sends 127488 and has none.
func (e *engines) settle(source uint16, sent uint8, at int64) (int, bool) {
	i, sure := e.wanted(source, sent)
	if i < 0 {
		return e.unlisted(source, sent, at)
	}
	p := &e.places[i]
	switch {
	case !p.taken:
		e.take(i, source, sent, at, Event{Kind: EngineFound, From: choose.None})
	case p.loose, sure && !e.named(p):
		e.replace(i, source, sent, at, choose.Preferred)
	case p.sent != sent:
		return e.free(0, source, sent, at, Event{Kind: EngineShared, From: p.source})
	case at-p.last > silent:
		e.replace(i, source, sent, at, choose.Failover)
	default:
		r := e.rival(source, sent, at)
		if p.last-r.since < together {
			return 0, false
		}
		return e.free(0, source, sent, at, Event{Kind: EngineShared, From: p.source})
	}
	return i, true
}

// named reports whether the configuration names the device of a place.
func (e *engines) named(p *place) bool {
	_, sure := e.wanted(p.source, p.sent)
	return sure
}

// unlisted finds a position for an instance that is not configured: that of
// the only engine, else one after all that are configured.
func (e *engines) unlisted(source uint16, sent uint8, at int64) (int, bool) {
	told := Event{Kind: EngineUnlisted, From: choose.None}
	if len(e.listed) == 1 && !e.places[0].taken && e.listed[0].Source == "" {
		e.take(0, source, sent, at, told)
		e.places[0].loose = true
		return 0, true
	}
	return e.free(len(e.listed), source, sent, at, told)
}

// free gives the lowest free position from a given one on.
func (e *engines) free(from int, source uint16, sent uint8, at int64, told Event) (int, bool) {
	for i := from; i < MaxEngines; i++ {
		if !e.places[i].taken && !e.bus.holds(i) {
			e.take(i, source, sent, at, told)
			return i, true
		}
	}
	return 0, false
}

func (e *engines) take(i int, source uint16, sent uint8, at int64, told Event) {
	e.places[i] = place{taken: true, source: source, sent: sent, last: at}
	e.forget(source, sent)
	told.Time, told.Group, told.Instance, told.Sent, told.To = at, choose.EngineSpeed, uint8(i), sent, source
	e.tell(told)
}

func (e *engines) replace(i int, source uint16, sent uint8, at int64, why choose.Why) {
	e.take(i, source, sent, at, Event{Kind: SourceChange, From: e.places[i].source, Why: why})
}

// rival notes that a device sends an instance that another speaks for. Few are
// kept, and none that has fallen silent.
func (e *engines) rival(source uint16, sent uint8, at int64) *rival {
	oldest := 0
	for i := range e.rivals {
		r := &e.rivals[i]
		if r.source == source && r.sent == sent {
			if at-r.last > silent {
				r.since = at
			}
			r.last = at
			return r
		}
		if r.last < e.rivals[oldest].last {
			oldest = i
		}
	}
	r := rival{source, sent, at, at}
	if len(e.rivals) < MaxEngines {
		e.rivals = append(e.rivals, r)
		return &e.rivals[len(e.rivals)-1]
	}
	e.rivals[oldest] = r
	return &e.rivals[oldest]
}

func (e *engines) forget(source uint16, sent uint8) {
	for i, r := range e.rivals {
		if r.source == source && r.sent == sent {
			e.rivals = append(e.rivals[:i], e.rivals[i+1:]...)
			return
		}
	}
}

// reconsider frees the positions of devices of which it has become known that
// the configuration names them for another.
func (e *engines) reconsider() {
	for i := range e.places {
		p := &e.places[i]
		if !p.taken {
			continue
		}
		if want, sure := e.wanted(p.source, p.sent); sure && want != i {
			*p = place{}
		}
	}
}
