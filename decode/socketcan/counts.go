package socketcan

import (
	"sync/atomic"

	"trialday.example/logd/decode/frame"
)

// Counts is what a source received and lost.
type Counts struct {
	Frames    uint64 // handed on, error frames included
	Errors    uint64 // of these, error frames
	Dropped   uint64 // by the kernel, its buffer being full
	Malformed uint64 // not a classical CAN frame; passed over
	Foreign   uint64 // of interfaces not listened to; passed over
	Buffer    int64  // of the kernel, bytes by its own reckoning; 0 if there is none
	// Trouble says what hinders listening altogether and what to do about it;
	// "" if nothing does.
	Trouble string
}

// counter is Counts while they are being counted.
type counter struct {
	frames, errors, dropped, malformed, foreign atomic.Uint64
	buffer                                      atomic.Int64
	trouble                                     atomic.Pointer[string]
}

func (c *counter) add(f *frame.Frame) {
	c.frames.Add(1)
	if f.IsError {
		c.errors.Add(1)
	}
}

func (c *counter) get() Counts {
	n := Counts{
		Frames: c.frames.Load(), Errors: c.errors.Load(), Dropped: c.dropped.Load(),
		Malformed: c.malformed.Load(), Foreign: c.foreign.Load(), Buffer: c.buffer.Load(),
	}
	if t := c.trouble.Load(); t != nil {
		n.Trouble = *t
	}
	return n
}

// parse makes a frame of a message and counts it; false if it is none.
func (c *counter) parse(f *frame.Frame, data []byte, at int64, bus uint8) bool {
	if parseFrame(f, data) != nil {
		c.malformed.Add(1)
		return false
	}
	f.Time, f.Bus = at, bus
	c.add(f)
	return true
}
