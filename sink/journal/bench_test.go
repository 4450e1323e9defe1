package journal

import (
	"io"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/decode/frame"
)

// traffic is one message on an invented boat's bus: its identifier, its rate,
// and what its 8 bytes look like over time.
type traffic struct {
	id   uint32
	hz   float64
	data func(r *rand.Rand, t float64, n int) [8]byte
}

// boatBus returns n frames as a triple-engine boat's bus would carry them: the
// usual messages at their usual rates, slow signals with sensor noise, and
// receive times that jitter by the arbitration and by the recorder.
func boatBus(n int) []received {
	r := rand.New(rand.NewPCG(1, 2))
	wave := func(t, period, size float64) float64 { return size * math.Sin(2*math.Pi*t/period) }
	u16 := func(b []byte, v float64) {
		b[0], b[1] = byte(int(v)), byte(int(v)>>8)
	}
	u32 := func(b []byte, v float64) {
		u16(b, float64(int(v)&0xffff))
		u16(b[2:], float64(int(v)>>16))
	}
	var bus []traffic
	for k := range 3 {
		k, src := k, uint32(0x10+k)
		engine := func(r *rand.Rand, t float64, n int) [8]byte {
			d := [8]byte{byte(k), 0, 0, 0xff, 0xff, 5, 0xff, 0xff}
			u16(d[1:], 4*(3400+200*wave(t, 600, 1)+r.NormFloat64()*8))
			return d
		}
		gear := func(r *rand.Rand, t float64, n int) [8]byte {
			d := [8]byte{byte(k), 0xfc, 0, 0, 0, 0, 0, 0xff}
			u16(d[2:], 18000+r.NormFloat64()*20)
			u16(d[4:], 3500+wave(t, 3000, 40))
			return d
		}
		// Three or four frames of a fast packet: sequence and frame number,
		// then bytes of which few change.
		dynamic := func(r *rand.Rand, t float64, n int) [8]byte {
			frameNo := n % 4
			d := [8]byte{byte(n/4%8<<5 | frameNo), 26, byte(k), 0x20, 0x10, 0xff, 0xff, 0x40}
			switch frameNo {
			case 1:
				u16(d[3:], 900+r.NormFloat64()*6)
			case 2:
				u16(d[1:], t)
			case 3:
				d = [8]byte{d[0], 0, 0, 70 + byte(r.IntN(3)), 60, 0xff, 0xff, 0xff}
			}
			return d
		}
		bus = append(bus, traffic{0x09F20000 | src, 10, engine}, traffic{0x09F20500 | src, 10, gear},
			traffic{0x0DF20100 | src, 8, dynamic})
	}
	position := func(r *rand.Rand, t float64, n int) [8]byte {
		var d [8]byte
		u32(d[:], 504000000+t*1100+r.NormFloat64()*5)
		u32(d[4:], float64(0x3d00000)+t*800+r.NormFloat64()*5)
		return d
	}
	course := func(r *rand.Rand, t float64, n int) [8]byte {
		d := [8]byte{byte(n), 0xfc, 0, 0, 0, 0, 0xff, 0xff}
		u16(d[2:], 7000+wave(t, 40, 100)+r.NormFloat64()*40)
		u16(d[4:], 1500+wave(t, 30, 10)+r.NormFloat64()*4)
		return d
	}
	angles := func(scale float64) func(r *rand.Rand, t float64, n int) [8]byte {
		return func(r *rand.Rand, t float64, n int) [8]byte {
			d := [8]byte{byte(n), 0, 0, 0, 0, 0, 0, 0xff}
			u16(d[1:], 7000+wave(t, 3, scale)+r.NormFloat64()*20)
			u16(d[3:], 400+wave(t, 2.5, scale)+r.NormFloat64()*20)
			u16(d[5:], 300+wave(t, 4, scale)+r.NormFloat64()*20)
			return d
		}
	}
	slow := func(r *rand.Rand, t float64, n int) [8]byte {
		d := [8]byte{byte(n), 0, 0, 0xff, 0xff, 0, 0xff, 0xff}
		u16(d[1:], 1500+wave(t, 20, 30)+r.NormFloat64()*3)
		return d
	}
	gnss := func(r *rand.Rand, t float64, n int) [8]byte {
		d := [8]byte{byte(n/7%8<<5 | n%7)}
		for i := 1; i < 8; i++ {
			if d[i] = byte(n%7*31 + i*17); i == n%5+1 {
				d[i] = byte(r.Uint32())
			}
		}
		return d
	}
	bus = append(bus,
		traffic{0x09F80120, 10, position}, traffic{0x09F80220, 10, course}, traffic{0x0DF80520, 7, gnss},
		traffic{0x09F11221, 10, angles(300)}, traffic{0x0DF11921, 10, angles(400)}, traffic{0x09F11321, 10, angles(200)},
		traffic{0x09F50323, 1, slow}, traffic{0x0DF50B23, 1, slow}, traffic{0x09FD0224, 10, angles(100)},
		traffic{0x0DF21125, 0.4, slow}, traffic{0x0DFE1026, 1, slow}, traffic{0x09F10D27, 10, slow},
		traffic{0x0DF11020, 1, slow}, traffic{0x15F21428, 1, slow})

	due := make([]float64, len(bus))
	count := make([]int, len(bus))
	for i := range due {
		due[i] = r.Float64() / bus[i].hz
	}
	list := make([]received, n)
	free := 0.0
	for i := range list {
		k := 0
		for j := range due {
			if due[j] < due[k] {
				k = j
			}
		}
		// 131 to 160 bits at 250 kbit/s on the wire, then the recorder's delay.
		free = max(free, due[k]) + (131+r.Float64()*29)/250e3
		list[i].bus = "can0"
		list[i].Frame = frame.Frame{Time: 1_700_000_000_000_000_000 + int64((free+r.ExpFloat64()*20e-6)*1e6)*1000}
		list[i].ID, list[i].IsExtended, list[i].Length = bus[k].id, true, 8
		list[i].Data = bus[k].data(r, due[k], count[k])
		count[k]++
		due[k] += (1 + 0.001*r.NormFloat64()) / bus[k].hz
	}
	return list
}

