package timeline

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"os"

	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/calc"
)

// A file is a head and a body. Numbers are little-endian.
//
//	8 bytes  magic
//	4 bytes  version
//	4 bytes  CRC-32C (Castagnoli; RFC 3720, appendix B.4) of what follows
//	n bytes  the body, compressed by Zstandard (RFC 8878)
//
// The body is
//
//	start (trial time, ns), seconds, base level
//	engines: count, then each as length and text
//	dates: count, then each as second and UTC in ns
//	places: as latitudes, then longitudes, one for each cell of the base level
//	columns: count, then each as channel, engine and its cells
//
// where a count, a time or a number is 8 bytes, and cells of seconds are 4-byte
// floats, NaN for none; those of longer cells are least, greatest, mean, and
// the seconds that have a value. The levels above are not kept: they are made
// again in the time that reading them would take.
const (
	magic   = "trialtln"
	version = 1
	headLen = 16
	// maxBody bounds what is unpacked: 32 columns of maxCells and a bit.
	maxBody = 64 << 20
	// unpacks is how many times as long as a file its body may be without more room
	// being made for it; usual is five times.
	unpacks = 6
	// maxSeconds, maxBase, maxColumns, maxEngines and maxName bound what a file
	// may tell; the first is eight years.
	maxSeconds = 1 << 28
	maxBase    = 12
	maxColumns = 64
	maxEngines = 64
	maxName    = 1 << 10
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Write writes the file. The body is packed as it is made: of a day of 33 h it has
// 15 MB.
func (t *Timeline) Write(w io.Writer) error {
	t.mu.RLock()
	defer t.mu.RUnlock()
	head := append(make([]byte, 0, headLen), magic...)
	head = binary.LittleEndian.AppendUint32(head, version)
	file := bytes.NewBuffer(append(head, 0, 0, 0, 0))
	enc, err := zstd.NewWriter(file, zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<20), zstd.WithLowerEncoderMem(true))
	if err != nil {
		return err
	}
	b := body{bufio.NewWriter(enc)}
	b.timeline(t)
	if err := errors.Join(b.Flush(), enc.Close()); err != nil {
		return err
	}
	binary.LittleEndian.PutUint32(file.Bytes()[headLen-4:], crc32.Checksum(file.Bytes()[headLen:], castagnoli))
	_, err = w.Write(file.Bytes())
	return err
}

// body is written piece by piece; its first error is that of Flush.
type body struct{ *bufio.Writer }

func (b body) timeline(t *Timeline) {
	b.number(t.start)
	b.number(int64(t.seconds))
	b.number(int64(t.base))
	b.number(int64(len(t.engines)))
	for _, name := range t.engines {
		b.number(int64(len(name)))
		b.WriteString(name)
	}
	b.number(int64(len(t.dates)))
	for _, d := range t.dates {
		b.number(int64(d.second))
		b.number(d.utc)
	}
	for _, p := range t.places {
		b.word(uint32(p.lat))
	}
	for _, p := range t.places {
		b.word(uint32(p.lon))
	}
	b.number(int64(len(t.columns)))
	for _, c := range t.columns {
		b.number(int64(c.channel))
		b.number(int64(c.engine))
		for i := range c.parts {
			b.series(&c.parts[i], len(t.places), channels[c.channel].quantum)
		}
	}
}

func (b body) number(v int64) {
	b.Write(binary.LittleEndian.AppendUint64(b.AvailableBuffer(), uint64(v)))
}

func (b body) word(v uint32) { b.Write(binary.LittleEndian.AppendUint32(b.AvailableBuffer(), v)) }

func (b body) float(v float32) { b.word(math.Float32bits(v)) }

func (b body) series(s *series, cells int, quantum float64) {
	at := s.look(s.base)
	float := func(q int32) { b.float(float32(float64(q) * quantum)) }
	for i := range cells {
		c := at.cell(i)
		if s.base == 0 {
			if c.count == 0 {
				b.float(float32(math.NaN()))
			} else {
				float(c.mean)
			}
			continue
		}
		float(c.min)
		float(c.max)
		float(c.mean)
		b.word(c.count)
	}
}

// Open reads a file, for looking only.
func Open(name string) (*Timeline, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	t, err := Read(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w; delete it: a replay of the journal makes it again", name, err)
	}
	return t, nil
}

