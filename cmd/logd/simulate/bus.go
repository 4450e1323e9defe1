package simulate

import (
	"math/rand/v2"

	"go.einride.tech/can"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
)

// bitTime is that of a 250 kbit/s bus, ns.
const bitTime = 4000

// waiting is a frame that is to go out when the bus is free and the time ready
// has come.
type waiting struct {
	ready   int64 // ns since the start
	order   uint64
	isError bool
	fast    bool
	can.Frame
}

func (a *waiting) before(b *waiting) bool {
	if a.ready != b.ready {
		return a.ready < b.ready
	}
	return a.order < b.order
}

// bus is the cable: one frame after another, first come first served, each for
// as long as its bits take. At the usual load arbitration would change little.
type bus struct {
	rand   *rand.Rand
	number uint8
	queue  []waiting // a binary heap, the first to go at its root
	order  uint64
	free   int64 // ns, end of the last frame
	heard  int64 // ns, last time of reception
	loss   float64
	lost   int
	wrong  int
}

// send queues one frame.
func (b *bus) send(w *waiting) {
	b.order++
	w.order = b.order
	b.queue = append(b.queue, *w)
	b.up(len(b.queue) - 1)
}

func (b *bus) up(i int) {
	q := b.queue
	for i > 0 {
		parent := (i - 1) / 2
		if !q[i].before(&q[parent]) {
			return
		}
		q[i], q[parent] = q[parent], q[i]
		i = parent
	}
}

func (b *bus) down(i int) {
	q := b.queue
	for {
		child := 2*i + 1
		if child >= len(q) {
			return
		}
		if child+1 < len(q) && q[child+1].before(&q[child]) {
			child++
		}
		if !q[child].before(&q[i]) {
			return
		}
		q[i], q[child] = q[child], q[i]
		i = child
	}
}

// pass puts the next frame that is ready by the given time on the bus and
// stores it as heard, with its time in ns since the start. It reports false if
// there is none.
func (b *bus) pass(until int64, f *frame.Frame) bool {
	for len(b.queue) > 0 && b.queue[0].ready <= until {
		w := b.queue[0]
		last := len(b.queue) - 1
		b.queue[0] = b.queue[last]
		b.queue = b.queue[:last]
		b.down(0)
		b.occupy(&w)
		if w.fast && b.loss > 0 && b.rand.Float64() < b.loss {
			b.lost++
			continue
		}
		if w.isError {
			b.wrong++
		}
		f.Time, f.Bus, f.IsError, f.Frame = b.heard, b.number, w.isError, w.Frame
		return true
	}
	return false
}

// occupy takes the bus for one frame; the recorder hears it at its end or a
// little later.
func (b *bus) occupy(w *waiting) {
	bits := int64(47)
	if w.IsExtended {
		bits = 67
	}
	dice := b.rand.Uint64()
	bits += 8*int64(w.Length) + int64(dice&15) // stuffing
	b.free = max(b.free, w.ready) + bits*bitTime
	b.heard = max(b.heard+1000, b.free+int64(dice>>4&0xFFFF))
}

// move gives the frames still waiting from one source another address, after a
// time.
func (b *bus) move(from, to uint8, after int64) {
	for i := range b.queue {
		w := &b.queue[i]
		if w.IsExtended && !w.isError && uint8(w.ID) == from && w.ready >= after {
			w.ID = w.ID&^0xFF | uint32(to)
			w.ready += 3e6
		}
	}
	for i := len(b.queue)/2 - 1; i >= 0; i-- {
		b.down(i)
	}
}

// packet sends a message's payload from an address: in one frame, or in
// several of the fast-packet protocol.
func (b *bus) packet(m *pgn.Message, source, destination, sequence uint8, payload []byte, ready int64) {
	w := waiting{ready: ready, fast: m.Fast}
	w.ID = pgn.Header{Priority: m.Priority, PGN: m.PGN, Source: source, Destination: destination}.ID()
	w.IsExtended, w.Length = true, 8
	if !m.Fast {
		w.Length = uint8(copy(w.Data[:], payload))
		b.send(&w)
		return
	}
	// A payload of the table is never too long.
	_ = pgn.FastPackets(sequence, payload, func(data [8]byte) {
		w.Data = data
		b.send(&w)
		w.ready += 700_000
	})
}
