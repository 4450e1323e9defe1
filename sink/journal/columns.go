package journal

import (
	"encoding/binary"
	"errors"
	"slices"

	"trialday.example/logd/decode/frame"
)

// This file turns frames into the payload of a block and back. It knows
// nothing of files, sums or compression.

// encoder makes raw payloads. Its buffers are used again for every block.
type encoder struct {
	division
	sorter
	times    []int64 // by place
	received []uint16
	late     []uint64
	scratch  []int64
	out      []byte
	cuts     []int
}

// encode returns the payload of 1 to maxFrames frames; it is valid until the
// next call. Frame.Bus is an index into buses.
func (e *encoder) encode(frames []frame.Frame, buses []string) []byte {
	e.divide(frames)
	unit := timeUnit(frames)
	e.time(frames, unit)
	e.out, e.cuts = e.out[:0], e.cuts[:0]
	out := binary.AppendUvarint(e.out, uint64(unit))
	out = binary.AppendUvarint(out, uint64(len(buses)))
	for _, name := range buses {
		out = binary.AppendUvarint(out, uint64(len(name)))
		out = append(out, name...)
	}
	out = binary.AppendUvarint(out, uint64(len(e.streams)))
	from := 0
	for i := range e.streams {
		s := &e.streams[i]
		s.examine(frames, e.members[from:from+s.count])
		s.first, s.period = e.times[from], period(e.times[from:from+s.count], e.scratch)
		out = s.append(out)
		from += s.count
	}
	out = appendOrder(out, e.sort(e.times), e.times, e.received)
	e.cut(len(out))
	out = e.appendTimes(out)
	out = e.appendData(out, frames)
	e.out = out
	return out
}

// cut notes a place where what follows looks different from what is before.
func (e *encoder) cut(at int) { e.cuts = append(e.cuts, at) }

// time lists the times by place, and the place of each frame.
func (e *encoder) time(frames []frame.Frame, unit int64) {
	n := len(frames)
	e.times, e.received = slices.Grow(e.times[:0], n)[:n], slices.Grow(e.received[:0], n)[:n]
	e.scratch = slices.Grow(e.scratch[:0], n)
	for place, i := range e.members {
		e.times[place] = (frames[i].Time - frames[0].Time) / unit
		e.received[i] = uint16(place)
	}
}

// examine takes the first data of a stream, and which bytes of it vary.
func (s *stream) examine(frames []frame.Frame, members []uint16) {
	s.data, s.varies = frames[members[0]].Data, 0
	for _, i := range members {
		for k := range s.dataLen() {
			if frames[i].Data[k] != s.data[k] {
				s.varies |= 1 << k
			}
		}
	}
}

func (s *stream) append(out []byte) []byte {
	out = binary.AppendUvarint(out, uint64(s.bus))
	out = binary.AppendUvarint(out, uint64(s.id))
	out = append(out, s.tag)
	out = binary.AppendUvarint(out, uint64(s.count))
	out = binary.AppendUvarint(out, zigzag(s.first))
	out = append(out, s.data[:s.dataLen()]...)
	if s.count > 1 {
		out = binary.AppendUvarint(out, uint64(s.period))
		out = append(out, s.varies)
	}
	return out
}

// appendTimes writes how late the frames of each stream are.
func (e *encoder) appendTimes(out []byte) []byte {
	e.late = e.late[:0]
	place := 0
	for i := range e.streams {
		s := &e.streams[i]
		b := s.beat()
		for _, t := range e.times[place+1 : place+s.count] {
			e.late = append(e.late, zigzag(t-b.expected))
			b.take(t)
		}
		place += s.count
	}
	from := len(out) + 1
	out = appendPlanes(out, e.late)
	for at := from; at < len(out); at += len(e.late) {
		e.cut(at)
	}
	e.cut(len(out))
	return out
}

func (e *encoder) appendData(out []byte, frames []frame.Frame) []byte {
	place := 0
	for i := range e.streams {
		s := &e.streams[i]
		for k := range 8 {
			if s.varies&(1<<k) == 0 {
				continue
			}
			last := s.data[k]
			for _, i := range e.members[place+1 : place+s.count] {
				b := frames[i].Data[k]
				out = append(out, b-last)
				last = b
			}
			e.cut(len(out))
		}
		place += s.count
	}
	return out
}

var errPayload = errors.New("the content of the block contradicts itself")

// decoder reads payloads from the front. After the first contradiction it is
// bad and yields zeros. Its buffers are used again for every block.
type decoder struct {
	in  []byte
	bad bool

	sorter
	streams []stream
	times   []int64
	rank    []uint16
}

func (d *decoder) uvarint(limit uint64) uint64 {
	v, n := binary.Uvarint(d.in)
	if n <= 0 || v > limit {
		d.bad, d.in = true, nil
		return 0
	}
	d.in = d.in[n:]
	return v
}

