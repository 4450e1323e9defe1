package pgn_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/pgn"
)

// The patterns at the top of the range of every width, at every place in a
// byte. The rule is from memory: three patterns from 8 bits, two from 4, one
// from 2, none for a single bit.
func TestSentinels(t *testing.T) {
	top := []pgn.State{pgn.NotAvailable, pgn.OutOfRange, pgn.Reserved}
	for bits := 1; bits <= 64; bits++ {
		sentinels := 3
		switch {
		case bits == 1:
			sentinels = 0
		case bits <= 3:
			sentinels = 1
		case bits <= 7:
			sentinels = 2
		}
		for _, signed := range []bool{false, true} {
			if signed && bits < 8 {
				continue // no table has such a field
			}
			for shift := range 8 {
				f := &pgn.Field{Offset: shift, Bits: bits, Resolution: 1, Unit: pgn.One, Signed: signed}
				max := ^uint64(0) >> (64 - bits)
				if signed {
					max >>= 1
				}
				for below := uint64(0); below < 5 && below <= max; below++ {
					want := pgn.Valid
					if below < uint64(sentinels) {
						want = top[below]
					}
					checkState(t, f, max-below, want)
				}
				checkState(t, f, 0, pgn.Valid)
				if signed {
					checkState(t, f, max+1, pgn.Valid)      // the least
					checkState(t, f, ^uint64(0), pgn.Valid) // -1
				}
			}
		}
	}
}

func checkState(t *testing.T, f *pgn.Field, raw uint64, want pgn.State) {
	t.Helper()
	data := make([]byte, 9)
	f.PutRaw(data, int64(raw))
	got, state := f.Raw(data)
	mask := ^uint64(0) >> (64 - f.Bits)
	if state != want || uint64(got)&mask != raw&mask {
		t.Fatalf("%d bits, signed %v, at bit %d: %#x is %#x and %v, want %v", f.Bits, f.Signed, f.Offset, raw, got, state, want)
	}
	v := f.Wire(data)
	if v.State != want || (want != pgn.Valid) != math.IsNaN(v.V) {
		t.Fatalf("%d bits: %#x is %v", f.Bits, raw, v)
	}
	if want != pgn.Valid {
		return
	}
	number := float64(raw)
	if f.Signed {
		number = float64(int64(raw<<(64-f.Bits)) >> (64 - f.Bits))
	}
	if v.V != number {
		t.Fatalf("%d bits, signed %v: %#x is %v, want %v", f.Bits, f.Signed, raw, v.V, number)
	}
}

// Every pattern of Bits is a value.
func TestBitsHaveNoSentinel(t *testing.T) {
	for bits := 1; bits <= 63; bits++ {
		f := &pgn.Field{Bits: bits, Resolution: 1, Unit: pgn.One, Kind: pgn.Bits}
		data := bytes.Repeat([]byte{0xFF}, 8)
		if raw, state := f.Raw(data); state != pgn.Valid || uint64(raw) != 1<<bits-1 {
			t.Errorf("%d bits: %#x and %v", bits, raw, state)
		}
	}
}

// States survive an encoding where the field's width has a pattern for them,
// and otherwise become not available.
func TestPutStates(t *testing.T) {
	fields(func(m *pgn.Message, f *pgn.Field) {
		if f.Kind == pgn.Text || f.Kind == pgn.Spare {
			return
		}
		for _, want := range []pgn.State{pgn.NotAvailable, pgn.OutOfRange, pgn.Reserved} {
			data := make([]byte, m.Length)
			f.Put(data, pgn.Value{State: want})
			got := f.SI(data).State
			n := f.Sentinels()
			switch {
			case n == 0:
				want = pgn.Valid // all ones is a value
			case uint64(want) > n:
				want = pgn.NotAvailable
			}
			if got != want {
				t.Errorf("%s: %s: %v, want %v", m.Name, f.Name, got, want)
			}
		}
	})
}

// A value that does not fit never becomes another value.
func TestPutOutOfRange(t *testing.T) {
	fields(func(m *pgn.Message, f *pgn.Field) {
		n := f.Sentinels()
		if n == 0 || f.Kind == pgn.Text {
			return
		}
		want := pgn.OutOfRange
		if n == 1 {
			want = pgn.NotAvailable
		}
		bits := f.Bits
		least := 0.0
		if f.Signed {
			bits--
			least = -math.Ldexp(1, bits)
		}
		beyond := math.Ldexp(1, bits)
		si := func(raw float64) float64 { return (raw*f.Resolution+f.Zero)*f.Unit.Scale + f.Unit.Zero }
		for _, v := range []float64{math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64,
			si(beyond), si(beyond - 1), si(least - 1), si(least*1.001 - 1)} {
			if bits > 53 && v == si(least) {
				continue // the same number
			}
			data := m.New()
			f.Put(data, pgn.Value{V: v})
			if got := f.SI(data); got.State != want {
				t.Errorf("%s: %s: %v is %v, want %v", m.Name, f.Name, v, got, want)
			}
		}
		data := make([]byte, m.Length)
		f.Put(data, pgn.Value{V: math.NaN()})
		if got := f.SI(data); got.State != pgn.NotAvailable {
			t.Errorf("%s: %s: NaN is %v", m.Name, f.Name, got)
		}
	})
}

// New says nothing: every field that can be not available is, and every other
// bit is one.
func TestNew(t *testing.T) {
	fields(func(m *pgn.Message, f *pgn.Field) {
		data := m.New()
		if len(data) != m.Length {
			t.Fatalf("%s: %d bytes", m.Name, len(data))
		}
		if f.Kind == pgn.Text {
			if s := f.String(data); s != "" {
				t.Errorf("%s: %s is %q", m.Name, f.Name, s)
			}
			return
		}
		raw, state := f.Raw(data)
		if f.Sentinels() > 0 && state != pgn.NotAvailable {
			t.Errorf("%s: %s is %v", m.Name, f.Name, state)
		}
		if f.Sentinels() == 0 && uint64(raw) != ^uint64(0)>>(64-f.Bits) {
			t.Errorf("%s: %q is %#x", m.Name, f.Name, raw)
		}
	})
}

