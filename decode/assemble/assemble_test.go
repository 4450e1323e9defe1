package assemble

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"testing"

	"go.einride.tech/can"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
)

const ms = int64(1e6)

func newFrame(at int64, bus uint8, h pgn.Header, data ...byte) frame.Frame {
	f := frame.Frame{Time: at, Bus: bus, Frame: can.Frame{ID: h.ID(), IsExtended: true, Length: uint8(len(data))}}
	copy(f.Data[:], data)
	return f
}

// fast cuts a payload into fast-packet frames 1 ms apart.
func fast(at int64, bus uint8, h pgn.Header, seq uint8, payload []byte) []frame.Frame {
	var frames []frame.Frame
	err := pgn.FastPackets(seq, payload, func(data [8]byte) {
		frames = append(frames, newFrame(at+int64(len(frames))*ms, bus, h, data[:]...))
	})
	if err != nil {
		panic(err)
	}
	return frames
}

// bam cuts a payload into an announcement and its packets, 50 ms apart.
func bam(at int64, bus, source uint8, number uint32, payload []byte) []frame.Frame {
	h := pgn.Header{Priority: 7, PGN: connection, Source: source, Destination: pgn.Broadcast}
	n := len(payload)
	frames := []frame.Frame{newFrame(at, bus, h, announce, byte(n), byte(n>>8), byte((n+6)/7), 0xFF,
		byte(number), byte(number>>8), byte(number>>16))}
	h.PGN = transfer
	for i := 0; i*7 < n; i++ {
		data := bytes.Repeat([]byte{0xFF}, 8)
		data[0] = byte(i + 1)
		copy(data[1:], payload[i*7:])
		frames = append(frames, newFrame(at+int64(i+1)*50*ms, bus, h, data...))
	}
	return frames
}

func run(a *Assembler, frames []frame.Frame) []string {
	var got []string
	for i := range frames {
		if m := a.Add(&frames[i]); m != nil {
			got = append(got, describe(m.Bus, m.Header, m.Data))
		}
	}
	return got
}

func describe(bus uint8, h pgn.Header, data []byte) string {
	return fmt.Sprintf("%d %d>%d %d %x", bus, h.Source, h.Destination, h.PGN, data)
}

var gnss = pgn.Header{Priority: 3, PGN: 129029, Source: 5, Destination: pgn.Broadcast}

func payload(n int, seed byte) []byte {
	p := make([]byte, n)
	for i := range p {
		p[i] = seed + byte(i)
	}
	return p
}

func TestSingleFramePassesThrough(t *testing.T) {
	h := pgn.Header{Priority: 2, PGN: 127250, Source: 9, Destination: pgn.Broadcast}
	a := New()
	f := newFrame(42, 3, h, 1, 2, 3)
	m := a.Add(&f)
	if m == nil || m.Header != h || m.Bus != 3 || m.Time != 42 || m.First != 42 || m.Def == nil || !bytes.Equal(m.Data, []byte{1, 2, 3}) {
		t.Fatalf("got %+v", m)
	}
	for _, change := range []func(*frame.Frame){
		func(f *frame.Frame) { f.IsError = true },
		func(f *frame.Frame) { f.IsRemote = true },
		func(f *frame.Frame) { f.IsExtended = false },
	} {
		g := f
		change(&g)
		if a.Add(&g) != nil {
			t.Errorf("a frame without a message gave one: %+v", g)
		}
	}
}

