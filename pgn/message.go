package pgn

import "math"

// Message is the definition of one PGN. Definitions are shared: do not alter
// them.
//
// Invariant: the fields, spare ones included, cover the bits of Length bytes
// once each, in order.
type Message struct {
	PGN  uint32
	Name string
	// Type is the name of the generated type with one method a field; empty
	// if there is none.
	Type string
	// Priority is the one usually sent (from memory).
	Priority uint8
	// Fast marks a message sent in the fast-packet protocol.
	Fast bool
	// Length is the payload's length in bytes as New makes it. Devices may
	// send less or more.
	Length int
	// Ranges are the patterns that are not values.
	Ranges Ranges
	Fields []Field
	// Instance is the bits that tell one of several of a kind (engine, tank,
	// battery) from another; nil if there is one only.
	Instance *Field

	samples []measured
	at      int // of the instance's byte
}

// Field is the field of that name, nil if there is none.
func (m *Message) Field(name string) *Field {
	for i := range m.Fields {
		if f := &m.Fields[i]; f.Name == name && f.Kind != Spare {
			return f
		}
	}
	return nil
}

// New is a payload in which every field is not available and every spare bit
// is one.
func (m *Message) New() []byte {
	data := make([]byte, m.Length)
	for i := range data {
		data[i] = 0xFF
	}
	for i := range m.Fields {
		if f := &m.Fields[i]; f.Signed {
			f.putState(data, NotAvailable)
		}
	}
	return data
}

// Samples calls emit for every measured field of a payload, in the order of the
// table, with the value in SI. Values that are not available, missing from a
// short payload, out of range or reserved are emitted with their state; a field
// whose reference does not say what it measures is not emitted, and nothing is
// if the payload ends before the instance. It does not allocate, provided that
// emit does not.
func (m *Message) Samples(data []byte, emit func(q Quantity, instance uint8, v Value)) {
	var instance uint8
	if m.Instance != nil {
		if m.at >= len(data) {
			return
		}
		instance = data[m.at]
	}
	for i := range m.samples {
		s := &m.samples[i]
		if q := s.quantity(data); q != None {
			emit(q, instance, s.si(data))
		}
	}
}

// Step is the smallest difference of a quantity that the message can say, in SI;
// 0 if the message does not measure it.
func (m *Message) Step(q Quantity) float64 {
	for i := range m.samples {
		if f := m.samples[i].Field; f.Quantity == q {
			return math.Abs(f.Resolution * f.Unit.Scale)
		}
	}
	return 0
}

// index finds messages by PGN in two steps of an array: the high 10 bits give
// the page, the low 8 the place in it. It is looked up for every frame.
type index [1 << 10]*[1 << 8]*Message

var messages = build(table)

// build completes the definitions and indexes them. It panics on a table that
// contradicts itself.
func build(table []Message) *index {
	var ix index
	for i := range table {
		m := &table[i]
		m.complete()
		page := &ix[m.PGN>>8]
		if *page == nil {
			*page = new([1 << 8]*Message)
		}
		(*page)[m.PGN&0xFF] = m
	}
	return &ix
}

// complete sets what rows leave to default and lists the measured fields.
func (m *Message) complete() {
	if i := m.Instance; i != nil {
		if m.at = i.Offset / 8; i.Offset%8 != 0 || i.Bits != 8 {
			panic("pgn: " + m.Name + ": the instance is no byte")
		}
	}
	for i := range m.Fields {
		f := &m.Fields[i]
		f.ranges = m.Ranges
		if f.Resolution == 0 {
			f.Resolution = 1
		}
		if f.Unit == nil {
			f.Unit = One
		}
	}
	for i := range m.Fields {
		f := &m.Fields[i]
		if f.Quantity == None && f.Variants == nil {
			continue
		}
		s := measured{reading: prepare(f)}
		if f.By != "" {
			by := m.Field(f.By)
			if by == nil {
				panic("pgn: " + m.Name + ": no field " + f.By)
			}
			r := prepare(by)
			s.by = &r
		}
		m.samples = append(m.samples, s)
	}
}

// Lookup is the definition of a PGN, nil if it is not known here.
func Lookup(pgn uint32) *Message {
	if pgn >= 1<<18 {
		return nil
	}
	page := messages[pgn>>8]
	if page == nil {
		return nil
	}
	return page[pgn&0xFF]
}

// All is every definition, by rising PGN.
func All() []*Message {
	all := make([]*Message, len(table))
	for i := range table {
		all[i] = &table[i]
	}
	return all
}
