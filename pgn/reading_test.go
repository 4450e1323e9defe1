package pgn

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestReadingIsTheField: of every measured field, and of those that decide what
// was measured, the prepared reading gives what the field gives, whatever the
// payload and its length.
func TestReadingIsTheField(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, m := range All() {
		var all []*reading
		for i := range m.samples {
			all = append(all, &m.samples[i].reading)
			if by := m.samples[i].by; by != nil {
				all = append(all, by)
			}
		}
		for range 300 {
			data := make([]byte, rng.IntN(m.Length+9))
			for i := range data {
				data[i] = []byte{0, 0xFF, 0xFE, 0xFD, 0x7F, 0x80, byte(rng.Uint32())}[rng.IntN(7)]
			}
			for _, r := range all {
				raw, state := r.raw(data)
				wantRaw, wantState := r.Field.Raw(data)
				if raw != wantRaw || state != wantState {
					t.Fatalf("%s %s of % x: %d %v, want %d %v", m.Name, r.Name, data, raw, state, wantRaw, wantState)
				}
				got, want := r.si(data), r.SI(data)
				if math.Float64bits(got.V) != math.Float64bits(want.V) || got.State != want.State {
					t.Fatalf("%s %s of % x: %v, want %v", m.Name, r.Name, data, got, want)
				}
			}
		}
	}
}
