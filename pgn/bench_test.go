package pgn_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/descriptor"

	"trialday.example/logd/pgn"
)

// frames is 1,000 frames of the messages that make most of the traffic, as
// identifier and data.
func frames() ([]uint32, []can.Data) {
	rng := rand.New(rand.NewPCG(17, 18))
	var ids []uint32
	var data []can.Data
	often := []uint32{127488, 127250, 127257, 129025, 129026, 130306, 127493, 128259}
	for i := range 1000 {
		h := pgn.Header{Priority: 2, PGN: often[i%len(often)], Source: 1, Destination: pgn.Broadcast}
		ids = append(ids, h.ID())
		data = append(data, can.Data(randomPayload(rng, 8)))
	}
	return ids, data
}

// fullBus is the frames that a bus at 250 kbit/s carries in a second. ISO
// 11898-1 (from memory), a data frame with an extended identifier and n = 8 bytes
// of data: start 1, identifier 11 + 18 with SRR and IDE 2, RTR 1, reserved 2,
// length 4, data 8n, CRC 15 and its delimiter 1, acknowledge 2, end 7, and 3
// between frames: 67 + 8n = 131 bits. Stuff bits, up to 29 more, only make it
// slower.
const fullBus = 250e3 / 131

// perFrame reports frames a second, and how many full buses that is.
func perFrame(b *testing.B, n int) {
	rate := float64(b.N) * float64(n) / b.Elapsed().Seconds()
	b.ReportMetric(rate, "frames/s")
	b.ReportMetric(rate/fullBus, "x-bus")
	b.ReportMetric(0, "ns/op")
}

// Identifier to samples, by the table.
func BenchmarkSamples(b *testing.B) {
	ids, data := frames()
	b.ReportAllocs()
	for b.Loop() {
		sum := 0.0
		for i, id := range ids {
			if m := pgn.Lookup(pgn.ParseID(id).PGN); m != nil {
				m.Samples(data[i][:], func(_ pgn.Quantity, _ uint8, v pgn.Value) { sum += v.V })
			}
		}
		sink += sum
	}
	perFrame(b, len(ids))
}

// descriptors are those of go.einride.tech/can for the signals of every message.
func descriptors(b *testing.B, leftOut string) map[uint32][]descriptor.Signal {
	byPGN := make(map[uint32][]descriptor.Signal)
	for n, defs := range signals(b) {
		for name, def := range defs {
			if s, _ := window(def); name != leftOut {
				byPGN[n] = append(byPGN[n], s)
			}
		}
	}
	return byPGN
}

// besideDescriptors runs ours by turns with the descriptors of each frame's
// signals, which know of no value but numbers. x-descriptors is how many times as
// long ours takes.
func besideDescriptors(b *testing.B, data []can.Data, of func(i int) []descriptor.Signal, ours func()) {
	var theirs time.Duration
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		began := time.Now()
		for i := range data {
			all := of(i)
			for j := range all {
				sink += all[j].UnmarshalPhysical(data[i])
			}
		}
		theirs += time.Since(began)
		b.StartTimer()
		ours()
	}
	perFrame(b, len(data))
	b.ReportMetric(b.Elapsed().Seconds()/theirs.Seconds(), "x-descriptors")
}

// Identifier to every field, by the table.
func BenchmarkFields(b *testing.B) {
	ids, data := frames()
	byPGN := descriptors(b, "")
	theirs := func(i int) []descriptor.Signal { return byPGN[pgn.ParseID(ids[i]).PGN] }
	besideDescriptors(b, data, theirs, func() {
		for i, id := range ids {
			m := pgn.Lookup(pgn.ParseID(id).PGN)
			for j := range m.Fields {
				if f := &m.Fields[j]; f.Kind != pgn.Spare {
					sink += f.Wire(data[i][:]).V
				}
			}
		}
	})
}

// The three measured fields of one message, by accessors.
func BenchmarkAccessors(b *testing.B) {
	_, data := frames()
	measured := descriptors(b, "instance")[127488]
	theirs := func(int) []descriptor.Signal { return measured }
	besideDescriptors(b, data, theirs, func() {
		for i := range data {
			p := pgn.EngineRapid(data[i][:])
			sink += p.Speed().V + p.Boost().V + p.Trim().V
		}
	})
}
