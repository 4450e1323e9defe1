package socketcan

import "trialday.example/logd/decode/frame"

// Bits is the number of bits that a frame takes on the bus, with stuff bits and
// the three bits of intermission (ISO 11898-1: format of classical frames,
// stuffing after five equal bits from the start of frame to the end of the
// checksum, checksum polynomial C599 hexadecimal). An error frame counts none.
func Bits(f *frame.Frame) int {
	if f.IsError {
		return 0
	}
	w := wire{last: 2}
	remote := boolBit(f.IsRemote)
	w.put(0, 1) // start of frame
	if f.IsExtended {
		w.put(f.ID>>18, 11)
		w.put(3, 2) // substitute remote request, identifier extension
		w.put(f.ID, 18)
		w.put(remote<<2, 3) // remote request, two reserved bits
	} else {
		w.put(f.ID, 11)
		w.put(remote<<2, 3) // remote request, identifier extension, reserved
	}
	w.put(uint32(f.Length), 4)
	if !f.IsRemote {
		for _, b := range f.Data[:f.Length] {
			w.put(uint32(b), 8)
		}
	}
	w.put(w.sum, 15)
	const tail = 1 + 2 + 7 + 3 // checksum delimiter, acknowledge, end of frame, intermission
	return w.bits + tail
}

func boolBit(b bool) uint32 {
	if b {
		return 1
	}
	return 0
}

// wire counts bits with those that stuffing adds.
type wire struct {
	bits int
	run  int    // equal bits in a row, stuff bits included
	last uint32 // bit
	sum  uint32
}

// put sends the lowest n bits of v, the highest first.
func (w *wire) put(v uint32, n int) {
	for n--; n >= 0; n-- {
		bit := v >> n & 1
		w.check(bit)
		w.bits++
		if bit != w.last {
			w.last, w.run = bit, 0
		}
		if w.run++; w.run == 5 {
			w.bits++
			w.last, w.run = bit^1, 1
		}
	}
}

// check adds a bit to the checksum.
func (w *wire) check(bit uint32) {
	next := bit ^ w.sum>>14&1
	w.sum = w.sum << 1 & 0x7FFF
	if next == 1 {
		w.sum ^= 0x4599
	}
}
