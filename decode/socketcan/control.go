package socketcan

import (
	"encoding/binary"

	"golang.org/x/sys/unix"
)

// control is what the kernel says beside a frame.
type control struct {
	time     int64 // of reception, ns since 1970; 0 if it did not say
	dropped  uint32
	hasDrops bool // dropped is set: frames dropped since the socket was opened, mod 2^32
}

// parseControl reads control messages. Those it does not know are passed over;
// after one that is cut off nothing more is read.
func parseControl(b []byte) control {
	var c control
	for len(b) >= unix.CmsgSpace(0) {
		h, data, rest, err := unix.ParseOneSocketControlMessage(b)
		if err != nil {
			return c
		}
		if h.Level == unix.SOL_SOCKET {
			switch {
			case h.Type == unix.SO_TIMESTAMPNS:
				c.time = timespec(data)
			case h.Type == unix.SO_RXQ_OVFL && len(data) >= 4:
				c.dropped, c.hasDrops = binary.NativeEndian.Uint32(data), true
			}
		}
		b = rest
	}
	return c
}

// timespec reads a struct timespec of two long: of 8 bytes on 64-bit machines,
// of 4 on others.
func timespec(b []byte) int64 {
	const second = 1e9
	switch {
	case len(b) >= 16:
		s, ns := int64(binary.NativeEndian.Uint64(b)), int64(binary.NativeEndian.Uint64(b[8:]))
		return s*second + ns
	case len(b) >= 8:
		s, ns := int64(int32(binary.NativeEndian.Uint32(b))), int64(int32(binary.NativeEndian.Uint32(b[4:])))
		return s*second + ns
	}
	return 0
}

// parseAddress reads the interface index of a struct sockaddr_can.
func parseAddress(b []byte) (index int32, ok bool) {
	if len(b) < 8 || binary.NativeEndian.Uint16(b) != unix.AF_CAN {
		return 0, false
	}
	return int32(binary.NativeEndian.Uint32(b[4:])), true
}
