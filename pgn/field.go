package pgn

import (
	"encoding/binary"
	"math"
)

// Kind says how the bits of a field are to be read.
type Kind uint8

const (
	// Number is a measured value or a counter.
	Number Kind = iota
	// Choice is one of a list of meanings; its value is the list's index.
	Choice
	// Bits is an identity or a set of flags: every pattern is a value.
	Bits
	// Text is characters, one a byte.
	Text
	// Spare is reserved by the standard and sent as all ones. A spare field
	// has no name.
	Spare
)

// Field is one row of a message's table.
//
// The value in the wire's unit is raw*Resolution + Zero; Resolution is as the
// standard gives it. Unit alone converts to SI.
type Field struct {
	Name       string
	Offset     int // bits from the start of the payload, least significant first
	Bits       int // 1 to 64, more only for Text
	Resolution float64
	Zero       float64
	Signed     bool // two's complement
	Unit       *Unit
	Kind       Kind
	Quantity   Quantity
	// Where another field decides what was measured, By is its name and
	// Variants the quantities by its raw value. A raw value that has no
	// variant, or None, makes no sample.
	By       string
	Variants []Quantity

	ranges Ranges // of its message
}

// Value is a number, or the reason why there is none.
type Value struct {
	V     float64 // NaN unless State is Valid
	State State
}

func unusable(s State) Value { return Value{math.NaN(), s} }

// Sentinels is the number of patterns at the top of a field's range that are
// not values; see Ranges.
func (f *Field) Sentinels() uint64 {
	if f.Kind >= Bits {
		return 0
	}
	return f.ranges.sentinels(f.Bits)
}

// top is the greatest raw number that the field's bits can hold.
func (f *Field) top() uint64 {
	top := ^uint64(0) >> (uint(64-f.Bits) & 63)
	if f.Signed {
		top >>= 1
	}
	return top
}

// Raw is the field's number as sent, sign extended if it is signed (an
// unsigned field of 64 bits is to be converted to uint64), with what the number
// says. A payload that ends before the field does gives 0 and NotAvailable, and
// so does Text.
func (f *Field) Raw(data []byte) (int64, State) {
	raw, ok := load(data, f.Offset, f.Bits)
	if !ok {
		return 0, NotAvailable
	}
	if f.Signed {
		unused := uint(64-f.Bits) & 63
		raw = uint64(int64(raw<<unused) >> unused)
	}
	// Below the top by less than the number of sentinels: the difference
	// numbers them in the order of the State constants.
	if below := f.top() - raw; below < f.Sentinels() {
		return int64(raw), state(below >> f.ranges.step(f.Bits))
	}
	return int64(raw), Valid
}

// Wire is the field's value in the unit of its table row.
func (f *Field) Wire(data []byte) Value {
	raw, state := f.Raw(data)
	if state != Valid {
		return unusable(state)
	}
	v := float64(raw)
	if raw < 0 && !f.Signed {
		v = float64(uint64(raw))
	}
	return Value{V: float64(v*f.Resolution) + f.Zero}
}

// SI is the field's value in the SI unit of its quantity.
func (f *Field) SI(data []byte) Value {
	v := f.Wire(data)
	v.V = float64(v.V*f.Unit.Scale) + f.Unit.Zero
	return v
}

// Put stores a value given in SI, rounded to the nearest step. What the field
// cannot hold is stored as out of range, NaN as not available. A state that the
// field's width has no pattern for is stored as not available (all ones).
// It does nothing to Text, and panics if data ends before the field does; see
// Message.New.
func (f *Field) Put(data []byte, v Value) {
	if f.Kind == Text {
		return
	}
	state := v.State
	if state == Valid {
		var raw int64
		if raw, state = f.quantise(v.V); state == Valid {
			f.PutRaw(data, raw)
			return
		}
	}
	f.putState(data, state)
}

// quantise is the raw number nearest to an SI value.
func (f *Field) quantise(si float64) (int64, State) {
	if math.IsNaN(si) {
		return 0, NotAvailable
	}
	r := math.Round(((si-f.Unit.Zero)/f.Unit.Scale - f.Zero) / f.Resolution)
	lowest, highest := 0.0, f.top()-f.Sentinels()
	bits := f.Bits
	if f.Signed {
		bits--
		lowest = -math.Ldexp(1, bits)
	}
	// The first test keeps the conversion below defined; the second is exact
	// where float64 is not.
	if r < lowest || r >= math.Ldexp(1, bits) {
		return 0, OutOfRange
	}
	if r < 0 {
		return int64(r), Valid
	}
	if u := uint64(r); u <= highest {
		return int64(u), Valid
	}
	return 0, OutOfRange
}

// putState stores the pattern of a state other than Valid.
func (f *Field) putState(data []byte, s State) {
	below := uint64(s-NotAvailable) << f.ranges.step(f.Bits)
	if below >= f.Sentinels() {
		below = 0
	}
	raw := f.top() - below
	if f.Kind >= Bits {
		raw = ^uint64(0)
	}
	f.PutRaw(data, int64(raw))
}

// PutRaw stores the low bits of raw. It panics if data ends before the field
// does.
func (f *Field) PutRaw(data []byte, raw int64) {
	store(data, f.Offset, f.Bits, uint64(raw))
}

// load reads n (1 to 64) bits at a bit offset, least significant bit first.
// It reports false if data ends before them.
func load(data []byte, offset, n int) (uint64, bool) {
	if offset+n > len(data)*8 || n > 64 {
		return 0, false
	}
	at, shift := offset>>3, uint(offset&7)
	var word uint64
	if at+8 <= len(data) {
		word = binary.LittleEndian.Uint64(data[at:]) >> shift
		if int(shift)+n > 64 {
			word |= uint64(data[at+8]) << (64 - shift)
		}
	} else {
		word = tail(data, at) >> shift
	}
	return word & (^uint64(0) >> (uint(64-n) & 63)), true
}

// tail is the number in the last bytes of data, at most 8, from byte at.
func tail(data []byte, at int) uint64 {
	if skip := at + 8 - len(data); len(data) >= 8 {
		return binary.LittleEndian.Uint64(data[len(data)-8:]) >> (uint(8*skip) & 63)
	}
	var word uint64
	for i, b := range data[at:] {
		word |= uint64(b) << (8 * i)
	}
	return word
}

// store is the inverse of load; the bits around stay as they are.
func store(data []byte, offset, n int, raw uint64) {
	for n > 0 {
		shift := offset & 7
		take := min(8-shift, n)
		mask := byte(1<<take-1) << shift
		b := &data[offset>>3]
		*b = *b&^mask | byte(raw<<shift)&mask
		raw >>= take
		offset += take
		n -= take
	}
}