// decode(encode(x)) is x within half a step, for random x over each field's
// whole range, and no other field changes.
func TestRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	fields(func(m *pgn.Message, f *pgn.Field) {
		if f.Kind == pgn.Text || f.Kind == pgn.Spare {
			return
		}
		lowest, highest := span(f)
		for range 200 {
			x := lowest + (highest-lowest)*rng.Float64()
			data := randomPayload(rng, m.Length)
			before := bytes.Clone(data)
			if err := roundTrip(f, data, x); err != nil {
				t.Fatalf("%s: %s: %v", m.Name, f.Name, err)
			}
			for i := range m.Fields {
				g := &m.Fields[i]
				if g == f || g.Kind == pgn.Text {
					continue
				}
				was, _ := g.Raw(before)
				if is, _ := g.Raw(data); is != was {
					t.Fatalf("%s: %s changes %q from %d to %d", m.Name, f.Name, g.Name, was, is)
				}
			}
		}
	})
}

// span is the range of a field's values in SI.
func span(f *pgn.Field) (lowest, highest float64) {
	bits := f.Bits
	if f.Signed {
		bits--
		lowest = -math.Ldexp(1, bits)
	}
	highest = math.Ldexp(1, bits) - 1 - float64(f.Sentinels())
	if bits > 52 {
		highest = math.Nextafter(math.Ldexp(1, bits), 0)
	}
	si := func(raw float64) float64 {
		return (raw*f.Resolution+f.Zero)*f.Unit.Scale + f.Unit.Zero
	}
	lowest, highest = si(lowest), si(highest)
	return min(lowest, highest), max(lowest, highest)
}

// roundTrip stores x and reads it back. The allowance beyond half a step is the
// rounding of float64, which only fields of 64 bits come near.
func roundTrip(f *pgn.Field, data []byte, x float64) error {
	f.Put(data, pgn.Value{V: x})
	got := f.SI(data)
	half := math.Abs(f.Resolution * f.Unit.Scale / 2)
	if got.State != pgn.Valid || !(math.Abs(got.V-x) <= half+4e-16*math.Abs(x)) {
		return fmt.Errorf("%v becomes %v, half a step is %v", x, got, half)
	}
	return nil
}

// Raw numbers survive exactly, in all widths; through SI they do up to the 53
// bits of float64.
func TestRawRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	fields(func(m *pgn.Message, f *pgn.Field) {
		if f.Kind == pgn.Text {
			return
		}
		for range 200 {
			sent := randomPayload(rng, m.Length)
			want, state := f.Raw(sent)
			data := m.New()
			f.PutRaw(data, want)
			if got, _ := f.Raw(data); got != want {
				t.Fatalf("%s: %q: raw %d becomes %d", m.Name, f.Name, want, got)
			}
			if f.Bits > 53 {
				continue
			}
			again := m.New()
			f.Put(again, f.SI(sent))
			if state != pgn.Valid {
				if s := f.SI(again).State; s != state {
					t.Fatalf("%s: %q: %v becomes %v", m.Name, f.Name, state, s)
				}
				continue
			}
			if got, _ := f.Raw(again); got != want {
				t.Fatalf("%s: %q: raw %d becomes %d through SI", m.Name, f.Name, want, got)
			}
		}
	})
}

// A device may send less: what is missing, whole or in part, is not available;
// what is there reads as ever. It may send more.
func TestPayloadLength(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	fields(func(m *pgn.Message, f *pgn.Field) {
		if f.Kind == pgn.Text {
			return
		}
		whole := randomPayload(rng, m.Length)
		want, state := f.Raw(whole)
		for n := range m.Length + 20 {
			data := append(bytes.Clone(whole[:min(n, m.Length)]), randomPayload(rng, max(0, n-m.Length))...)
			raw, s := f.Raw(data)
			if f.Offset+f.Bits > 8*n {
				if s != pgn.NotAvailable || f.SI(data).State != pgn.NotAvailable {
					t.Fatalf("%s: %q of %d bytes is %v", m.Name, f.Name, n, s)
				}
			} else if raw != want || s != state {
				t.Fatalf("%s: %q of %d bytes is %d and %v, want %d and %v", m.Name, f.Name, n, raw, s, want, state)
			}
		}
	})
}

func FuzzRoundTrip(f *testing.F) {
	f.Add(uint16(0), 0.0)
	f.Add(uint16(40), 66.6)
	f.Add(uint16(100), -1.5707963)
	var all []*pgn.Field
	fields(func(_ *pgn.Message, field *pgn.Field) {
		if field.Kind != pgn.Text && field.Kind != pgn.Spare {
			all = append(all, field)
		}
	})
	f.Fuzz(func(t *testing.T, n uint16, x float64) {
		field := all[int(n)%len(all)]
		data := make([]byte, pgn.MaxFastPacket)
		lowest, highest := span(field)
		if x >= lowest && x <= highest {
			if err := roundTrip(field, data, x); err != nil {
				t.Fatalf("%s: %v", field.Name, err)
			}
			return
		}
		field.Put(data, pgn.Value{V: x})
		half := math.Abs(field.Resolution * field.Unit.Scale / 2)
		if got := field.SI(data); got.State == pgn.Valid && field.Sentinels() > 0 && math.Abs(got.V-x) > half*1.001 {
			t.Fatalf("%s: %v becomes %v", field.Name, x, got)
		}
	})
}