func TestEveryLength(t *testing.T) {
	a := New()
	for n := 1; n <= pgn.MaxFastPacket; n++ {
		p := payload(n, byte(n))
		frames := fast(int64(n)*100*ms, 0, gnss, uint8(n), p)
		var m *Message
		for i := range frames {
			if m != nil {
				t.Fatalf("length %d: complete before its last frame", n)
			}
			m = a.Add(&frames[i])
		}
		if m == nil || !bytes.Equal(m.Data, p) {
			t.Fatalf("length %d: got %+v", n, m)
		}
		if m.First != frames[0].Time || m.Time != frames[len(frames)-1].Time {
			t.Fatalf("length %d: times %d to %d", n, m.First, m.Time)
		}
	}
	for n := 9; n <= MaxBAMLength; n += 8 {
		p := payload(n, byte(n))
		if got := run(a, bam(0, 0, 7, 126996, p)); len(got) != 1 || got[0] != describe(0, pgn.Header{Source: 7, Destination: 255, PGN: 126996}, p) {
			t.Fatalf("length %d: got %v", n, got)
		}
	}
	if n := a.Counts.FastPacket.Messages() + a.Counts.Transport.Messages(); n != 0 {
		t.Errorf("%d lost", n)
	}
}

func TestFaults(t *testing.T) {
	one, two := payload(43, 1), payload(43, 101)
	whole := func(p []byte) string { return describe(0, gnss, p) }
	later := func(fs []frame.Frame, by int64) []frame.Frame {
		out := append([]frame.Frame(nil), fs...)
		for i := range out {
			out[i].Time += by
		}
		return out
	}
	join := func(parts ...[]frame.Frame) []frame.Frame {
		var all []frame.Frame
		for _, p := range parts {
			all = append(all, p...)
		}
		return all
	}
	first, second := fast(0, 0, gnss, 1, one), fast(20*ms, 0, gnss, 1, two)
	again := fast(20*ms, 0, gnss, 1, append(append([]byte(nil), one[:20]...), two[20:]...))
	for _, tt := range []struct {
		name   string
		frames []frame.Frame
		want   []string
		loss   Loss
	}{
		{"every frame twice", join(first[:1], first[:1], first[1:2], first[1:2], first[2:], first[6:]), []string{whole(one)}, Loss{Duplicates: 3}},
		{"first frame repeated in the middle", join(first[:3], first[:1], first[3:]), []string{whole(one)}, Loss{Duplicates: 1}},
		{"restart in the middle", join(first[:3], second), []string{whole(two)}, Loss{Incomplete: 1}},
		{"restart with a message that begins alike", join(first[:4], again), []string{whole(append(append([]byte(nil), one[:20]...), two[20:]...))}, Loss{Incomplete: 1, Duplicates: 3}},
		{"a frame lost", join(first[:2], first[3:], second), []string{whole(two)}, Loss{Incomplete: 1, Orphans: 3}},
		{"first frame lost", join(first[1:], second), []string{whole(two)}, Loss{NoStart: 1, Orphans: 6}},
		{"first frame lost twice", join(first[1:], second[1:]), nil, Loss{NoStart: 2, Orphans: 12}},
		{"too late", join(first[:3], later(first[3:], 751*ms)), nil, Loss{Stale: 1, Orphans: 4}},
		{"just in time", join(first[:3], later(first[3:], 750*ms-ms)), []string{whole(one)}, Loss{}},
		{"clock steps back an hour", join(first[:3], later(first[3:], -3600_000*ms)), []string{whole(one)}, Loss{}},
		{"other destination, bus, source and sequence", join(first[:3],
			fast(0, 1, gnss, 1, two)[3:4], fast(0, 0, gnss, 2, two)[3:4],
			fast(0, 0, pgn.Header{PGN: 129029, Source: 6, Destination: 255}, 1, two)[3:4], first[3:]),
			[]string{whole(one)}, Loss{NoStart: 3, Orphans: 3}},
		{"impossible length", []frame.Frame{newFrame(0, 0, gnss, 0x20, 0, 1, 2, 3, 4, 5, 6), newFrame(0, 0, gnss, 0x20, 224, 1, 2, 3, 4, 5, 6)}, nil, Loss{Malformed: 2}},
		{"short frame", join(first[:2], []frame.Frame{newFrame(0, 0, gnss, 0x22, 1, 2)}), nil, Loss{Malformed: 1}},
	} {
		a := New()
		got := run(a, tt.frames)
		if fmt.Sprint(got) != fmt.Sprint(tt.want) {
			t.Errorf("%s: got %v, want %v", tt.name, got, tt.want)
		}
		if a.Counts.FastPacket != tt.loss {
			t.Errorf("%s: loss %+v, want %+v", tt.name, a.Counts.FastPacket, tt.loss)
		}
	}
}

