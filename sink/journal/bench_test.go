package journal

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"testing"
	"time"

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
	for _, block := range []int{20, 200, 4096, blockFrames} {
		b.Run(fmt.Sprintf("block=%d", block), func(b *testing.B) {
			var bytes int64
			b.ReportAllocs()
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

// stored is the blocks of a journal as they are on the disk, and their frames.
type stored struct {
	payloads [][]byte
	frames   [][]frame.Frame
}

func storedIn(b *testing.B, path string) (all stored) {
	b.Helper()
	s, err := openSegment(path, 1)
	if err != nil {
		b.Fatal(err)
	}
	defer s.file.Close()
	z, err := newDecoder()
	if err != nil {
		b.Fatal(err)
	}
	for off := int64(headerLen); ; {
		x := block{seg: s}
		if x.head, x.stored, err = s.block(off, nil); err == io.EOF {
			return all
		}
		if x.decode(z); errors.Join(err, x.err) != nil {
			b.Fatal(err, x.err)
		}
		all.payloads, all.frames = append(all.payloads, x.stored), append(all.frames, x.frames)
		off = x.head.end(off)
	}
}

// inflate is what reading can at best approach: zstd alone, and a copy of what
// comes out of it in the end.
func (s *stored) inflate(b *testing.B, z *zstd.Decoder) {
	var raw []byte
	var copied []frame.Frame
	for i, p := range s.payloads {
		var err error
		if raw, err = z.DecodeAll(p, raw[:0]); err != nil {
			b.Fatal(err)
		}
		copied = append(copied[:0], s.frames[i]...)
	}
}

// BenchmarkRead reads a packed journal, with one goroutine and ahead with
// several, beside inflating it; x-inflate is how many times as long it takes.
func BenchmarkRead(b *testing.B) {
	list := boatBus(200_000)
	dir := b.TempDir()
	write(b, dir, Options{Packed: true}, list)
	all := storedIn(b, segmentPath(dir, 1))
	z, err := newDecoder()
	if err != nil {
		b.Fatal(err)
	}
	defer z.Close()
	perFrame := func(b *testing.B) {
		b.ReportMetric(float64(len(list))*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
	}
	b.Run("inflate", func(b *testing.B) {
		for b.Loop() {
			all.inflate(b, z)
		}
		perFrame(b)
	})
	for name, ahead := range map[string]int{"alone": 1, "ahead": runtime.GOMAXPROCS(0) + 1} {
		b.Run(name, func(b *testing.B) {
			var inflating time.Duration
			b.ReportAllocs()
			for b.Loop() { // by turns, since the machine may be busy at times
				b.StopTimer()
				began := time.Now()
				all.inflate(b, z)
				inflating += time.Since(began)
				b.StartTimer()
				readThrough(b, dir, ahead)
			}
			perFrame(b)
			b.ReportMetric(b.Elapsed().Seconds()/inflating.Seconds(), "x-inflate")
		})
	}
}

func readThrough(b *testing.B, dir string, ahead int) {
	r, err := Open(dir)
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	r.ReadAhead(ahead)
	var f frame.Frame
	for err = r.Next(&f); err == nil; err = r.Next(&f) {
	}
	if err != io.EOF {
		b.Fatal(err)
	}
}

// BenchmarkPack packs what a logger wrote in blocks of a tenth of a second.
func BenchmarkPack(b *testing.B) {
	list := boatBus(200_000)
	b.StopTimer()
	for range b.N {
		dir := b.TempDir()
		write(b, dir, Options{BlockFrames: 100}, list)
		b.StartTimer()
		pack(b, dir)
		b.StopTimer()
		b.ReportMetric(float64(sizes(b, dir)[1])/float64(len(list)), "bytes/frame")
	}
	b.ReportMetric(float64(len(list))*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}
