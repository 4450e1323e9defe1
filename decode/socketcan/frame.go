package socketcan

import (
	"encoding/binary"
	"fmt"

	"go.einride.tech/can/pkg/socketcan"
	"golang.org/x/sys/unix"

	"trialday.example/logd/decode/frame"
)

// frameLen is the size of the kernel's struct can_frame in bytes.
const frameLen = 16

// parseFrame reads a struct can_frame into f, all but the time and the bus.
// Identifiers are little-endian, as on every machine this program is built for.
func parseFrame(f *frame.Frame, b []byte) error {
	if len(b) != frameLen {
		return fmt.Errorf("%d bytes; a CAN frame has %d", len(b), frameLen)
	}
	var raw socketcan.Frame
	raw.UnmarshalBinary(b)
	f.Frame = raw.DecodeFrame()
	if f.Length > 8 {
		return fmt.Errorf("data length %d; a CAN frame has at most 8 bytes", f.Length)
	}
	if f.IsError = raw.IsError(); f.IsError {
		f.ID = uint32(raw.DecodeErrorFrame().ErrorClass) & unix.CAN_ERR_MASK
		f.IsExtended, f.IsRemote = false, false
	}
	clear(f.Data[f.Length:])
	if f.IsRemote {
		clear(f.Data[:])
	}
	return nil
}

// whole drops the part of a time in ns that is less than a microsecond. It says
// nothing of the bus, where a bit lasts 4 µs at 250 kbit/s and the interrupt
// comes later by tens, and in the journal it would take a third of the room.
func whole(t int64) int64 { return t - t%1000 }

// errorFrame is what an error frame tells.
func errorFrame(f *frame.Frame) socketcan.ErrorFrame {
	b := make([]byte, frameLen)
	binary.LittleEndian.PutUint32(b, f.ID|unix.CAN_ERR_FLAG)
	b[4] = f.Length
	copy(b[8:], f.Data[:])
	var raw socketcan.Frame
	raw.UnmarshalBinary(b)
	return raw.DecodeErrorFrame()
}
