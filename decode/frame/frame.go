// Package frame holds the unit everything starts from: one CAN frame as it was
// received, and the interface that every origin of frames offers.
//
// Invariant: a frame is never altered after reception. What later stages learn
// (the right time, the sender's identity) is kept beside it, never in it, so
// that the journal of frames stays the only truth.
package frame

import "go.einride.tech/can"

// MaxBuses bounds the number of interfaces in one capture.
const MaxBuses = 32

// Frame is one received CAN frame.
type Frame struct {
	// Time is the capture time in nanoseconds since 1970-01-01 by the
	// recorder's own clock. That clock may be wrong or step; see decode/clock.
	Time int64
	// Bus is the index of the interface in Source.Buses.
	Bus uint8
	// IsError marks a SocketCAN error frame: ID then carries the error class
	// bits (without the flag bit itself) and Data the details.
	IsError bool
	// Frame is the identifier, length and data, and the extended and remote
	// flags. For a remote frame Length is the requested length.
	can.Frame
}

// Source yields frames in the order in which they were received.
type Source interface {
	// Next stores the next frame in f. It returns io.EOF after the last one,
	// and any other error only where reading cannot go on. Faults that can be
	// skipped are counted by the source and are not errors.
	Next(f *Frame) error
	// Buses returns the interface names met so far; Frame.Bus is an index
	// into it. The slice only ever grows.
	Buses() []string
}
