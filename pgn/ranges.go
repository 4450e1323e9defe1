package pgn

// Ranges says which patterns at the top of a field's range are not values, and
// which of the three each is.
type Ranges uint8

const (
	// TopPatterns: single patterns, from the top down not available, out of
	// range, reserved. Of 8 or more bits there are three, of 4 to 7 two, of 2
	// and 3 one (from memory).
	TopPatterns Ranges = iota
	// TopBytes: all patterns of one most significant byte together (SAE
	// J1939-71, transmitted signal ranges, from memory): 0xFF is not
	// available, 0xFE an error indicator, 0xFB to 0xFD specific to the
	// parameter or reserved. Of fields shorter than a byte the highest pattern
	// is not available, and of 2 bits the one below it an error.
	TopBytes
)

// sentinels is the number of patterns at the top that are not values.
func (r Ranges) sentinels(bits int) uint64 {
	switch {
	case bits < 2:
		return 0
	case r == TopBytes && bits == 2:
		return 2
	case r == TopBytes && bits < 8:
		return 1
	case r == TopBytes:
		return 5 << (bits - 8)
	case bits < 4:
		return 1
	case bits < 8:
		return 2
	}
	return 3
}

// step is the base 2 logarithm of how many patterns say the same.
func (r Ranges) step(bits int) uint8 {
	if r == TopBytes && bits > 8 {
		return uint8(bits - 8)
	}
	return 0
}

// state is what a pattern says that is so many steps below the top.
func state(below uint64) State { return NotAvailable + State(min(below, 2)) }
