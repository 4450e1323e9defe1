package pgn

import "fmt"

// MaxFastPacket is the longest payload of the fast-packet protocol in bytes:
// 6 in the first frame and 7 in each of 31 more (from memory).
const MaxFastPacket = 223

// FastPackets cuts a payload into fast-packet frames and calls emit for each in
// order. Byte 0 is the sequence (low 3 bits of seq, in the high bits) and the
// frame's number; byte 1 of the first frame is the payload's length. Unused
// bytes are 0xFF. It fails, with nothing emitted, if the payload is longer than
// MaxFastPacket.
func FastPackets(seq uint8, payload []byte, emit func(data [8]byte)) error {
	if len(payload) > MaxFastPacket {
		return fmt.Errorf("fast packet: %d bytes, at most %d fit", len(payload), MaxFastPacket)
	}
	data := [8]byte{seq << 5, byte(len(payload))}
	for head := 2; ; head = 1 {
		n := head + copy(data[head:], payload)
		payload = payload[n-head:]
		for i := n; i < len(data); i++ {
			data[i] = 0xFF
		}
		emit(data)
		if len(payload) == 0 {
			return nil
		}
		data[0]++
	}
}
