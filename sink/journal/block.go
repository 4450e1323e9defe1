package journal

import (
	"hash/crc32"
	"slices"
	"sync"

	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/decode/frame"
)

// minFrame is the least that is compressed by itself, in bytes: what a zstd
// frame and its table of codes cost, in room and in time, is regained above it.
const minFrame = 8 << 10

// blockMaker makes blocks. Its buffers are used again for every block.
type blockMaker struct {
	plain bool // without zstd
	enc   encoder
	zip   *zstd.Encoder
	out   []byte
}

// newBlockMaker compresses harder where the frames are there already: it takes
// 4 MB more memory and a fifth more time for a tenth less room.
func newBlockMaker(plain, hard bool) (*blockMaker, error) {
	level := zstd.SpeedDefault
	if hard {
		level = zstd.SpeedBetterCompression
	}
	z, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(false), zstd.WithEncoderLevel(level))
	return &blockMaker{plain: plain, zip: z}, err
}

// block returns the block of some frames, valid until the next call. First is
// the index of the first frame; Frame.Bus is an index into buses.
func (m *blockMaker) block(frames []frame.Frame, buses []string, s *segmentHead, first uint64) []byte {
	raw := m.enc.encode(frames, buses)
	h := blockHead{
		raw: uint32(len(raw)), frames: uint32(len(frames)), first: first, time: frames[0].Time,
		journal: [4]byte(s.id[:4]), segment: s.number, codec: codecZstd,
	}
	m.out = append(m.out[:0], make([]byte, blockHeadLen)...)
	if !m.plain {
		m.compress(raw)
	}
	if m.plain || len(m.out) >= blockHeadLen+len(raw) {
		h.codec = codecPlain
		m.out = append(m.out[:blockHeadLen], raw...)
	}
	payload := m.out[blockHeadLen:]
	h.stored, h.sum = uint32(len(payload)), crc32.Checksum(payload, castagnoli)
	h.encode(m.out)
	return m.out
}

// compress makes several zstd frames of a payload, since parts that look
// different are smaller each with its own code.
func (m *blockMaker) compress(raw []byte) {
	from := 0
	for _, to := range m.enc.cuts {
		if to-from >= minFrame {
			m.out = m.zip.EncodeAll(raw[from:to], m.out)
			from = to
		}
	}
	if from < len(raw) {
		m.out = m.zip.EncodeAll(raw[from:], m.out)
	}
}

// block is a block on its way from the file to who reads it. Its buffers are
// used again.
type block struct {
	seg    *segment
	off    int64
	skip   int // frames that are not wanted
	head   blockHead
	stored []byte

	done   chan struct{} // closed when what follows is there; nil if it is
	raw    []byte
	frames []frame.Frame
	names  []string
	err    error
}

// worthwhile is the least number of frames for which another goroutine pays.
const worthwhile = 1024

// start has the stored payload decoded, by another goroutine if that is wanted
// and pays.
func (b *block) start(z *zstd.Decoder, elsewhere bool) {
	if !elsewhere || b.head.frames < worthwhile {
		b.decode(z)
		return
	}
	done := make(chan struct{})
	b.done = done
	go func() {
		b.decode(z)
		close(done)
	}()
}

func (b *block) wait() {
	if b.done != nil {
		<-b.done
		b.done = nil
	}
}

func (b *block) decode(z *zstd.Decoder) {
	b.frames, b.names, b.err = b.frames[:0], nil, nil
	raw := b.stored
	if b.head.codec != codecPlain {
		b.raw, b.err = z.DecodeAll(b.stored, slices.Grow(b.raw[:0], int(b.head.raw)))
		raw = b.raw
	}
	if b.err != nil || len(raw) != int(b.head.raw) {
		b.err = errPayload
		return
	}
	pool := &decoders
	if b.head.frames < worthwhile {
		pool = &smallDecoders
	}
	d := pool.Get().(*decoder)
	b.frames, b.names, b.err = d.decode(b.frames, raw, int(b.head.frames), b.head.time)
	pool.Put(d)
}

// decoders has as many as decode at a time; those of small blocks are apart, and
// so the room of the large ones can go when they are not needed any more.
var decoders, smallDecoders = sync.Pool{New: anyDecoder}, sync.Pool{New: anyDecoder}

func anyDecoder() any { return new(decoder) }
