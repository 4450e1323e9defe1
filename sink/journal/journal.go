// Package journal keeps every received CAN frame in append-only files.
//
// A journal is a directory of segment files, 00000001.seg and up. One writer
// at a time appends (the directory is locked); any number of readers follow,
// also while it is being written.
//
// # Invariants
//
//   - What is written is never changed. The only bytes ever removed are those
//     of an unfinished block at the end of the last segment, by the next
//     writer, which then says so in its Recovery.
//   - A writer never appends to a segment of an earlier writer. So a place in
//     the journal (Cursor) means the same block for ever.
//   - A block can be decoded alone: it has its own dictionary and bus names.
//   - A reader delivers frames in the order in which they were appended, each
//     as it was, or not at all.
//
// # FORMAT, version 1
//
// All integers are little-endian. uvarint is an unsigned LEB128 number of up to
// 64 bits; zigzag maps a signed to an unsigned number (0, -1, 1, -2 become 0,
// 1, 2, 3). CRC32C is CRC-32 with the Castagnoli polynomial (RFC 3720, 12.1).
//
// A segment is a header and blocks without gaps. The header has 64 bytes:
//
//	 0  8  magic 8D 54 44 4A 0D 0A 1A 0A ("\x8dTDJ\r\n\x1a\n")
//	 8  2  version, 1
//	10  2  length of this header, 64
//	12  4  segment number, as in the file name
//	16 16  journal id, random, equal in all segments of a journal
//	32  8  capture time of the first frame, ns since 1970-01-01, signed
//	40  8  index of the first frame, counted from 0 over the whole journal
//	48 12  zero
//	60  4  CRC32C of bytes 0 to 59
//
// A block is a header of 52 bytes and a payload:
//
//	 0  4  magic F7 54 44 42 ("\xf7TDB")
//	 4  4  stored length of the payload in bytes
//	 8  4  raw length of the payload in bytes
//	12  4  number of frames, 1 to 65536
//	16  8  index of the first frame
//	24  8  capture time of the first frame, ns since 1970-01-01, signed
//	32  4  bytes 0 to 3 of the journal id
//	36  4  segment number
//	40  1  codec: 0 stored as is, 1 zstd (RFC 8878)
//	41  3  zero
//	44  4  CRC32C of the stored payload
//	48  4  CRC32C of bytes 0 to 47
//
// The payload, before the codec, holds columns, because neighbours in a column
// resemble each other and compress well:
//
//	time unit      uvarint, ns: 1, or 1000 if all time steps are multiples
//	buses          uvarint count (to 32); for each uvarint length (to 255), name
//	entries        uvarint count; for each uvarint bus, uvarint identifier,
//	               1 byte data length (low 4 bits, 0 to 8) and flags (10 hex
//	               extended, 20 remote, 40 error frame), uvarint period in time
//	               units (0 to 2^40)
//	entry column   the entry of each frame: the low bytes of all frames, then,
//	               if there are more than 256 entries, the high bytes
//	time column    1 byte count of planes (0 to 8); for each frame but the first
//	               its step, zigzag: the lowest bytes of all, then the next
//	               bytes of all, for as many bytes as there are planes
//	data columns   for each entry that is not remote: byte 0 of all its frames,
//	               byte 1 of all its frames, and so on; each as the difference
//	               (mod 256) to the same byte in the entry's frame before, the
//	               first to zero
//
// The step of a frame is the time since the frame before, in time units. Where
// the frame's entry has a period other than 0 and has occurred in the block,
// what is stored is the step less the expected one: from the frame before to
// one period after the entry's last occurrence.
//
// Data bytes beyond the length of a frame are not part of it and not kept.
//
// # Damage
//
// A block counts only if both sums match. In the last segment the journal ends
// before the first block that does not. In an earlier segment such a block is
// left out and reading resumes at the next one that is whole, found by its
// magic and sums. A damaged segment header costs no frames. What is left out is
// told by Recovery.
package journal

import (
	"fmt"
	"hash/crc32"
	"strings"
)

// Magic begins every segment file.
const Magic = "\x8dTDJ\r\n\x1a\n"

const (
	blockMagic    = "\xf7TDB"
	version       = 1
	headerLen     = 64
	blockHeadLen  = 52
	maxFrames     = 1 << 16 // in a block
	maxName       = 255     // bytes of a bus name
	segmentSuffix = ".seg"
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Cursor is a place in a journal: before a frame. It stays valid for as long
// as the segment is kept. The zero Cursor is the beginning.
type Cursor struct {
	Segment uint32 // number of the segment, 0 for the first there is
	Offset  int64  // of the block in the segment, bytes
	Frame   uint32 // frames of the block that come before the place
}

// Loss is one stretch of a journal that cannot be read.
type Loss struct {
	File   string
	Offset int64 // bytes
	Bytes  int64
	Frames int64 // that are known to be missing; 0 where the number is unknown
	Reason string
}

// String tells the loss without the file and offset.
func (l Loss) String() string {
	s := fmt.Sprintf("%s; lost %d bytes", l.Reason, l.Bytes)
	if l.Frames > 0 {
		s += fmt.Sprintf(", %d frames", l.Frames)
	}
	return s
}

// maxKept is the number of losses kept word for word; the rest are summed.
const maxKept = 100

// Recovery says what could not be read.
type Recovery struct {
	Losses []Loss // the first 100, in reading order
	Count  int64
	Bytes  int64
	Frames int64
}

func (r *Recovery) add(l Loss) {
	r.Count++
	r.Bytes += l.Bytes
	r.Frames += l.Frames
	if len(r.Losses) < maxKept {
		r.Losses = append(r.Losses, l)
	}
}

// String tells all losses, one a line; it is empty if there are none.
func (r Recovery) String() string {
	var b strings.Builder
	for _, l := range r.Losses {
		fmt.Fprintf(&b, "%s: offset %d: %s\n", l.File, l.Offset, l)
	}
	if more := r.Count - int64(len(r.Losses)); more > 0 {
		fmt.Fprintf(&b, "and %d more places\n", more)
	}
	return b.String()
}
