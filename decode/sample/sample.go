// Package sample holds the unit that calculation starts from: one value of one
// quantity at one time, from one source.
package sample

import "trialday.example/logd/pgn"

// Sample is one measured value in SI units.
type Sample struct {
	// Time is trial time in nanoseconds: it counts from the first frame of
	// the day and never runs backwards, whatever the recorder's clock does.
	// decode/clock turns it into UTC.
	Time int64
	// Value is in the SI unit of Quantity. It is meaningful only where State
	// is pgn.Valid.
	Value float64
	// Quantity says what was measured.
	Quantity pgn.Quantity
	// Instance is the engine index (0 = most port) for engine quantities, the
	// fluid type<<4 | tank for fluid quantities, otherwise the message's own
	// instance or 0.
	Instance uint8
	// Source is the index of the device that sent it; see decode/device.
	Source uint16
	// State is the quality the sender gave.
	State pgn.State
}
