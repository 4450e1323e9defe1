package journal

import (
	"encoding/binary"
	"errors"
	"math/bits"

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
	clock   clock
	steps   []uint64
	out     []byte
}

// encode returns the payload of 1 to maxFrames frames; it is valid until the
// next call. Frame.Bus is an index into buses.
func (e *encoder) encode(frames []frame.Frame, buses []string) []byte {
	e.collect(frames)
	unit := timeUnit(frames)
	e.clock.measure(e, frames, unit)
	out := binary.AppendUvarint(e.out[:0], uint64(unit))
	out = binary.AppendUvarint(out, uint64(len(buses)))
	for _, name := range buses {
		out = binary.AppendUvarint(out, uint64(len(name)))
		out = append(out, name...)
	}
	out = binary.AppendUvarint(out, uint64(len(e.entries)))
	for i, n := range e.entries {
		out = binary.AppendUvarint(out, uint64(n.bus))
		out = binary.AppendUvarint(out, uint64(n.id))
		out = append(out, n.tag)
		out = binary.AppendUvarint(out, uint64(e.clock.period[i]))
	}
	for _, i := range e.index {
		out = append(out, byte(i))
	}
	if len(e.entries) > 256 {
		for _, i := range e.index {
			out = append(out, byte(i>>8))
		}
	}
	out = e.appendTimes(out, frames, unit)
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

// appendTimes writes the time column.
func (e *encoder) appendTimes(out []byte, frames []frame.Frame, unit int64) []byte {
	e.clock.restart()
	e.steps = e.steps[:0]
	all := uint64(0)
	for i := 1; i < len(frames); i++ {
		step := (frames[i].Time - frames[i-1].Time) / unit
		z := zigzag(step - e.clock.expect(int(e.index[i-1]), int(e.index[i])))
		e.clock.advance(step)
		e.steps = append(e.steps, z)
		all |= z
	}
	planes := (bits.Len64(all) + 7) / 8
	out = append(out, byte(planes))
	for shift := 0; shift < 8*planes; shift += 8 {
		for _, z := range e.steps {
			out = append(out, byte(z>>shift))
		}
	}
	return out
}

func zigzag(v int64) uint64   { return uint64(v<<1) ^ uint64(v>>63) }
func unzigzag(z uint64) int64 { return int64(z>>1) ^ -int64(z&1) }

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
	entries, periods := d.entries(n, len(names))
	index, counts := d.index(n, len(entries))
	planes := d.planes(n - 1)
	if d.bad {
		return dst, nil, errPayload
	}
	cols, total := columns(entries, counts)
	if len(d.in) != total {
		return dst, nil, errPayload
	}
	c := clock{period: periods}
	c.restart()
	t := first
	for i, k := range index {
		if i > 0 {
			step := unzigzag(planes.at(i-1)) + c.expect(int(index[i-1]), int(k))
			c.advance(step)
			t += step * unit
		}
		dst = append(dst, frame.Frame{Time: t})
		f := &dst[len(dst)-1]
		entries[k].apply(f)
		cols[k].take(f, d.in)
	}
	return dst, names, nil
}

// apply sets what an entry says of a frame.
func (e *entry) apply(f *frame.Frame) {
	f.ID, f.Bus, f.Length = e.id, e.bus, e.tag&maskLength
	f.IsExtended, f.IsRemote, f.IsError = e.tag&flagExtended != 0, e.tag&flagRemote != 0, e.tag&flagError != 0
}

// take moves the next bytes of a column into a frame.
func (c *column) take(f *frame.Frame, data []byte) {
	at := c.at
	for k := range c.width {
		c.last[k] += data[at]
		at += c.count
	}
	f.Data = c.last
	c.at++
}

// index reads the entry column, and counts the frames of each entry.
func (d *decoder) index(n, entries int) (index []uint16, counts []int) {
	low, high := d.bytes(n), []byte(nil)
	if entries > 256 {
		high = d.bytes(n)
	}
	if d.bad {
		return nil, nil
	}
	index, counts = make([]uint16, n), make([]int, entries)
	for i := range index {
		index[i] = uint16(low[i])
		if high != nil {
			index[i] |= uint16(high[i]) << 8
		}
		if int(index[i]) >= entries {
			d.bad = true
			return nil, nil
		}
		counts[index[i]]++
	}
	return index, counts
}

// planes are numbers of which first all the lowest bytes are stored, then all
// the next, and so on.
type planes struct {
	b     []byte
	count int
}

func (d *decoder) planes(count int) planes {
	n := int(d.uvarint(8))
	return planes{d.bytes(n * count), count}
}

func (p planes) at(i int) (v uint64) {
	for shift := 0; i < len(p.b); i, shift = i+p.count, shift+8 {
		v |= uint64(p.b[i]) << shift
	}
	return v
}

func (d *decoder) names() []string {
	n := int(d.uvarint(frame.MaxBuses))
	names := make([]string, 0, n)
	for range n {
		names = append(names, string(d.bytes(int(d.uvarint(maxName)))))
	}
	return names
}

func (d *decoder) entries(frames, buses int) (entries []entry, periods []int64) {
	n := int(d.uvarint(uint64(frames)))
	entries, periods = make([]entry, 0, n), make([]int64, 0, n)
	for range n {
		e := entry{bus: uint8(d.uvarint(frame.MaxBuses)), id: uint32(d.uvarint(1<<32 - 1))}
		tag := d.bytes(1)
		period := d.uvarint(maxPeriod)
		if d.bad || int(e.bus) >= buses || tag[0]&0x80 != 0 || tag[0]&maskLength > 8 {
			d.bad = true
			return nil, nil
		}
		e.tag = tag[0]
		entries, periods = append(entries, e), append(periods, int64(period))
	}
	return entries, periods
}
