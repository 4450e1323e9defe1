package pgn

// Addresses with a meaning of their own (ISO 11783-5).
const (
	// Broadcast is the destination of a message to all.
	Broadcast = 255
	// NullAddress is the source of a device that holds no address.
	NullAddress = 254
)

// pdu2 is the first PDU format whose messages always go to all. Below it the
// PDU specific byte is the destination and no part of the PGN
// (ISO 11783-3, PDU1 and PDU2 formats).
const pdu2 = 240

// Header is what a 29-bit identifier says about a frame.
type Header struct {
	Priority    uint8  // 0 (first) to 7
	PGN         uint32 // 18 bits: extended data page, data page, format, group extension
	Source      uint8
	Destination uint8 // Broadcast when the frame is for all
}

// ParseID splits a 29-bit identifier (ISO 11783-3): priority 3 bits, extended
// data page 1, data page 1, PDU format 8, PDU specific 8, source address 8.
// Bits above the 29th are ignored.
func ParseID(id uint32) Header {
	h := Header{
		Priority:    uint8(id >> 26 & 7),
		PGN:         id >> 8 & 0x3FFFF,
		Source:      uint8(id),
		Destination: Broadcast,
	}
	if format := uint8(id >> 16); format < pdu2 {
		h.Destination = uint8(id >> 8)
		h.PGN &^= 0xFF
	}
	return h
}

// ID is the identifier that ParseID splits into h. The destination counts only
// where the PGN can be addressed.
func (h Header) ID() uint32 {
	pgn := h.PGN & 0x3FFFF
	if format := uint8(pgn >> 8); format < pdu2 {
		pgn = pgn&^0xFF | uint32(h.Destination)
	}
	return uint32(h.Priority&7)<<26 | pgn<<8 | uint32(h.Source)
}
