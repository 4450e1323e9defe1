package journal

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"trialday.example/logd/decode/frame"
)

// checkColumns encodes frames of three buses and decodes them again.
func checkColumns(t *testing.T, e *encoder, d *decoder, frames []frame.Frame) {
	t.Helper()
	names := []string{"can0", "", "can2"}
	payload := e.encode(frames, names)
	if len(payload) > maxPayload {
		t.Fatalf("payload of %d bytes, more than a reader takes", len(payload))
	}
	got, gotNames, err := d.decode(nil, payload, len(frames), frames[0].Time)
	if err != nil || !slices.Equal(gotNames, names) {
		t.Fatal(err, gotNames)
	}
	for i := range frames {
		if got[i] != frames[i] {
			t.Fatalf("frame %d of %d is %+v, want %+v", i, len(frames), got[i], frames[i])
		}
	}
}

// numbered returns n frames of messages in several frames from three senders,
// some of them lost, mixed with frames of other kinds.
func numbered(r *rand.Rand, n int) []frame.Frame {
	var list []frame.Frame
	var sequence, number [3]byte
	for len(list) < n {
		s := r.IntN(4)
		var f frame.Frame
		f.IsExtended, f.Length, f.Bus = true, 8, uint8(s&1)
		if s == 3 {
			f.ID = 0x09f80100 | r.Uint32N(3)
			f.Length = uint8(r.IntN(9))
		} else {
			f.ID = 0x0df20100 | uint32(s)
			f.Data[0] = sequence[s]<<5 | number[s]
			if number[s]++; number[s] == byte(3+10*s) {
				sequence[s], number[s] = sequence[s]+1, 0
			}
		}
		for k := 1; k < int(f.Length); k++ {
			f.Data[k] = byte(k) + byte(r.IntN(3))
		}
		if r.IntN(20) > 0 {
			list = append(list, f)
		}
	}
	return list
}

// clocks are ways in which times of reception go on, right and wrong.
var clocks = map[string]func(r *rand.Rand, i int, last int64) int64{
	"usual":   func(r *rand.Rand, i int, last int64) int64 { return last + 500_000 + r.Int64N(100_000) },
	"coarse":  func(r *rand.Rand, i int, last int64) int64 { return last + r.Int64N(2)*1_000_000 },
	"stopped": func(r *rand.Rand, i int, last int64) int64 { return 7 },
	"two buses out of step": func(r *rand.Rand, i int, last int64) int64 {
		return int64(i)*300_000 + r.Int64N(2_000_000)
	},
	"set back": func(r *rand.Rand, i int, last int64) int64 {
		if r.IntN(200) == 0 {
			return last - r.Int64N(1e12)
		}
		return last + 1000
	},
	"backwards": func(r *rand.Rand, i int, last int64) int64 { return last - 1_000_000 },
	"nonsense":  func(r *rand.Rand, i int, last int64) int64 { return int64(r.Uint64()) },
	"extremes": func(r *rand.Rand, i int, last int64) int64 {
		return []int64{math.MinInt64, math.MaxInt64, 0, math.MinInt64 + 1}[r.IntN(4)]
	},
}

func TestColumnsGiveBackWhatTheyTook(t *testing.T) {
	var e encoder
	var d decoder // both with buffers that are used again
	for name, next := range clocks {
		t.Run(name, func(t *testing.T) {
			for seed := range uint64(12) {
				r := rand.New(rand.NewPCG(seed, 3))
				frames := numbered(r, 1+r.IntN(1<<seed))
				last := int64(1_700_000_000_000_000_000)
				for i := range frames {
					last = next(r, i, last)
					frames[i].Time = last
				}
				checkColumns(t, &e, &d, frames)
			}
		})
	}
}

// TestColumnsOfEveryKind: each combination of flags and length, one frame of it
// and several.
func TestColumnsOfEveryKind(t *testing.T) {
	var frames []frame.Frame
	for i := range 2 * 9 * 8 {
		var f frame.Frame
		flags := i / 9 % 8
		f.IsExtended, f.IsRemote, f.IsError = flags&1 != 0, flags&2 != 0, flags&4 != 0
		f.ID, f.Length, f.Bus, f.Time = uint32(flags), uint8(i%9), 2, int64(i)
		if !f.IsRemote {
			for k := range f.Length {
				f.Data[k] = byte(i) + k
			}
		}
		frames = append(frames, f)
	}
	var e encoder
	var d decoder
	checkColumns(t, &e, &d, frames)
	for i := range frames {
		checkColumns(t, &e, &d, frames[i:i+1])
	}
}

func TestSorterIsStable(t *testing.T) {
	var s sorter
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 4))
		times := make([]int64, 1+r.IntN([]int{few, 3000}[seed%2]))
		for i := range times {
			times[i] = int64(r.Uint64()) >> (seed * 63 / 39)
		}
		want := make([]uint16, len(times))
		for i := range want {
			want[i] = uint16(i)
		}
		slices.SortStableFunc(want, func(a, b uint16) int { return cmp.Compare(times[a], times[b]) })
		for i, e := range s.sort(times) {
			if e.place != want[i] {
				t.Fatalf("seed %d: place %d is %d, want %d", seed, i, e.place, want[i])
			}
		}
	}
}

// TestNumberedFramesAreTold: messages of several frames are divided by number;
// a first byte that counts messages, or means something else, is no number.
func TestNumberedFramesAreTold(t *testing.T) {
	for _, c := range []struct {
		name  string
		first func(i int) byte
		want  bool
	}{
		{"five frames a message", func(i int) byte { return byte(i/5)<<5 | byte(i%5) }, true},
		{"two frames a message", func(i int) byte { return byte(i/2)<<5 | byte(i%2) }, true},
		{"one message in three cut short", func(i int) byte { return []byte{0, 1, 2, 3, 32, 33, 34, 35, 64, 65}[i%10] }, true},
		{"a count to 252", func(i int) byte { return byte(i % 253) }, false},
		{"always the same", func(i int) byte { return 1 }, false},
		{"anything", func(i int) byte { return byte(i * 167) }, false},
	} {
		var n numbering
		for i := range 1000 {
			n.see(c.first(i))
		}
		if n.numbered() != c.want {
			t.Errorf("%s: %v", c.name, n.numbered())
		}
	}
}