// Read reads the text of a file.
func Read(file []byte) (*Timeline, error) {
	switch {
	case len(file) < headLen || string(file[:8]) != magic:
		return nil, errors.New("no timeline")
	case binary.LittleEndian.Uint32(file[8:]) != version:
		return nil, fmt.Errorf("a timeline of version %d: this program reads %d", binary.LittleEndian.Uint32(file[8:]), version)
	case binary.LittleEndian.Uint32(file[12:]) != crc32.Checksum(file[headLen:], castagnoli):
		return nil, errDamaged
	}
	dec, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxBody))
	if err != nil {
		return nil, err
	}
	defer dec.Close()
	text, err := dec.DecodeAll(file[headLen:], make([]byte, 0, min(unpacks*len(file), maxBody)))
	if err != nil {
		return nil, errDamaged
	}
	r := reader{rest: text}
	t := r.timeline()
	if r.bad || len(r.rest) != 0 {
		return nil, errDamaged
	}
	return t, nil
}

var errDamaged = errors.New("the timeline is damaged")

// reader takes a body piece by piece; bad is set where it makes no sense, and
// what it then gives means nothing.
type reader struct {
	rest []byte
	bad  bool
}

func (r *reader) bytes(n int) []byte {
	if n < 0 || n > len(r.rest) {
		r.bad, r.rest = true, nil
		return nil
	}
	out := r.rest[:n]
	r.rest = r.rest[n:]
	return out
}

// number is between the bounds, or else bad and the lower one.
func (r *reader) number(lo, hi int64) int64 {
	b := r.bytes(8)
	if b == nil {
		return lo
	}
	v := int64(binary.LittleEndian.Uint64(b))
	if v < lo || v > hi {
		r.bad = true
		return lo
	}
	return v
}

func (r *reader) timeline() *Timeline {
	const ever = math.MaxInt64 / 2
	t := &Timeline{start: r.number(-ever, ever), seconds: int(r.number(0, maxSeconds)), base: int(r.number(0, maxBase))}
	cells := (int64(t.seconds) + 1<<(fanBits*t.base) - 1) >> (fanBits * t.base)
	if cells > maxCells {
		r.bad = true
		return nil
	}
	for range r.number(0, maxEngines) {
		t.engines = append(t.engines, string(r.bytes(int(r.number(0, maxName)))))
	}
	before := date{-1, -ever}
	for range r.number(0, int64(len(r.rest))/16) {
		d := date{int(r.number(int64(before.second)+1, int64(t.seconds))), r.number(before.utc, ever)}
		t.dates = append(t.dates, d)
		before = d
	}
	if n := len(t.dates); n > 0 && (t.dates[0].second != 0 || before.second != t.seconds) {
		r.bad = true
	}
	lat, lon := r.bytes(4*int(cells)), r.bytes(4*int(cells))
	for i := 0; i < len(lon); i += 4 {
		p := place{int32(binary.LittleEndian.Uint32(lat[i:])), int32(binary.LittleEndian.Uint32(lon[i:]))}
		t.places = append(t.places, p)
	}
	for range r.number(0, maxColumns) {
		t.columns = append(t.columns, r.column(t.base, int(cells)))
	}
	return t
}

func (r *reader) column(base, cells int) column {
	c := column{channel: int(r.number(0, int64(len(channels)-1))), engine: int(r.number(0, calc.MaxEngines-1))}
	c.parts = make([]series, channels[c.channel].parts())
	for i := range c.parts {
		c.parts[i] = r.series(base, cells, channels[c.channel].quantum)
	}
	return c
}

func (r *reader) series(base, cells int, quantum float64) series {
	s := series{base: base}
	size := 16
	if base == 0 {
		size = 4
	}
	text := r.bytes(size * cells)
	float := func(at int) float32 { return math.Float32frombits(binary.LittleEndian.Uint32(text[at:])) }
	for at := 0; at < len(text); at += size {
		if base == 0 {
			s.add(0, cellOf(float64(float(at)), quantum))
			continue
		}
		c, ok := wideCell([3]float32{float(at), float(at + 4), float(at + 8)}, binary.LittleEndian.Uint32(text[at+12:]), quantum)
		if !ok || c.count > 1<<(fanBits*base) {
			r.bad = true
			return s
		}
		s.add(base, c)
	}
	return s
}

// wideCell makes a cell of its least, greatest and mean; ok is false where they
// cannot be these.
func wideCell(of [3]float32, count uint32, quantum float64) (c cell, ok bool) {
	if count == 0 {
		return cell{}, true
	}
	lo, ok1 := quanta(float64(of[0]), quantum)
	hi, ok2 := quanta(float64(of[1]), quantum)
	mean, ok3 := quanta(float64(of[2]), quantum)
	return cell{lo, hi, mean, count}, ok1 && ok2 && ok3 && lo <= mean && mean <= hi
}
