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
	head, n := uint64(f.ID)<<3, 19 // start of frame, identifier, three bits, length
	if f.IsExtended {
		// The two bits between are substitute remote request and identifier
		// extension.
		head, n = (uint64(f.ID)>>18<<20|3<<18|uint64(f.ID)&0x3FFFF)<<3, 39
	}
	if f.IsRemote {
		head |= 4
	}
	head = head<<4 | uint64(f.Length)
	var w wire
	w.put(head>>(n&^7), n&7)
	for n &^= 7; n > 0; {
		n -= 8
		w.put(head>>n, 8)
	}
	if !f.IsRemote {
		for _, b := range f.Data[:f.Length] {
			w.put(uint64(b), 8)
		}
	}
	sum := uint64(w.sum)
	w.put(sum>>8, 7)
	w.put(sum, 8)
	const tail = 1 + 2 + 7 + 3 // checksum delimiter, acknowledge, end of frame, intermission
	return w.bits + tail
}

// wire counts bits with those that stuffing adds.
type wire struct {
	bits int
	run  run
	sum  uint32
}

// put sends the lowest n bits of v, the highest first; n is 3, 7 or 8.
func (w *wire) put(v uint64, n int) {
	v &= 1<<n - 1
	w.sum = (w.sum<<n ^ checksums[w.sum>>(15-n)^uint32(v)]) & 0x7FFF
	s := &stuffed[n][w.run][v]
	w.run = s.run
	w.bits += n + int(s.added)
}

// run is how many bits in a row were equal, stuff bits included: 0 before the
// first bit, 1 to 4 zeros, or 4 more than the ones.
type run uint8

// stuff sends a bit and reports whether a stuff bit follows it.
func (r *run) stuff(bit uint64) bool {
	ones := run(4 * bit)
	if *r <= ones || *r > ones+4 {
		*r = ones
	}
	if *r++; *r == ones+5 {
		*r = 5 - ones // one bit of the other kind
		return true
	}
	return false
}

// stuffing is what some bits do to a run.
type stuffing struct {
	run   run
	added uint8
}

// stuffed is by number of bits, run before them, and bits. Only the numbers
// that put is called with are there.
var stuffed = func() (all [9][9][256]stuffing) {
	for _, n := range []int{3, 7, 8} {
		for r := range all[n] {
			for v := range 1 << n {
				s := stuffing{run: run(r)}
				for i := n - 1; i >= 0; i-- {
					if s.run.stuff(uint64(v >> i & 1)) {
						s.added++
					}
				}
				all[n][r][v] = s
			}
		}
	}
	return all
}()

// checksums is the checksum of each pattern of up to eight bits.
var checksums = func() (all [256]uint32) {
	for v := range all {
		sum := uint32(v) << 7
		for range 8 {
			if sum <<= 1; sum&0x8000 != 0 {
				sum ^= 0xC599
			}
		}
		all[v] = sum
	}
	return all
}()
