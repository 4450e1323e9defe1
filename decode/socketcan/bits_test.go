package socketcan

import (
	"math/rand/v2"
	"testing"

	"go.einride.tech/can"

	"trialday.example/logd/decode/frame"
)

// The check value of CRC-15/CAN for the text 123456789 is 059E in the
// catalogue of parametrised CRC algorithms (from memory).
func TestChecksumAgainstTheCatalogue(t *testing.T) {
	var w wire
	for _, b := range []byte("123456789") {
		w.put(uint64(b), 8)
	}
	if w.sum != 0x059E {
		t.Errorf("%04X", w.sum)
	}
}

// A standard frame of identifier 0 without data is 19 zeros and, their
// checksum being zero, 15 more: 34 bits in which every fifth is followed by a
// one, which ends the run. The stuff bits are 6, the bits after them 13.
func TestBitsOfZeros(t *testing.T) {
	if n := Bits(&frame.Frame{}); n != 34+6+13 {
		t.Errorf("%d bits, want 53", n)
	}
}

// bitByBit counts the bits of a frame one by one.
func bitByBit(f *frame.Frame) int {
	var bits []uint32
	put := func(v uint32, n int) {
		for n--; n >= 0; n-- {
			bits = append(bits, v>>n&1)
		}
	}
	remote := uint32(0)
	if f.IsRemote {
		remote = 4
	}
	put(0, 1)
	if f.IsExtended {
		put(f.ID>>18, 11)
		put(3, 2)
		put(f.ID, 18)
	} else {
		put(f.ID, 11)
	}
	put(remote, 3)
	put(uint32(f.Length), 4)
	if !f.IsRemote {
		for _, b := range f.Data[:f.Length] {
			put(uint32(b), 8)
		}
	}
	sum := uint32(0)
	for _, b := range bits {
		next := b ^ sum>>14&1
		sum = sum << 1 & 0x7FFF
		if next == 1 {
			sum ^= 0x4599
		}
	}
	put(sum, 15)
	n, run, last := 13, 0, uint32(2)
	for _, b := range bits {
		n++
		if b != last {
			last, run = b, 0
		}
		if run++; run == 5 {
			n++
			last, run = b^1, 1
		}
	}
	return n
}

func TestBitsAreThoseCountedOneByOne(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 20000 {
		f := frame.Frame{Frame: can.Frame{ID: r.Uint32() & r.Uint32() & 0x7FF, Length: uint8(r.IntN(9)), IsRemote: r.IntN(8) == 0}}
		if r.IntN(2) == 0 {
			f.IsExtended, f.ID = true, r.Uint32()&r.Uint32()&0x1FFFFFFF
		}
		for i := range f.Length {
			f.Data[i] = []byte{0, 0xFF, 0xF0, 0x0F, byte(r.Uint32())}[r.IntN(5)]
		}
		if got, want := Bits(&f), bitByBit(&f); got != want {
			t.Fatalf("%+v: %d bits, want %d", f, got, want)
		}
	}
}

// Without stuffing a frame has 44 + 8n bits and three of intermission, an
// extended one 64 + 8n and three; stuffing adds at most one bit for four of the
// 34 + 8n, or 54 + 8n, that it covers (ISO 11898-1; Nolte, Hansson and Norström
// 2001, "Minimizing CAN response-time jitter by message manipulation").
func TestBitsAreWithinTheirBounds(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		f := frame.Frame{Frame: can.Frame{ID: r.Uint32() & 0x7FF, Length: uint8(r.IntN(9))}}
		covered, least := 34, 47
		if r.IntN(2) == 0 {
			f.IsExtended, f.ID = true, r.Uint32()&0x1FFFFFFF
			covered, least = 54, 67
		}
		for i := range f.Length {
			f.Data[i] = byte(r.Uint32() & (r.Uint32() >> 8)) // long runs of zeros too
		}
		n := 8 * int(f.Length)
		if got := Bits(&f); got < least+n || got > least+n+(covered+n-1)/4 {
			t.Fatalf("%+v: %d bits, want %d to %d", f, got, least+n, least+n+(covered+n-1)/4)
		}
	}
	if n := Bits(&frame.Frame{IsError: true}); n != 0 {
		t.Errorf("an error frame counts %d bits", n)
	}
}

func BenchmarkBits(b *testing.B) {
	f := frame.Frame{Frame: can.Frame{ID: 0x09F20110, IsExtended: true, Length: 8, Data: can.Data{1, 2, 3, 4, 5, 6, 7, 0xFF}}}
	for b.Loop() {
		Bits(&f)
	}
}
