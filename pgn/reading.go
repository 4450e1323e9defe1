package pgn

import "encoding/binary"

// measured is a field that becomes a sample, with the field that decides its
// quantity, if any.
type measured struct {
	reading
	by *reading
}

// reading is a field prepared to be read in a few steps. It gives what the field
// gives, to the last bit; the field itself is asked where the payload is
// shorter than usual.
type reading struct {
	*Field
	at        int   // of eight bytes that end with the field, or begin the payload
	up, down  uint8 // shifts that leave the field's bits
	step      uint8 // of the patterns that say the same; see Ranges
	last, max int64 // greatest value, and greatest pattern
}

// prepare makes the reading of a field. Unsigned numbers of 64 bits have none.
func prepare(f *Field) reading {
	if f.Kind == Text || f.Bits > 64 || f.Bits == 64 && !f.Signed {
		panic("pgn: " + f.Name + ": no number of 63 bits at the most, or signed")
	}
	end := f.Offset + f.Bits
	r := reading{Field: f, at: max(0, (end+7)/8-8), max: int64(f.top()), last: int64(f.top() - f.Sentinels())}
	r.step = f.ranges.step(f.Bits)
	r.up, r.down = uint8(64-(end-8*r.at)), uint8(64-f.Bits)
	return r
}

// raw is Field.Raw.
func (r *reading) raw(data []byte) (int64, State) {
	if r.at+8 > len(data) {
		return r.Raw(data)
	}
	word := binary.LittleEndian.Uint64(data[r.at:]) << (r.up & 63)
	v := int64(word >> (r.down & 63))
	if r.Signed {
		v = int64(word) >> (r.down & 63)
	}
	if v > r.last {
		return v, state(uint64(r.max-v) >> (r.step & 63))
	}
	return v, Valid
}

// si is Field.SI.
func (r *reading) si(data []byte) Value {
	raw, state := r.raw(data)
	if state != Valid {
		return unusable(state)
	}
	v := float64(float64(raw)*r.Resolution) + r.Zero
	return Value{V: float64(v*r.Unit.Scale) + r.Unit.Zero}
}

// quantity is what was measured; None if the payload does not say.
func (s *measured) quantity(data []byte) Quantity {
	if s.by == nil {
		return s.Quantity
	}
	raw, state := s.by.raw(data)
	if state != Valid || raw < 0 || raw >= int64(len(s.Variants)) {
		return None
	}
	return s.Variants[raw]
}
