package pgn_test

import (
	"math"
	"testing"

	"trialday.example/logd/pgn"
)

// fields calls check for every field of every message.
func fields(check func(m *pgn.Message, f *pgn.Field)) {
	for _, m := range pgn.All() {
		for i := range m.Fields {
			check(m, &m.Fields[i])
		}
	}
}

// The fields of a message cover its bits once each, in order.
func TestLayoutsAreComplete(t *testing.T) {
	last := uint32(0)
	for _, m := range pgn.All() {
		if m.PGN <= last {
			t.Errorf("%d %s: not in order of PGN", m.PGN, m.Name)
		}
		last = m.PGN
		end := 0
		names := make(map[string]bool)
		for i := range m.Fields {
			f := &m.Fields[i]
			if f.Offset != end {
				t.Errorf("%s: %q starts at bit %d, the field before ends at %d", m.Name, f.Name, f.Offset, end)
			}
			end += f.Bits
			if f.Kind == pgn.Spare {
				continue
			}
			if f.Name == "" || names[f.Name] {
				t.Errorf("%s: name %q is empty or used twice", m.Name, f.Name)
			}
			names[f.Name] = true
			if m.Field(f.Name) != f {
				t.Errorf("%s: Field(%q) is another", m.Name, f.Name)
			}
		}
		if end != m.Length*8 {
			t.Errorf("%s: fields end at bit %d of %d", m.Name, end, m.Length*8)
		}
		if !m.Fast && m.Length > 8 || m.Length > pgn.MaxFastPacket {
			t.Errorf("%s: %d bytes do not fit", m.Name, m.Length)
		}
	}
}

func TestFieldUnknown(t *testing.T) {
	m := pgn.Lookup(127488)
	for _, name := range []string{"", "nothing"} {
		if f := m.Field(name); f != nil {
			t.Errorf("Field(%q) = %v", name, f)
		}
	}
}

func TestLookup(t *testing.T) {
	known := make(map[uint32]*pgn.Message)
	for _, m := range pgn.All() {
		known[m.PGN] = m
	}
	for n := range uint32(1<<18 + 1000) {
		if got := pgn.Lookup(n); got != known[n] {
			t.Fatalf("Lookup(%d) = %v", n, got)
		}
	}
	if got := pgn.Lookup(math.MaxUint32); got != nil {
		t.Errorf("Lookup(max) = %v", got)
	}
}

// Every quantity has a field that measures it, but for the power of a battery: it
// is the product of two.
func TestEveryQuantityIsMeasured(t *testing.T) {
	measured := [pgn.NumQuantities]bool{pgn.BatteryPower: true}
	fields(func(_ *pgn.Message, f *pgn.Field) {
		measured[f.Quantity] = true
		for _, q := range f.Variants {
			measured[q] = true
		}
	})
	for q, ok := range measured {
		if !ok {
			t.Errorf("no field measures %v", pgn.Quantity(q))
		}
	}
}

// Payloads written out by hand from the layouts (from memory).
func TestKnownPayloads(t *testing.T) {
	for _, c := range []struct {
		pgn     uint32
		payload string
		field   string
		wire    float64
		si      float64
	}{
		{127488, "\x01\x80\x3E\xFF\xFF\xFB\xFF\xFF", "instance", 1, 1},
		{127488, "\x01\x80\x3E\xFF\xFF\xFB\xFF\xFF", "speed", 4000, 4000.0 / 60},
		{127488, "\x01\x80\x3E\xFF\xFF\xFB\xFF\xFF", "trim", -5, -0.05},
		// 97.3 US gal/h of 3.785411784 L is 368.3 L/h to the nearest step.
		{127489, "\x00\x00\x00\x00\x00\x00\x00\x00\x00\x63\x0E", "fuel_rate", 368.3, 368.3 / 3.6e6},
		{127245, "\x00\xFF\xFF\x7F\x18\xFC\xFF\xFF", "position", -0.1, -0.1},
		{127505, "\x21\xA8\x61\x10\x27\x00\x00\xFF", "level", 100, 1},
		{127505, "\x21\xA8\x61\x10\x27\x00\x00\xFF", "capacity", 1000, 1},
		{127251, "\x00\x00\x48\xE8\x01\xFF\xFF\xFF", "rate", 1, 1},
		{129025, "\x00\xE9\xA4\x35\x00\x17\x5B\xCA", "latitude", 90, math.Pi / 2},
		{129025, "\x00\xE9\xA4\x35\x00\x17\x5B\xCA", "longitude", -90, -math.Pi / 2},
		{129026, "\x00\xFC\x5C\x3D\xE8\x03\xFF\xFF", "speed", 10, 10},
		{126992, "\x00\xF0\x01\x00\x10\x27\x00\x00", "date", 1, 86400},
		{126992, "\x00\xF0\x01\x00\x10\x27\x00\x00", "time", 1, 1},
	} {
		f := pgn.Lookup(c.pgn).Field(c.field)
		wire, si := f.Wire([]byte(c.payload)), f.SI([]byte(c.payload))
		if wire.State != pgn.Valid || !near(wire.V, c.wire) || !near(si.V, c.si) {
			t.Errorf("%d %s: %v and %v, want %v and %v", c.pgn, c.field, wire, si, c.wire, c.si)
		}
	}
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-12*math.Max(1, math.Abs(b)) }
