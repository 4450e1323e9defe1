// Package export writes what the logger keeps in formats that other programs
// read: raw frames as a can-utils log or pcapng, decoded samples as CSV or
// Parquet.
//
// Invariant: what a format can express is written exactly. A log line, a
// frame in the journal and the exported line are the same text, if the first
// is in the form of candump -L.
package export

import (
	"bufio"
	"encoding/binary"
	"io"

	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
)

// CanLog writes all frames of src in the form of candump -L and returns their
// number. A time that is not a whole microsecond has 9 digits after the point,
// so that nothing is lost; log2asc of can-utils 2020.11 (Debian 12) takes those
// for microseconds.
func CanLog(w io.Writer, src frame.Source) (n int64, err error) {
	out := bufio.NewWriterSize(w, 64<<10)
	var line []byte
	n, err = frame.Each(src, func(f *frame.Frame) error {
		line = append(capture.AppendLine(line[:0], f, src.Buses()[f.Bus]), '\n')
		_, err := out.Write(line)
		return err
	})
	if ferr := out.Flush(); err == nil {
		err = ferr
	}
	return n, err
}

// packet lays a frame out as Linux does in captures: identifier and flags
// big-endian, length, 3 bytes zero, 8 data bytes whether used or not.
func packet(f *frame.Frame) (b [16]byte) {
	id := f.ID
	if f.IsExtended {
		id |= 1 << 31
	}
	if f.IsRemote {
		id |= 1 << 30
	}
	if f.IsError {
		id |= 1 << 29
	}
	binary.BigEndian.PutUint32(b[:], id)
	b[4] = f.Length
	if !f.IsRemote {
		copy(b[8:], f.Data[:min(f.Length, 8)])
	}
	return b
}
