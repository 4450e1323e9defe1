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

// fullBus is the frames that a bus at 250 kbit/s carries in a second: an
// extended frame of eight bytes takes 131 bits, stuff bits apart.
const fullBus = 250e3 / 131

// perFrame reports frames a second, and how many full buses that is.
func perFrame(b *testing.B, n int) {
	rate := float64(b.N) * float64(n) / b.Elapsed().Seconds()
	b.ReportMetric(rate, "frame/s")
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

// decodeFields reads every field, by the table.
func decodeFields(ids []uint32, data []can.Data) {
	for i, id := range ids {
		m := pgn.Lookup(pgn.ParseID(id).PGN)
		for j := range m.Fields {
			if f := &m.Fields[j]; f.Kind != pgn.Spare {
				sink += f.Wire(data[i][:]).V
			}
		}
	}
}

// Every field, by the table, and by turns by go.einride.tech/can's descriptors of
// the same messages, which know of no value but numbers: x-descriptors is how
// many times as long the table takes.
func BenchmarkFields(b *testing.B) {
	ids, data := frames()
	byPGN := make(map[uint32][]descriptor.Signal)
	for n, defs := range signals(b) {
		for _, def := range defs {
			s, _ := window(def)
			byPGN[n] = append(byPGN[n], s)
		}
	}
	var theirs time.Duration
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		began := time.Now()
		for i, id := range ids {
			all := byPGN[pgn.ParseID(id).PGN]
			for j := range all {
				sink += all[j].UnmarshalPhysical(data[i])
			}
		}
		theirs += time.Since(began)
		b.StartTimer()
		decodeFields(ids, data)
	}
	perFrame(b, len(ids))
	b.ReportMetric(b.Elapsed().Seconds()/theirs.Seconds(), "x-descriptors")
}

// The three measured fields of one message, by accessors.
func BenchmarkAccessors(b *testing.B) {
	_, data := frames()
	b.ReportAllocs()
	for b.Loop() {
		for i := range data {
			p := pgn.EngineRapid(data[i][:])
			sink += p.Speed().V + p.Boost().V + p.Trim().V
		}
	}
	perFrame(b, len(data))
}