func TestTransportFaults(t *testing.T) {
	p := payload(100, 3)
	all := bam(0, 0, 7, 126996, p)
	for _, tt := range []struct {
		name   string
		frames []frame.Frame
		whole  int
		loss   Loss
	}{
		{"announced twice", append(all[:1:1], all...), 1, Loss{Duplicates: 1}},
		{"replaced", append(all[:5:5], bam(0, 0, 7, 126996, p)...), 1, Loss{Incomplete: 1}},
		{"packet lost", append(all[:5:5], all[6:]...), 0, Loss{Incomplete: 1, Orphans: 9}},
		{"not announced", all[1:], 0, Loss{NoStart: 1, Orphans: 15}},
		{"wrong number of packets", []frame.Frame{newFrame(0, 0, pgn.Header{PGN: connection, Destination: 255}, announce, 100, 0, 14, 255, 0, 0xF0, 1)}, 0, Loss{Malformed: 1}},
	} {
		a := New()
		if got := run(a, tt.frames); len(got) != tt.whole || a.Counts.Transport != tt.loss {
			t.Errorf("%s: %d messages, loss %+v, want %d and %+v", tt.name, len(got), a.Counts.Transport, tt.whole, tt.loss)
		}
	}
}

// Property: messages of many senders, their frames interleaved at random and
// some repeated, all arrive; with frames lost, only right messages arrive, and
// every sender goes on after its loss.
func TestRandomInterleaving(t *testing.T) {
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 1))
		lossy := seed%2 == 1
		type sender struct{ frames []frame.Frame }
		var senders []sender
		sent := map[string]int{}
		for i := range 30 {
			var s sender
			for k := range 20 {
				p := make([]byte, 1+rng.IntN(pgn.MaxFastPacket))
				for j := range p {
					p[j] = byte(rng.Uint32())
				}
				h := pgn.Header{Priority: 3, PGN: 129029, Source: uint8(i), Destination: pgn.Broadcast}
				bus := uint8(i % 3)
				if i%5 == 4 {
					h.PGN = 126996
					p = append(p, make([]byte, 9)...)
					s.frames = append(s.frames, bam(0, bus, h.Source, h.PGN, p)...)
				} else {
					s.frames = append(s.frames, fast(0, bus, h, uint8(k), p)...)
				}
				sent[describe(bus, h, p)]++
			}
			senders = append(senders, s)
		}
		a, at, total := New(), int64(0), len(sent)
		for len(senders) > 0 {
			i := rng.IntN(len(senders))
			s := &senders[i]
			f := s.frames[0]
			s.frames = s.frames[1:]
			if len(s.frames) == 0 {
				senders = append(senders[:i], senders[i+1:]...)
			}
			at += ms / 2
			f.Time = at
			if lossy && rng.IntN(50) == 0 {
				continue
			}
			repeat := 1
			if !lossy && rng.IntN(20) == 0 {
				repeat = 2
			}
			for range repeat {
				if m := a.Add(&f); m != nil {
					key := describe(m.Bus, m.Header, m.Data)
					if sent[key] == 0 {
						t.Fatalf("seed %d: a message that was never sent: %s", seed, key)
					}
					// A whole message in one frame can be repeated unseen.
					if len(m.Data) > 6 {
						delete(sent, key)
					}
				}
			}
		}
		got := a.Counts.Fast + a.Counts.BAM
		switch {
		case lossy && got < int64(total)/2:
			t.Errorf("seed %d: only %d of %d messages with one frame in 50 lost", seed, got, total)
		case !lossy && got < int64(total):
			t.Errorf("seed %d: %d of %d messages, loss %+v", seed, got, total, a.Counts)
		}
	}
}

