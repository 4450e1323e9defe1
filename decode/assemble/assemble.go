// Package assemble turns frames into messages: one frame a message, or several
// frames joined by the fast-packet protocol or by the transport protocol of
// ISO 11783-3 (broadcast, BAM).
//
// A message of several frames is delivered whole and right or not at all.
// Frames of one message keep their order on a CAN bus, so a number that is
// skipped is a frame that was lost, and the message is given up. Repeated
// frames are recognised by their content.
//
// Invariants: memory is fixed whatever arrives (MaxFast and MaxBAM messages in
// the making, the one longest untouched making room for a new one), and nothing
// is allocated after New.
package assemble

import (
	"encoding/binary"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
)

const (
	// Timeout is the longest pause between two frames of one message:
	// T1 of ISO 11783-3 (750 ms, from memory), used for fast packets too.
	Timeout = 750 * time.Millisecond
	// MaxFast and MaxBAM bound the messages in the making.
	MaxFast = 256
	MaxBAM  = 64
	// MaxBAMLength is 255 packets of 7 bytes (ISO 11783-3).
	MaxBAMLength = 1785
)

// PGNs and control byte of the transport protocol (ISO 11783-3).
const (
	connection = 60416 // TP.CM
	transfer   = 60160 // TP.DT
	announce   = 32    // BAM
)

// Message is one whole message.
type Message struct {
	// First and Time are the capture times of its first and last frame, in
	// nanoseconds since 1970 by the recorder's clock.
	First, Time int64
	Bus         uint8
	Header      pgn.Header
	// Def is the definition of Header.PGN, nil if it is not known.
	Def *pgn.Message
	// Data is valid until the next Add and while the frame is unchanged.
	Data []byte
}

// Assembler joins the frames of all buses. Make it with New.
type Assembler struct {
	// Counts is what was delivered and lost so far.
	Counts Counts

	clock clock
	fast  *table
	bam   *table
	msg   Message
}

// New makes an Assembler.
func New() *Assembler {
	return &Assembler{
		fast: newTable(MaxFast, pgn.MaxFastPacket),
		bam:  newTable(MaxBAM, MaxBAMLength),
	}
}

// Add takes the next frame in the order of reception and returns the message
// that it completes, if any. The message is valid until the next call.
// Error frames, remote frames and frames with 11-bit identifiers carry no
// message and are passed over. A message whose PGN is not known is delivered
// frame by frame, as there is no telling how it is sent.
func (a *Assembler) Add(f *frame.Frame) *Message {
	if f.IsError || f.IsRemote || !f.IsExtended {
		return nil
	}
	now := a.clock.at(f.Time)
	data := f.Data[:min(f.Length, 8)]
	h := pgn.ParseID(f.ID)
	switch h.PGN {
	case connection:
		a.open(now, f, h, data)
		return nil
	case transfer:
		return a.packet(now, f, h, data)
	}
	def := pgn.Lookup(h.PGN)
	if def != nil && def.Fast {
		return a.fastFrame(now, f, h, def, data)
	}
	a.Counts.Single++
	// Field by field; see decode.Decoder.
	m := &a.msg
	m.First, m.Time, m.Bus, m.Header, m.Def, m.Data = f.Time, f.Time, f.Bus, h, def, data
	return m
}

// fastFrame takes one frame of the fast-packet protocol: byte 0 is the sequence
// (3 bits, high) and the frame's number; byte 1 of number 0 the total length.
func (a *Assembler) fastFrame(now int64, f *frame.Frame, h pgn.Header, def *pgn.Message, data []byte) *Message {
	loss := &a.Counts.FastPacket
	if len(data) < 2 {
		loss.Malformed++
		return nil
	}
	number, sequence := data[0]&31, data[0]>>5
	const withoutPriority = 1<<26 - 1
	key := uint64(f.Bus)<<32 | uint64(f.ID&withoutPriority)<<3 | uint64(sequence)
	s := a.fast.take(key, now, loss)
	if number > 0 {
		if !s.add(int(number), data[1:], now, loss) {
			return nil
		}
		a.Counts.Fast++
		return a.deliver(s, f)
	}
	total := int(data[1])
	body := data[2:]
	if total == 0 || total > pgn.MaxFastPacket || len(body) < min(total, 6) {
		s.abandon(loss)
		loss.Malformed++
		return nil
	}
	if !s.begin(total, 6, body, now, loss) {
		return nil
	}
	s.first, s.header, s.def = f.Time, h, def
	if !s.whole() {
		return nil
	}
	s.state = done
	a.Counts.Fast++
	return a.deliver(s, f)
}

// open takes TP.CM. Only broadcasts are followed; a transfer between two
// devices is none of a listener's business and is counted only.
func (a *Assembler) open(now int64, f *frame.Frame, h pgn.Header, data []byte) {
	if h.Destination != pgn.Broadcast {
		a.Counts.Addressed++
		return
	}
	loss := &a.Counts.Transport
	if len(data) < 8 {
		loss.Malformed++
		return
	}
	if data[0] != announce {
		a.Counts.Addressed++
		return
	}
	total := int(binary.LittleEndian.Uint16(data[1:]))
	packets := int(data[3])
	number := uint32(data[5]) | uint32(data[6])<<8 | uint32(data[7])<<16
	s := a.bam.take(bamKey(f.Bus, h.Source), now, loss)
	if total < 9 || total > MaxBAMLength || packets != (total+6)/7 || number >= 1<<18 {
		s.abandon(loss)
		loss.Malformed++
		return
	}
	if s.state == collecting && s.next == 1 && s.total == total && s.header.PGN == number {
		loss.Duplicates++
		return
	}
	s.abandon(loss)
	s.begin(total, 0, nil, now, loss)
	s.first, s.def = f.Time, pgn.Lookup(number)
	s.header = pgn.Header{Priority: h.Priority, PGN: number, Source: h.Source, Destination: pgn.Broadcast}
}

// packet takes TP.DT: byte 0 is the packet's number from 1, then 7 bytes.
func (a *Assembler) packet(now int64, f *frame.Frame, h pgn.Header, data []byte) *Message {
	if h.Destination != pgn.Broadcast {
		a.Counts.Addressed++
		return nil
	}
	loss := &a.Counts.Transport
	if len(data) < 2 || data[0] == 0 {
		loss.Malformed++
		return nil
	}
	s := a.bam.take(bamKey(f.Bus, h.Source), now, loss)
	if !s.add(int(data[0]), data[1:], now, loss) {
		return nil
	}
	a.Counts.BAM++
	return a.deliver(s, f)
}

func bamKey(bus, source uint8) uint64 { return uint64(bus)<<8 | uint64(source) }

func (a *Assembler) deliver(s *slot, f *frame.Frame) *Message {
	a.msg = Message{First: s.first, Time: f.Time, Bus: f.Bus, Header: s.header, Def: s.def, Data: s.data[:s.total]}
	return &a.msg
}

// clock makes of capture times a time that does not run backwards, for
// timeouts only: a backward step of the recorder's clock counts as no time.
type clock struct {
	started    bool
	shift, now int64
}

// disorder is how far frames of two interfaces may be out of order without
// being taken for a step of the clock.
const disorder = int64(100 * time.Millisecond)

func (c *clock) at(t int64) int64 {
	if !c.started {
		c.started, c.shift = true, -t
	}
	m := t + c.shift
	if m < c.now-disorder {
		c.shift += c.now - m
		m = c.now
	}
	c.now = max(c.now, m)
	return c.now
}
