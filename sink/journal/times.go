package journal

import (
	"cmp"
	"encoding/binary"
	"math/bits"
	"slices"

	"trialday.example/logd/decode/frame"
)

// Times inside a block are in units since its first frame. They may wrap
// around: both sides wrap alike.

// timeUnit returns 1000 ns if all times are multiples of it apart, else 1.
func timeUnit(frames []frame.Frame) int64 {
	for i := range frames {
		if (frames[i].Time-frames[0].Time)%1000 != 0 {
			return 1
		}
	}
	return 1000
}

// beat predicts the next time of a stream, one period after where the last one
// should have been: the sender keeps time, and each frame is late by chance.
// Part of each error is taken over, so that the prediction follows the sender's
// clock. After half a period the beat is lost and begins anew. A period of 0
// predicts no step.
type beat struct{ period, expected int64 }

// beat begins the beat of a stream with its first frame.
func (s *stream) beat() beat { return beat{s.period, s.first + s.period} }

// inertia is the logarithm of the number of frames that the beat averages over.
const inertia = 3

func (b *beat) take(t int64) {
	late := t - b.expected
	if late > b.period/2 || late < -b.period/2 {
		b.expected = t
	} else {
		b.expected += late >> inertia
	}
	b.expected += b.period
}

// maxPeriod in time units keeps nonsense, such as a clock that was set, out of
// the periods.
const maxPeriod = 1 << 40

// period returns the mean interval of a stream's times, those left out that
// span a frame that is missing. It uses scratch.
func period(times []int64, scratch []int64) int64 {
	scratch = scratch[:0]
	for i := 1; i < len(times); i++ {
		scratch = append(scratch, times[i]-times[i-1])
	}
	if len(scratch) == 0 {
		return 0
	}
	slices.Sort(scratch)
	usual := scratch[len(scratch)/2]
	if usual <= 0 || usual > maxPeriod {
		return 0
	}
	sum, n := int64(0), int64(0)
	for _, d := range scratch {
		if d >= usual-usual/2 && d <= usual+usual/2 {
			sum, n = sum+d, n+1
		}
	}
	return sum / n
}

func zigzag(v int64) uint64   { return uint64(v<<1) ^ uint64(v>>63) }
func unzigzag(z uint64) int64 { return int64(z>>1) ^ -int64(z&1) }

// appendPlanes writes numbers as planes: first all the lowest bytes, then all
// the next, and so on, before them the number of planes.
func appendPlanes(out []byte, v []uint64) []byte {
	all := uint64(0)
	for _, z := range v {
		all |= z
	}
	n := (bits.Len64(all) + 7) / 8
	out = append(out, byte(n))
	for shift := 0; shift < 8*n; shift += 8 {
		for _, z := range v {
			out = append(out, byte(z>>shift))
		}
	}
	return out
}

// planes are such numbers.
type planes struct {
	b     []byte
	count int
}

func (p planes) at(i int) (v uint64) {
	for shift := 0; i < len(p.b); i, shift = i+p.count, shift+8 {
		v |= uint64(p.b[i]) << shift
	}
	return v
}

// timed is the place of a frame, counted through the streams, with its time.
type timed struct {
	at    uint64
	place uint16
}

// sorter orders places by time, those of equal times as they are.
type sorter struct{ list, spare []timed }

// few places are sorted by comparison: the counters of a radix sort cost more.
const few = 32

// sort is a radix sort, which for a block's times takes two or three passes.
func (s *sorter) sort(times []int64) []timed {
	n := len(times)
	s.list, s.spare = slices.Grow(s.list[:0], n)[:n], slices.Grow(s.spare[:0], n)[:n]
	least, greatest := times[0], times[0]
	for _, t := range times {
		least, greatest = min(least, t), max(greatest, t)
	}
	for i, t := range times {
		s.list[i] = timed{uint64(t) - uint64(least), uint16(i)}
	}
	if n <= few {
		slices.SortFunc(s.list, timed.compare)
		return s.list
	}
	const digit = 11
	for shift := 0; uint64(greatest-least)>>shift > 0; shift += digit {
		var at [1 << digit]uint32
		for i := range s.list {
			at[s.list[i].at>>shift%(1<<digit)]++
		}
		sum := uint32(0)
		for i, n := range at {
			at[i], sum = sum, sum+n
		}
		for _, e := range s.list {
			p := &at[e.at>>shift%(1<<digit)]
			s.spare[*p] = e
			*p++
		}
		s.list, s.spare = s.spare, s.list
	}
	return s.list
}

// appendOrder tells how the order of reception differs from a list of places
// by time: at some steps not the first place that is left comes next but one
// further on. Received gives the place of each frame.
func appendOrder(out []byte, list []timed, times []int64, received []uint16) []byte {
	var moves []byte
	n, last := uint64(0), 0
	least := times[list[0].place]
	for i, place := range received {
		if list[i].place == place {
			continue
		}
		// What is left is still in order.
		k, _ := slices.BinarySearchFunc(list[i:], timed{uint64(times[place]) - uint64(least), place}, timed.compare)
		n++
		moves = binary.AppendUvarint(moves, uint64(i-last))
		moves = binary.AppendUvarint(moves, uint64(k))
		bring(list[i:], k)
		last = i
	}
	return append(binary.AppendUvarint(out, n), moves...)
}

func (t timed) compare(other timed) int {
	return cmp.Or(cmp.Compare(t.at, other.at), cmp.Compare(t.place, other.place))
}

// bring moves place k of a list to its front.
func bring(list []timed, k int) {
	e := list[k]
	copy(list[1:], list[:k])
	list[0] = e
}

// order reads the moves and makes them.
func (d *decoder) order(list []timed) {
	at := 0
	for range d.uvarint(uint64(len(list))) {
		at += int(d.uvarint(uint64(len(list))))
		k := int(d.uvarint(uint64(len(list))))
		if at+k >= len(list) {
			d.bad = true
		}
		if d.bad {
			return
		}
		bring(list[at:], k)
	}
}
