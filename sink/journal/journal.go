// Package journal keeps every received CAN frame in append-only files.
//
// A journal is a directory of segment files, 00000001.seg and up. One writer
// at a time appends (the directory is locked); any number of readers follow,
// also while it is being written.
//
// # Invariants
//
//   - No frame that is written is ever changed or moved to another segment. The
//     only bytes ever removed are those of an unfinished block at the end of the
//     last segment, by the next writer, which then says so in its Recovery; and
//     Pack puts a file of the same frames in the place of a finished segment.
//   - A writer never appends to a segment of an earlier writer. So a place in
//     the journal (Cursor) means the same frame for ever.
//   - A block can be decoded alone: it has its own dictionary and bus names.
//   - A reader delivers frames in the order in which they were appended, each
//     as it was, or not at all.
//
// # FORMAT, version 2
//
// Version 1 was never released and is not read.
//
// All integers are little-endian. uvarint is an unsigned LEB128 number of up to
// 64 bits; zigzag maps a signed to an unsigned number (0, -1, 1, -2 become 0,
// 1, 2, 3). CRC32C is CRC-32 with the Castagnoli polynomial (RFC 3720, 12.1).
//
// A segment is a header and blocks without gaps. The header has 64 bytes:
//
//	 0  8  magic 8D 54 44 4A 0D 0A 1A 0A ("\x8dTDJ\r\n\x1a\n")
//	 8  2  version, 2
//	10  2  length of this header, 64
//	12  4  segment number, as in the file name
//	16 16  journal id, random, equal in all segments of a journal
//	32  8  capture time of the first frame, ns since 1970-01-01, signed
//	40  8  index of the first frame, counted from 0 over the whole journal
//	48  1  1 if the segment is packed, else 0
//	49 11  zero
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
//	40  1  codec: 0 stored as is, 1 zstd frames one after another (RFC 8878)
//	41  3  zero
//	44  4  CRC32C of the stored payload
//	48  4  CRC32C of bytes 0 to 47
//
// The payload, before the codec, holds the frames divided into streams and these
// in columns, because neighbours in a column resemble each other. The frames of
// a stream have bus, identifier, length and flags in common. How a writer
// divides beyond that is its own affair; this one gives each number of a
// numbered message (the low five bits of byte 0 count) its stream. A place is
// the number of a frame counted through the streams, from 0. Times are in time
// units since the first frame of the block, modulo 2^64, signed.
//
//	time unit      uvarint, ns: 1, or 1000 if all times are multiples
//	buses          uvarint count (to 32); for each uvarint length (to 255), name
//	streams        uvarint count; for each
//	               uvarint bus, uvarint identifier,
//	               1 byte data length (low 4 bits, 0 to 8) and flags (10 hex
//	               extended, 20 remote, 40 error frame),
//	               uvarint number of frames,
//	               of its first frame zigzag time and data (if not remote),
//	               and if there are more
//	               uvarint period (0 to 2^40),
//	               1 byte: bit k is set where data byte k is not always the same
//	order          uvarint count of moves; for each uvarint a, uvarint k
//	time columns   1 byte count of planes (0 to 8); for each frame but the first
//	               of its stream, by place, how late it is, zigzag: the lowest
//	               bytes of all, then the next bytes of all, for as many bytes
//	               as there are planes
//	data columns   for each stream and each of its bytes that varies: the byte of
//	               all frames but the first, as the difference (mod 256) to the
//	               frame before
//
// Late is the time less the expected one. Expected is, after the first frame of
// a stream, its time and one period. After a further frame that was late or
// early by more than half a period (rounded down) it is that frame's time and
// one period; else it grows by an eighth of late (rounded down) and one period.
//
// The order of reception is that of the times, equal times by place, and then
// the moves made on that list: each goes a further (the first from 0) and brings
// the place k behind to there.
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
	version       = 2
	headerLen     = 64
	blockHeadLen  = 52
	maxFrames     = 1 << 16 // in a block
	maxName       = 255     // bytes of a bus name
	segmentSuffix = ".seg"
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Cursor is a place in a journal: before a frame. It stays valid for as long
// as the segment is kept, packed or not. The zero Cursor is the beginning.
type Cursor struct {
	Segment uint32 // number of the segment, 0 for the first there is
	Frame   uint64 // index of the frame, counted over the whole journal
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