func TestBounded(t *testing.T) {
	a := New()
	h := gnss
	for i := range 5000 {
		h.Source = uint8(i)
		f := newFrame(int64(i), uint8(i>>8), h, 0, 20, 1, 2, 3, 4, 5, 6)
		a.Add(&f)
	}
	if got, want := a.Counts.FastPacket.Evicted, int64(5000-MaxFast); got != want {
		t.Errorf("%d evicted, want %d", got, want)
	}
	// The newest are still whole.
	for i := 5000 - MaxFast; i < 5000; i++ {
		h.Source = uint8(i)
		for n := byte(1); n <= 2; n++ {
			f := newFrame(5000, uint8(i>>8), h, n, 1, 2, 3, 4, 5, 6, 7)
			a.Add(&f)
		}
	}
	if a.Counts.Fast != MaxFast {
		t.Errorf("%d whole, want %d", a.Counts.Fast, MaxFast)
	}
}

func TestNoAllocation(t *testing.T) {
	a := New()
	frames := append(fast(0, 0, gnss, 1, payload(43, 0)), bam(0, 0, 7, 126996, payload(134, 0))...)
	h := gnss
	var f frame.Frame
	if n := testing.AllocsPerRun(100, func() {
		for i := range frames {
			a.Add(&frames[i])
		}
		for i := range 300 {
			h.Source = uint8(i)
			f = newFrame(0, uint8(i>>8), h, 0, 20, 1, 2, 3, 4, 5, 6)
			a.Add(&f)
		}
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func FuzzAssembler(f *testing.F) {
	seed := func(frames []frame.Frame) []byte {
		var b []byte
		for _, f := range frames {
			b = binary.LittleEndian.AppendUint32(b, f.ID)
			b = append(b, 1, f.Bus, f.Length)
			b = append(b, f.Data[:]...)
		}
		return b
	}
	f.Add(seed(fast(0, 0, gnss, 1, payload(43, 0))))
	f.Add(seed(bam(0, 0, 7, 126996, payload(134, 0))))
	f.Fuzz(func(t *testing.T, b []byte) {
		a := New()
		at := int64(0)
		for len(b) >= 15 {
			at += int64(int8(b[4])) * 10 * ms
			fr := frame.Frame{Time: at, Bus: b[5] & 3, Frame: can.Frame{ID: binary.LittleEndian.Uint32(b), IsExtended: true, Length: b[6]}}
			copy(fr.Data[:], b[7:15])
			b = b[15:]
			m := a.Add(&fr)
			if m == nil {
				continue
			}
			limit := 8
			if m.Def != nil && m.Def.Fast {
				limit = pgn.MaxFastPacket
			}
			if pgn.ParseID(fr.ID).PGN == transfer {
				limit = MaxBAMLength
			}
			if len(m.Data) > limit {
				t.Fatalf("PGN %d: %d bytes", m.Header.PGN, len(m.Data))
			}
		}
		// The order of slots holds each exactly once.
		for _, tab := range []*table{a.fast, a.bam} {
			n := 0
			for i := tab.oldest; i != none && n <= len(tab.slots); i = tab.slots[i].newer {
				n++
			}
			if n != len(tab.slots) {
				t.Fatalf("%d slots in order, want %d", n, len(tab.slots))
			}
		}
	})
}

func BenchmarkAdd(b *testing.B) {
	h := pgn.Header{Priority: 2, PGN: 127250, Source: 9, Destination: pgn.Broadcast}
	frames := fast(0, 0, gnss, 1, payload(43, 0))
	for range 40 {
		frames = append(frames, newFrame(10*ms, 0, h, 1, 2, 3, 4, 5, 6, 7, 8))
	}
	a := New()
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		a.Add(&frames[i%len(frames)])
	}
}
