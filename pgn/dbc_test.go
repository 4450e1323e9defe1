package pgn_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/dbc"
	"go.einride.tech/can/pkg/descriptor"

	"trialday.example/logd/pgn"
)

const dbcFile = "../testdata/pgn/messages.dbc"

// signals reads the DBC file: for every PGN its signals by name.
func signals(t testing.TB) map[uint32]map[string]dbc.SignalDef {
	t.Helper()
	text, err := os.ReadFile(dbcFile)
	if err != nil {
		t.Fatal(err)
	}
	parser := dbc.NewParser(dbcFile, text)
	if err := parser.Parse(); err != nil {
		t.Fatal(err)
	}
	all := make(map[uint32]map[string]dbc.SignalDef)
	for _, def := range parser.Defs() {
		m, ok := def.(*dbc.MessageDef)
		if !ok {
			continue
		}
		h := pgn.ParseID(m.MessageID.ToCAN())
		byName := make(map[string]dbc.SignalDef)
		for _, s := range m.Signals {
			byName[string(s.Name)] = s
		}
		all[h.PGN] = byName
		if want := pgn.Lookup(h.PGN); want == nil || int(m.Size) != want.Length || h.Priority != want.Priority {
			t.Errorf("%s: length %d, priority %d differ from the table", m.Name, m.Size, h.Priority)
		}
	}
	return all
}

// window makes a descriptor of the signal within one frame's 8 bytes, which
// start at the returned byte of a payload.
func window(s dbc.SignalDef) (descriptor.Signal, int) {
	start := 0
	if s.StartBit+s.Size > 64 {
		start = int(s.StartBit / 8)
	}
	return descriptor.Signal{
		Name:     string(s.Name),
		Start:    uint8(int(s.StartBit) - 8*start),
		Length:   uint8(s.Size),
		IsSigned: s.IsSigned,
		Scale:    s.Factor,
		Offset:   s.Offset,
		Min:      s.Minimum,
		Max:      s.Maximum,
	}, start
}

// The table is compared with a DBC file written separately, decoded by
// go.einride.tech/can (pkg/dbc, pkg/descriptor), on random payloads. Raw
// numbers and values must be equal to the last bit.
func TestFieldsAgainstDBC(t *testing.T) {
	all := signals(t)
	rng := rand.New(rand.NewPCG(1, 2))
	for _, m := range pgn.All() {
		described := all[m.PGN]
		for i := range m.Fields {
			f := &m.Fields[i]
			if f.Kind == pgn.Spare || f.Kind == pgn.Text {
				continue
			}
			def, ok := described[f.Name]
			if !ok {
				t.Errorf("%s: %s is not in the DBC file", m.Name, f.Name)
				continue
			}
			delete(described, f.Name)
			compare(t, rng, m, f, def)
		}
		for name := range described {
			t.Errorf("%s: %s is in the DBC file only", m.Name, name)
		}
	}
}

func compare(t *testing.T, rng *rand.Rand, m *pgn.Message, f *pgn.Field, def dbc.SignalDef) {
	t.Helper()
	sig, start := window(def)
	valid := 0
	for range 500 {
		payload := randomPayload(rng, m.Length)
		var data can.Data
		copy(data[:], payload[start:])
		raw, state := f.Raw(payload)
		want := int64(sig.UnmarshalUnsigned(data))
		if sig.IsSigned {
			want = sig.UnmarshalSigned(data)
		}
		if raw != want {
			t.Fatalf("%s: %s of % X: raw %d, DBC %d", m.Name, f.Name, payload, raw, want)
		}
		v := f.Wire(payload)
		if v.State != state {
			t.Fatalf("%s: %s of % X: Raw says %v, Wire %v", m.Name, f.Name, payload, state, v.State)
		}
		if v.State != pgn.Valid {
			if !math.IsNaN(v.V) {
				t.Fatalf("%s: %s is %v and %v", m.Name, f.Name, v.V, v.State)
			}
			continue
		}
		valid++
		if p := sig.UnmarshalPhysical(data); v.V != p {
			t.Fatalf("%s: %s of % X: %v, DBC %v", m.Name, f.Name, payload, v.V, p)
		}
	}
	if valid == 0 {
		t.Errorf("%s: %s: no random payload was valid", m.Name, f.Name)
	}
}

func randomPayload(rng *rand.Rand, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(rng.Uint32())
	}
	return b
}
