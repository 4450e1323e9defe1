package journal

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/decode/frame"
)

// maxPayload bounds the memory for one block, in bytes: for each frame 35 of
// the list of streams, 6 of the order and 15 of the columns, and the bus names.
const maxPayload = maxFrames*(35+6+15) + frame.MaxBuses*(maxName+2) + 16

// segmentHead is the header of a segment.
type segmentHead struct {
	number uint32
	id     [16]byte
	time   int64
	first  uint64
	packed bool
}

func (h *segmentHead) encode() []byte {
	b := make([]byte, headerLen)
	copy(b, Magic)
	le := binary.LittleEndian
	le.PutUint16(b[8:], version)
	le.PutUint16(b[10:], headerLen)
	le.PutUint32(b[12:], h.number)
	copy(b[16:], h.id[:])
	le.PutUint64(b[32:], uint64(h.time))
	le.PutUint64(b[40:], h.first)
	if h.packed {
		b[48] = 1
	}
	le.PutUint32(b[60:], crc32.Checksum(b[:60], castagnoli))
	return b
}

var (
	errNewer = errors.New("the journal was written in a newer format; update this program")
	errOlder = errors.New("the journal was written in a format that was never released; export it with the program that wrote it")
)

// decodeHead returns errNewer or errOlder for another version, any other error
// for damage.
func decodeHead(b []byte) (h segmentHead, err error) {
	le := binary.LittleEndian
	switch {
	case len(b) < headerLen:
		return h, errors.New("the segment header is cut off")
	case string(b[:8]) != Magic, le.Uint32(b[60:]) != crc32.Checksum(b[:60], castagnoli):
		return h, errors.New("the segment header is damaged")
	case le.Uint16(b[8:]) > version:
		return h, errNewer
	case le.Uint16(b[8:]) < version:
		return h, errOlder
	}
	h.number, h.time, h.first = le.Uint32(b[12:]), int64(le.Uint64(b[32:])), le.Uint64(b[40:])
	copy(h.id[:], b[16:])
	h.packed = b[48] != 0
	return h, nil
}

// codec says how the payload of a block is stored.
type codec uint8

const (
	codecPlain codec = 0
	codecZstd  codec = 1
)

// blockHead is the header of a block.
type blockHead struct {
	stored, raw, frames uint32
	first               uint64
	time                int64
	journal             [4]byte
	segment             uint32
	codec               codec
	sum                 uint32
}

func (h *blockHead) encode(b []byte) {
	le := binary.LittleEndian
	clear(b[:blockHeadLen])
	copy(b, blockMagic)
	le.PutUint32(b[4:], h.stored)
	le.PutUint32(b[8:], h.raw)
	le.PutUint32(b[12:], h.frames)
	le.PutUint64(b[16:], h.first)
	le.PutUint64(b[24:], uint64(h.time))
	copy(b[32:], h.journal[:])
	le.PutUint32(b[36:], h.segment)
	b[40] = byte(h.codec)
	le.PutUint32(b[44:], h.sum)
	le.PutUint32(b[48:], crc32.Checksum(b[:48], castagnoli))
}

func decodeBlockHead(b []byte) (h blockHead, ok bool) {
	le := binary.LittleEndian
	if string(b[:4]) != blockMagic || le.Uint32(b[48:]) != crc32.Checksum(b[:48], castagnoli) {
		return h, false
	}
	h = blockHead{
		stored: le.Uint32(b[4:]), raw: le.Uint32(b[8:]), frames: le.Uint32(b[12:]),
		first: le.Uint64(b[16:]), time: int64(le.Uint64(b[24:])),
		segment: le.Uint32(b[36:]), codec: codec(b[40]), sum: le.Uint32(b[44:]),
	}
	copy(h.journal[:], b[32:])
	ok = h.frames >= 1 && h.frames <= maxFrames && h.raw <= maxPayload && h.stored <= h.raw && h.codec <= codecZstd
	return h, ok
}

