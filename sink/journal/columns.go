package journal

import (
	"encoding/binary"
	"errors"

	"trialday.example/logd/decode/frame"
)

// This file turns frames into the columns of a block and back. It knows
// nothing of files, sums or compression.

const (
	flagExtended = 0x10
	flagRemote   = 0x20
	flagError    = 0x40
	maskLength   = 0x0f
)

// entry is what a frame has apart from time and data.
type entry struct {
	id  uint32
	bus uint8 // index into the names of the block
	tag uint8 // length and flags
}

// dataLen returns the number of data bytes that are kept of each frame.
func (e entry) dataLen() int {
	if e.tag&flagRemote != 0 {
		return 0
	}
	return int(e.tag & maskLength)
}

func entryOf(f *frame.Frame) entry {
	e := entry{id: f.ID, bus: f.Bus, tag: f.Length}
	if f.IsExtended {
		e.tag |= flagExtended
	}
	if f.IsRemote {
		e.tag |= flagRemote
	}
	if f.IsError {
		e.tag |= flagError
	}
	return e
}

// encoder makes raw payloads. Its buffers are used again for every block.
type encoder struct {
	number  map[entry]uint16
	entries []entry
	counts  []int
	index   []uint16
	out     []byte
}

// encode returns the payload of 1 to maxFrames frames; it is valid until the
// next call. Frame.Bus is an index into buses.
func (e *encoder) encode(frames []frame.Frame, buses []string) []byte {
	e.collect(frames)
	unit := timeUnit(frames)
	out := binary.AppendUvarint(e.out[:0], uint64(unit))
	out = binary.AppendUvarint(out, uint64(len(buses)))
	for _, name := range buses {
		out = binary.AppendUvarint(out, uint64(len(name)))
		out = append(out, name...)
	}
	out = binary.AppendUvarint(out, uint64(len(e.entries)))
	for _, n := range e.entries {
		out = binary.AppendUvarint(out, uint64(n.bus))
		out = binary.AppendUvarint(out, uint64(n.id))
		out = append(out, n.tag)
	}
	for _, i := range e.index {
		out = append(out, byte(i))
	}
	if len(e.entries) > 256 {
		for _, i := range e.index {
			out = append(out, byte(i>>8))
		}
	}
	for i := 1; i < len(frames); i++ {
		out = binary.AppendVarint(out, (frames[i].Time-frames[i-1].Time)/unit)
	}
	e.out = e.appendData(out, frames)
	return e.out
}

// collect numbers the entries in the order of their appearance.
func (e *encoder) collect(frames []frame.Frame) {
	if e.number == nil {
		e.number = make(map[entry]uint16)
	}
	clear(e.number)
	e.entries, e.counts, e.index = e.entries[:0], e.counts[:0], e.index[:0]
	for i := range frames {
		key := entryOf(&frames[i])
		n, ok := e.number[key]
		if !ok {
			n = uint16(len(e.entries))
			e.number[key] = n
			e.entries = append(e.entries, key)
			e.counts = append(e.counts, 0)
		}
		e.counts[n]++
		e.index = append(e.index, n)
	}
}

func timeUnit(frames []frame.Frame) int64 {
	for i := 1; i < len(frames); i++ {
		if (frames[i].Time-frames[i-1].Time)%1000 != 0 {
			return 1
		}
	}
	return 1000
}

func (e *encoder) appendData(out []byte, frames []frame.Frame) []byte {
	cols, total := columns(e.entries, e.counts)
	from := len(out)
	out = append(out, make([]byte, total)...)
	data := out[from:]
	for i := range frames {
		c := &cols[e.index[i]]
		for k, at := 0, c.at; k < c.width; k, at = k+1, at+c.count {
			b := frames[i].Data[k]
			data[at] = b - c.last[k]
			c.last[k] = b
		}
		c.at++
	}
	return out
}

// column says where the next frame of an entry has its bytes: byte k is at
// at + k*count.
type column struct {
	at, width, count int
	last             [8]byte
}

// columns lays out the data columns and returns their total size.
func columns(entries []entry, counts []int) ([]column, int) {
	cols := make([]column, len(entries))
	at := 0
	for i, e := range entries {
		cols[i] = column{at: at, width: e.dataLen(), count: counts[i]}
		at += cols[i].width * counts[i]
	}
	return cols, at
}

var errPayload = errors.New("the content of the block contradicts itself")

// decoder reads a payload from the front. After the first contradiction it is
// bad and yields zeros.
type decoder struct {
	in  []byte
	bad bool
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

func (d *decoder) varint() int64 {
	v, n := binary.Varint(d.in)
	if n <= 0 {
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
func decode(dst []frame.Frame, payload []byte, n int, first int64) ([]frame.Frame, []string, error) {
	d := &decoder{in: payload}
	unit := int64(d.uvarint(1000))
	if unit != 1 && unit != 1000 {
		return dst, nil, errPayload
	}
	names := d.names()
	entries := d.entries(n, len(names))
	low := d.bytes(n)
	var high []byte
	if len(entries) > 256 {
		high = d.bytes(n)
	}
	if d.bad || len(entries) == 0 {
		return dst, nil, errPayload
	}
	counts := make([]int, len(entries))
	for i := range n {
		k := entryIndex(low, high, i)
		if k >= len(entries) {
			return dst, nil, errPayload
		}
		counts[k]++
	}
	cols, total := columns(entries, counts)
	base := len(dst)
	t := first
	for i := range n {
		if i > 0 {
			t += d.varint() * unit
		}
		e := entries[entryIndex(low, high, i)]
		f := frame.Frame{Time: t, Bus: e.bus, IsError: e.tag&flagError != 0}
		f.ID, f.Length = e.id, e.tag&maskLength
		f.IsExtended, f.IsRemote = e.tag&flagExtended != 0, e.tag&flagRemote != 0
		dst = append(dst, f)
	}
	if d.bad || len(d.in) != total {
		return dst[:base], nil, errPayload
	}
	for i := range n {
		c := &cols[entryIndex(low, high, i)]
		data := &dst[base+i].Data
		for k, at := 0, c.at; k < c.width; k, at = k+1, at+c.count {
			c.last[k] += d.in[at]
			data[k] = c.last[k]
		}
		c.at++
	}
	return dst, names, nil
}

func entryIndex(low, high []byte, i int) int {
	if high != nil {
		return int(low[i]) | int(high[i])<<8
	}
	return int(low[i])
}

func (d *decoder) names() []string {
	n := int(d.uvarint(frame.MaxBuses))
	names := make([]string, 0, n)
	for range n {
		names = append(names, string(d.bytes(int(d.uvarint(maxName)))))
	}
	return names
}

func (d *decoder) entries(frames, buses int) []entry {
	n := int(d.uvarint(uint64(frames)))
	entries := make([]entry, 0, n)
	for range n {
		e := entry{bus: uint8(d.uvarint(frame.MaxBuses)), id: uint32(d.uvarint(1<<32 - 1))}
		tag := d.bytes(1)
		if d.bad || int(e.bus) >= buses || tag[0]&0x80 != 0 || tag[0]&maskLength > 8 {
			d.bad = true
			return nil
		}
		e.tag = tag[0]
		entries = append(entries, e)
	}
	return entries
}
