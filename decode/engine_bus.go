package decode

import (
	"math"
	"slices"
	"time"

	"trialday.example/logd/decode/choose"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const (
	// gather is how long engines on their own bus are waited for before they
	// are put in order, and how long the backbone's engines count after they
	// were last heard.
	gather = int64(10 * time.Second)
	// fresh is the age up to which an engine's speed is compared: two periods
	// of 61444 at idle (100 ms, from memory).
	fresh = int64(200 * time.Millisecond)
	// compared and undecided, s of running: what it takes to say that speeds
	// agree, or agree with none, and how long that is tried.
	compared, undecided = 30, 600
	// agree and apart, 1/s: mean differences between the two buses' speeds of
	// one engine (steps and delay make less than that) and of two engines
	// that nobody keeps alike.
	agree, apart = 10.0 / 60, 25.0 / 60
	// furthest, 1/s, bounds a difference, so that a shift of the throttle does
	// not outweigh minutes.
	furthest = 100.0 / 60
	// clearly is how much further off the next best must be, and floor, 1/s,
	// at least: the steps of 127488 are 0.25/min.
	clearly, floor = 2, 0.5 / 60
)

var busSpeed = pgn.Lookup(controller1).Field("speed")

// engineBus finds the engines that are heard on a bus of their own (SAE J1939),
// where the source address tells one from another, among the positions of
// engines. An engine heard on both buses is one engine.
//
// The position is, in this order:
//
//   - that of the configured engine that names the sender;
//   - where the backbone sends engine speeds too, that of the engine whose speed
//     agrees: over 30 s or more in which either turns, the mean difference is at
//     most 10/min, and half or less of that to every other engine and of every
//     other sender to this one. One that differs by 25/min or more from all is
//     an engine of its own. If ten minutes do not tell, those not told apart
//     take each other's place in order of address and position;
//   - where the backbone is not heard, by order of bus and address, among those
//     heard in the first 10 s; a later one comes after them. Should the
//     backbone's speeds then agree otherwise, that holds from there on.
//
// A message whose sender gives no engine speed (a gearbox, say) is of the only
// engine on its bus, and of none if there are several.
type engineBus struct {
	engines *engines
	twins   *choose.Twins
	name    func(source uint16) string

	senders []sender
	held    [MaxEngines]bool // positions that senders have
	first   int64            // when the first was heard
	judged  int64
	changes int64 // of the device registry, that names agree with
}

// sender is an engine on its own bus.
type sender struct {
	source uint16
	place  int // -1 for none yet
	why    choose.Why
	spoke  int64   // time of its last speed
	speed  float64 // 1/s
	near   [MaxEngines]nearness
}

// nearness is how far a sender's speed is from that of a backbone's engine.
type nearness struct {
	n, seconds int
	second     int64
	sum        float64
}

// mean is 0 of nothing.
func (n *nearness) mean() float64 { return n.sum / float64(max(n.n, 1)) }

func (s *sender) sure() bool { return s.why == choose.Configured || s.why == choose.SameRPM }

func (b *engineBus) heard() bool { return len(b.senders) > 0 }

// holds reports whether a position has an engine on its own bus.
func (b *engineBus) holds(i int) bool { return b.held[i] }

// find is the position of a message; false if it has none or none yet.
func (b *engineBus) find(m *message) (int, bool) {
	at := m.at
	s := b.sender(m.source)
	if s == nil {
		if m.def.PGN != controller1 {
			return b.alone(m.source)
		}
		if s = b.add(m.source, at); s == nil {
			return 0, false
		}
	}
	if m.def.PGN == controller1 {
		if v := busSpeed.SI(m.data); v.State == pgn.Valid {
			s.speed, s.spoke = v.V, at
		}
	}
	if b.changes != b.engines.devices.Changes {
		b.changes = b.engines.devices.Changes
		b.configured(at)
	}
	if s.place < 0 && at-b.first >= gather && !b.backbone(at) {
		b.order(at)
	}
	return s.place, s.place >= 0
}

func (b *engineBus) sender(source uint16) *sender {
	for i := range b.senders {
		if b.senders[i].source == source {
			return &b.senders[i]
		}
	}
	return nil
}

func (b *engineBus) add(source uint16, at int64) *sender {
	if len(b.senders) == MaxEngines {
		return nil
	}
	if len(b.senders) == 0 {
		b.first = at
	}
	b.senders = append(b.senders, sender{source: source, place: -1, spoke: math.MinInt64 / 2})
	b.changes = -1 // ask the configuration
	return &b.senders[len(b.senders)-1]
}

// alone is the position of the only engine on a sender's bus.
func (b *engineBus) alone(source uint16) (int, bool) {
	list := b.engines.devices.Devices()
	place := -1
	for _, s := range b.senders {
		if list[s.source].Bus != list[source].Bus {
			continue
		}
		if place >= 0 || s.place < 0 {
			return 0, false
		}
		place = s.place
	}
	return place, place >= 0
}

// spoken reports whether the backbone gives a position's engine.
func (b *engineBus) spoken(i int, at int64) bool {
	p := &b.engines.places[i]
	return p.taken && at-p.last <= gather
}

// backbone reports whether it gives any engine.
func (b *engineBus) backbone(at int64) bool {
	for i := range MaxEngines {
		if b.spoken(i, at) {
			return true
		}
	}
	return false
}

// configured gives senders the positions of the engines that name them.
func (b *engineBus) configured(at int64) {
	for i := range b.senders {
		s := &b.senders[i]
		for k, l := range b.engines.listed[:min(len(b.engines.listed), MaxEngines)] {
			if b.names(&l, s.source) {
				b.put(s, k, choose.Configured, at)
				break
			}
		}
	}
}

// names reports whether a configured engine names the sender.
func (b *engineBus) names(l *Engine, source uint16) bool {
	if l.Source != "" && b.engines.matches(source, l.Source) {
		return true
	}
	if !l.onBus() || l.Bus != "" && l.Bus != b.name(source) {
		return false
	}
	return l.Address == nil || *l.Address == int(b.engines.devices.Devices()[source].Address())
}

func (l *Engine) onBus() bool { return l.Bus != "" || l.Address != nil }

// put gives a sender a position. Who had it looks for another.
func (b *engineBus) put(s *sender, i int, why choose.Why, at int64) {
	if s.place == i && s.why == why {
		return
	}
	if s.place != i {
		for k := range b.senders {
			if b.senders[k].place == i {
				b.leave(&b.senders[k])
			}
		}
		b.leave(s)
		b.held[i] = true
		if b.spoken(i, at) {
			b.twins.Begin(uint8(i), at)
		}
	}
	s.place, s.why = i, why
	b.engines.tell(Event{Kind: EngineBus, Time: at, Group: choose.EngineSpeed, Instance: uint8(i),
		Sent: b.engines.devices.Devices()[s.source].Address(), From: choose.None, To: s.source, Why: why})
}

// leave takes a sender's position from it.
func (b *engineBus) leave(s *sender) {
	if s.place >= 0 {
		b.held[s.place] = false
		b.twins.Forget(uint8(s.place))
	}
	s.place, s.why = -1, choose.OnlySource
}

// pending lists the senders without a position by bus and address.
func (b *engineBus) pending() []*sender {
	var list []*sender
	for i := range b.senders {
		if b.senders[i].place < 0 {
			list = append(list, &b.senders[i])
		}
	}
	devices := b.engines.devices.Devices()
	slices.SortFunc(list, func(x, y *sender) int {
		p, q := devices[x.source], devices[y.source]
		return (int(p.Bus)-int(q.Bus))<<8 + int(p.Address()) - int(q.Address())
	})
	return list
}

// order gives the senders that wait the lowest positions that the backbone's
// engines have without a sender, then the lowest of all.
func (b *engineBus) order(at int64) {
	for _, s := range b.pending() {
		i := b.lowest(func(i int) bool { return b.engines.places[i].taken })
		if i < 0 {
			i = b.lowest(func(int) bool { return true })
		}
		if i >= 0 {
			b.put(s, i, choose.AddressOrder, at)
		}
	}
}

// own gives a sender the lowest position that no engine has.
func (b *engineBus) own(s *sender, at int64) {
	if i := b.lowest(func(i int) bool { return !b.engines.places[i].taken }); i >= 0 {
		b.put(s, i, choose.OtherRPM, at)
	}
}

// lowest is the lowest position without a sender that the configuration keeps
// for none and that will do; -1 for none.
func (b *engineBus) lowest(do func(i int) bool) int {
	listed := b.engines.listed
	for i := range MaxEngines {
		if !b.held[i] && !(i < len(listed) && listed[i].onBus()) && do(i) {
			return i
		}
	}
	return -1
}

// use takes a sample of an engine's own bus.
func (b *engineBus) use(s *sample.Sample, m *pgn.Message) bool {
	if s.Quantity == pgn.Gear {
		s.Value = min(max(s.Value, 0), 2) // higher gears are forward and reverse
	}
	return b.twins.Use(s, choose.EngineBus, m)
}

// compare takes an engine speed of the backbone.
func (b *engineBus) compare(s *sample.Sample) {
	if s.State != pgn.Valid {
		return
	}
	for i := range b.senders {
		from := &b.senders[i]
		if from.sure() || s.Time-from.spoke > fresh || s.Value == 0 && from.speed == 0 {
			continue
		}
		n := &from.near[s.Instance]
		n.n++
		n.sum += min(math.Abs(s.Value-from.speed), furthest)
		if second := s.Time / int64(time.Second); second != n.second || n.seconds == 0 {
			n.second = second
			n.seconds++
		}
	}
	if s.Time-b.judged >= int64(time.Second) {
		b.judged = s.Time
		b.judge()
	}
}

// judge gives positions to the senders of which it can be told now.
func (b *engineBus) judge() {
	at := b.judged
	tired := false
	for i := range b.senders {
		s := &b.senders[i]
		if s.sure() {
			continue
		}
		best, seconds := b.nearest(s)
		waits := s.place < 0
		switch {
		case best < 0:
			if waits && at-b.first >= gather {
				b.own(s, at)
			}
		case seconds < compared:
		case b.alike(s, best):
			b.put(s, best, choose.SameRPM, at)
		case waits && s.near[best].mean() >= apart:
			b.own(s, at)
		case waits && seconds >= undecided:
			tired = true
		}
	}
	if tired {
		b.order(at)
	}
}

// open reports whether a position is that of an engine heard on the backbone,
// and no sender surely has it.
func (b *engineBus) open(i int) bool {
	return b.spoken(i, b.judged) &&
		!slices.ContainsFunc(b.senders, func(s sender) bool { return s.place == i && s.sure() })
}

// nearest is the open position to which a sender is nearest, -1 if none is open,
// and the least time, s, that it was compared with any.
func (b *engineBus) nearest(s *sender) (best, seconds int) {
	best, seconds = -1, math.MaxInt
	for i := range s.near {
		if !b.open(i) {
			continue
		}
		if best < 0 || s.near[i].mean() < s.near[best].mean() {
			best = i
		}
		seconds = min(seconds, s.near[i].seconds)
	}
	return best, seconds
}

// alike reports whether a sender's speed is that of a position's engine, clearly
// more so than that of another engine is, and than another sender's.
func (b *engineBus) alike(s *sender, best int) bool {
	mean := s.near[best].mean()
	limit := clearly*mean + floor
	if mean > agree {
		return false
	}
	for i := range s.near {
		if i != best && b.open(i) && s.near[i].mean() < limit {
			return false
		}
	}
	for i := range b.senders {
		o := &b.senders[i]
		if n := &o.near[best]; o.source != s.source && !o.sure() && n.n > 0 && n.mean() < limit {
			return false
		}
	}
	return true
}