// segment is an open segment file.
type segment struct {
	file   *os.File
	path   string
	number uint32
	head   segmentHead
	damage error // of the head
}

// openSegment opens a segment whatever its state. The number is that of the
// file name, or 0 to take it from the header.
func openSegment(path string, number uint32) (*segment, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	b := make([]byte, headerLen)
	n, err := file.ReadAt(b, 0)
	if err != nil && err != io.EOF {
		file.Close()
		return nil, err
	}
	s := &segment{file: file, path: path, number: number}
	if s.head, s.damage = decodeHead(b[:n]); s.damage == errNewer || s.damage == errOlder {
		file.Close()
		return nil, fmt.Errorf("%s: %w", path, s.damage)
	}
	if number == 0 {
		s.number = s.head.number
	}
	return s, nil
}

func (s *segment) size() int64 {
	st, err := s.file.Stat()
	if err != nil {
		return 0
	}
	return st.Size()
}

// damageError says why there is no whole block at a place.
type damageError struct {
	reason string
	frames int64 // that the block would have held, if its header is whole
}

func (e *damageError) Error() string { return e.reason }

// block reads the block at off: its head, and the stored payload into buf,
// which grows as needed. io.EOF means that nothing is there, a damageError
// that it is not whole, any other error that the file cannot be read.
func (s *segment) block(off int64, buf []byte) (blockHead, []byte, error) {
	var b [blockHeadLen]byte
	n, err := s.file.ReadAt(b[:], off)
	if err != nil && err != io.EOF {
		return blockHead{}, buf, err
	}
	if n == 0 {
		return blockHead{}, buf, io.EOF
	}
	if n < blockHeadLen {
		return blockHead{}, buf, &damageError{reason: "the last block is unfinished"}
	}
	h, ok := decodeBlockHead(b[:])
	if !ok || s.damage == nil && !h.belongs(&s.head) {
		return h, buf, &damageError{reason: "no valid block header"}
	}
	buf = slices.Grow(buf[:0], int(h.stored))[:h.stored]
	n, err = s.file.ReadAt(buf, off+blockHeadLen)
	if err != nil && err != io.EOF {
		return h, buf, err
	}
	if n < len(buf) {
		return h, buf, &damageError{"the last block is unfinished", int64(h.frames)}
	}
	if crc32.Checksum(buf, castagnoli) != h.sum {
		return h, buf, &damageError{"the checksum of the block does not match", int64(h.frames)}
	}
	return h, buf, nil
}

func (h *blockHead) belongs(s *segmentHead) bool {
	return h.segment == s.number && h.journal == [4]byte(s.id[:4])
}

func (h *blockHead) end(off int64) int64 { return off + blockHeadLen + int64(h.stored) }

// find returns the offset of the first whole block at or after off, or -1.
func (s *segment) find(off int64) int64 {
	const chunk = 64 << 10
	b := make([]byte, chunk)
	for {
		n, err := s.file.ReadAt(b, off)
		for i := 0; ; i++ {
			k := bytes.Index(b[i:n], []byte(blockMagic))
			if k < 0 {
				break
			}
			i += k
			if _, _, err := s.block(off+int64(i), nil); err == nil {
				return off + int64(i)
			}
		}
		if err != nil {
			return -1
		}
		off += chunk - int64(len(blockMagic)-1)
	}
}

func newDecoder() (*zstd.Decoder, error) {
	return zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(maxPayload))
}

// segmentPath returns the name of a segment file.
func segmentPath(dir string, number uint32) string {
	return filepath.Join(dir, fmt.Sprintf("%08d%s", number, segmentSuffix))
}

// segments returns the numbers of the segments in dir, in order.
func segments(dir string) ([]uint32, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var list []uint32
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), segmentSuffix)
		n, err := strconv.ParseUint(name, 10, 32)
		if ok && err == nil && n > 0 && len(name) >= 8 {
			list = append(list, uint32(n))
		}
	}
	slices.Sort(list)
	return list, nil
}