func (d *decoder) bytes(n int) []byte {
	if n > len(d.in) {
		d.bad, d.in = true, nil
		return nil
	}
	b := d.in[:n]
	d.in = d.in[n:]
	return b
}

// decode appends the n frames of a payload to dst. Frame.Bus is an index into
// the names it returns.
func (d *decoder) decode(dst []frame.Frame, payload []byte, n int, first int64) ([]frame.Frame, []string, error) {
	d.in, d.bad = payload, false
	unit := int64(d.uvarint(1000))
	if unit != 1 && unit != 1000 {
		return dst, nil, errPayload
	}
	names := d.names()
	d.stream(n, len(names))
	moves := d.in
	d.skipOrder(n)
	d.time(n)
	if d.bad {
		return dst, nil, errPayload
	}
	data := d.in
	list := d.sort(d.times)
	d.in = moves
	d.order(list)
	if d.in = data; d.bad {
		return dst, nil, errPayload
	}
	d.rank = slices.Grow(d.rank[:0], n)[:n]
	for i := range list {
		d.rank[list[i].place] = uint16(i)
	}
	at := len(dst)
	dst = slices.Grow(dst, n)[:at+n]
	d.fill(dst[at:], first, unit)
	bad := d.bad || len(d.in) > 0
	if d.in = nil; bad {
		return dst[:at], nil, errPayload
	}
	return dst, names, nil
}

// fill puts the frames of each stream where they belong. The eight data bytes are
// added as one word: written one by one and copied together they hold up the
// processor (4 % of a long day's replay).
func (d *decoder) fill(dst []frame.Frame, first, unit int64) {
	place := 0
	for i := range d.streams {
		s := &d.streams[i]
		f := s.frame()
		f.Data = s.data
		f.Time = first + s.first*unit
		dst[d.rank[place]] = f
		var cols [8][]byte
		var shift [8]int
		n := 0
		for k := range 8 {
			if s.varies&(1<<k) != 0 {
				cols[n], shift[n] = d.bytes(s.count-1), 8*k
				n++
			}
		}
		if d.bad {
			return
		}
		data := binary.LittleEndian.Uint64(f.Data[:])
		for j := 1; j < s.count; j++ {
			var more uint64
			for c, k := range shift[:n] {
				more |= uint64(cols[c][j-1]) << k
			}
			data = addBytes(data, more)
			p := &dst[d.rank[place+j]]
			*p = f
			binary.LittleEndian.PutUint64(p.Data[:], data)
			p.Time = first + d.times[place+j]*unit
		}
		place += s.count
	}
}

// addBytes adds each byte of b to that of a, modulo 256.
func addBytes(a, b uint64) uint64 {
	const low7 = 0x7F7F_7F7F_7F7F_7F7F
	return (a&low7 + b&low7) ^ (a^b)&^low7
}

func (d *decoder) skipOrder(n int) {
	for range d.uvarint(uint64(n)) {
		d.uvarint(uint64(n))
		d.uvarint(uint64(n))
	}
}

// time reads the times of all places.
func (d *decoder) time(n int) {
	count := n - len(d.streams)
	if d.bad {
		return
	}
	late := planes{d.bytes(int(d.uvarint(8)) * count), count}
	if d.bad {
		return
	}
	d.times = slices.Grow(d.times[:0], n)
	at := 0
	for i := range d.streams {
		s := &d.streams[i]
		b := s.beat()
		d.times = append(d.times, s.first)
		for range s.count - 1 {
			t := b.expected + unzigzag(late.at(at))
			d.times = append(d.times, t)
			b.take(t)
			at++
		}
	}
}

func (d *decoder) names() []string {
	n := int(d.uvarint(frame.MaxBuses))
	names := make([]string, 0, n)
	for range n {
		names = append(names, string(d.bytes(int(d.uvarint(maxName)))))
	}
	return names
}

// stream reads the list of streams, which have n frames together.
func (d *decoder) stream(n, buses int) {
	d.streams = d.streams[:0]
	for range d.uvarint(uint64(n)) {
		s := stream{kind: kind{bus: uint8(d.uvarint(frame.MaxBuses)), id: uint32(d.uvarint(1<<32 - 1))}}
		if tag := d.bytes(1); !d.bad {
			s.tag = tag[0]
		}
		if int(s.bus) >= buses || s.tag&0x80 != 0 || s.tag&maskLength > 8 {
			d.bad = true
		}
		s.count, s.first = int(d.uvarint(uint64(n))), unzigzag(d.uvarint(1<<64-1))
		copy(s.data[:], d.bytes(s.dataLen()))
		if s.count > 1 {
			s.period = int64(d.uvarint(maxPeriod))
			if varies := d.bytes(1); !d.bad {
				s.varies = varies[0]
			}
		}
		if n -= s.count; n < 0 || s.count < 1 || int(s.varies)>>s.dataLen() != 0 {
			d.bad = true
		}
		if d.bad {
			return
		}
		d.streams = append(d.streams, s)
	}
	d.bad = d.bad || n != 0
}