func BenchmarkAppend(b *testing.B) {
	list := boatBus(50_000)
	for _, block := range []int{200, 1000, 4096, 16384} {
		b.Run(name(block), func(b *testing.B) {
			var bytes int64
			for range b.N {
				dir := b.TempDir()
				write(b, dir, Options{BlockFrames: block}, list)
				st, err := os.Stat(segmentPath(dir, 1))
				if err != nil {
					b.Fatal(err)
				}
				bytes = st.Size()
			}
			b.ReportMetric(float64(bytes)/float64(len(list)), "bytes/frame")
			b.ReportMetric(float64(len(list))*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
		})
	}
}

func name(block int) string {
	return map[int]string{200: "block=200", 1000: "block=1000", 4096: "block=4096", 16384: "block=16384"}[block]
}

func BenchmarkRead(b *testing.B) {
	list := boatBus(200_000)
	dir := b.TempDir()
	write(b, dir, Options{}, list)
	for b.Loop() {
		r, err := Open(dir)
		if err != nil {
			b.Fatal(err)
		}
		var f frame.Frame
		for err = r.Next(&f); err == nil; err = r.Next(&f) {
		}
		if err != io.EOF {
			b.Fatal(err)
		}
		r.Close()
	}
	b.ReportMetric(float64(len(list))*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

// BenchmarkReadDecompressOnly is what BenchmarkRead can at best approach: the
// zstd decompression of the same blocks.
func BenchmarkReadDecompressOnly(b *testing.B) {
	list := boatBus(200_000)
	dir := b.TempDir()
	write(b, dir, Options{}, list)
	s, err := openSegment(segmentPath(dir, 1), 1)
	if err != nil {
		b.Fatal(err)
	}
	defer s.file.Close()
	var stored [][]byte
	for off := int64(headerLen); ; {
		h, p, err := s.block(off, nil)
		if err == io.EOF {
			break
		}
		if err != nil {
			b.Fatal(err)
		}
		stored = append(stored, p)
		off = h.end(off)
	}
	z, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1))
	if err != nil {
		b.Fatal(err)
	}
	defer z.Close()
	var out []byte
	for b.Loop() {
		for _, p := range stored {
			if out, err = z.DecodeAll(p, out[:0]); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(len(list))*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}
