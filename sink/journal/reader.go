package journal

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/decode/frame"
)

// Reader reads a journal from a place on. It implements frame.Source, and can
// follow a journal that is being written: after io.EOF, Next may be called
// again and goes on when more has been written. It is not safe for concurrent
// use.
//
// Blocks pass through it in two steps: they are found in the files, one after
// another, and decoded, several at a time if ReadAhead allows it. They are
// delivered in the order in which they were found.
type Reader struct {
	dir  string // empty if a single segment file is read
	path string // of that file
	zip  *zstd.Decoder

	seg    *segment
	sealed bool   // a later segment exists: nothing more will come in seg
	off    int64  // of the next block
	from   uint64 // frames of a lower index are left out
	index  uint64 // expected of the next block
	synced bool   // index is known
	gap    bool   // the last loss is still without its number of frames

	depth   int      // blocks that may be in work
	work    []*block // in the order of the journal
	spare   []*block
	present *block
	next    int // in present
	cur     Cursor

	buses    []string
	recovery Recovery
	tail     *Loss // behind the present end
	finished int64 // bytes of finished segments
}

// Open opens a journal directory, or one of its segment files, for reading
// from the beginning. An empty directory is a journal without frames yet.
func Open(path string) (*Reader, error) { return OpenAt(path, Cursor{}) }

// OpenAt opens a journal for reading from a place on that Position gave. If
// that segment is gone, reading begins with the next one.
func OpenAt(path string, at Cursor) (*Reader, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("journal %w; check the name", err)
	}
	r := &Reader{path: path, cur: at, depth: 1, present: &block{}}
	if st.IsDir() {
		r.dir = path
		list, err := segments(path)
		if err != nil {
			return nil, fmt.Errorf("journal %w", err)
		}
		if entries, _ := os.ReadDir(path); len(list) == 0 && len(entries) > 0 {
			return nil, fmt.Errorf("%s is not a journal: it has files but no segment like 00000001%s; check the name", path, segmentSuffix)
		}
	}
	if r.zip, err = newDecoder(); err != nil {
		return nil, err
	}
	if err := r.begin(at); err != nil {
		r.Close()
		return nil, err
	}
	return r, nil
}

// Count returns the number of frames that were ever appended to the journal in
// dir, those behind damage at its very end left out.
func Count(dir string) (uint64, error) {
	list, err := segments(dir)
	if err != nil {
		return 0, fmt.Errorf("journal %w", err)
	}
	if len(list) == 0 {
		return 0, nil
	}
	r, err := OpenAt(dir, Cursor{Segment: list[len(list)-1], Frame: math.MaxUint64})
	if err != nil {
		return 0, err
	}
	defer r.Close()
	var none frame.Frame
	if err := r.Next(&none); err != io.EOF {
		return 0, err
	}
	return r.index, nil
}

// ReadAhead has up to n blocks decoded at a time, each by a goroutine of its
// own, ahead of what Next gives. It costs about 2 MB a block.
func (r *Reader) ReadAhead(n int) { r.depth = max(n, 1) }

// begin opens the segment of a place, or the next one there is.
func (r *Reader) begin(at Cursor) error {
	number, err := r.following(max(at.Segment, 1) - 1)
	if err != nil || number == 0 && r.dir != "" {
		return err
	}
	if number != at.Segment && r.dir != "" {
		at = Cursor{}
	}
	return r.enter(number, at)
}

// following returns the number of the first segment after the given one, 0 if
// there is none.
func (r *Reader) following(number uint32) (uint32, error) {
	if r.dir == "" {
		return 0, nil
	}
	list, err := segments(r.dir)
	if err != nil {
		return 0, fmt.Errorf("journal %w", err)
	}
	for _, n := range list {
		if n > number {
			return n, nil
		}
	}
	return 0, nil
}

// enter opens a segment at a place in it.
func (r *Reader) enter(number uint32, at Cursor) error {
	path := r.path
	if r.dir != "" {
		path = segmentPath(r.dir, number)
	}
	s, err := openSegment(path, number)
	if err != nil {
		return fmt.Errorf("journal %w", err)
	}
	if r.seg != nil {
		r.finished += r.seg.size()
		r.seg.file.Close()
	}
	r.seg, r.sealed, r.off, r.from = s, false, headerLen, at.Frame
	if s.damage != nil {
		r.lose(Loss{File: path, Bytes: min(headerLen, s.size()), Reason: s.damage.Error()})
	} else if !r.synced {
		r.index, r.synced = s.head.first, true
	}
	return nil
}

// Next stores the next frame in f. It returns io.EOF at the present end.
func (r *Reader) Next(f *frame.Frame) error {
	for r.next == len(r.present.frames) {
		if err := r.load(); err != nil {
			return err
		}
	}
	*f = r.present.frames[r.next]
	r.next++
	r.cur.Frame++
	return nil
}

// Buses returns the interface names met so far.
func (r *Reader) Buses() []string { return r.buses }

// Position returns the place before the frame that Next gives next.
func (r *Reader) Position() Cursor { return r.cur }

// Recovery returns what could not be read so far. What lies behind the present
// end of a journal that is being written may be a block in the making.
func (r *Reader) Recovery() Recovery {
	all := r.recovery
	all.Losses = all.Losses[:len(all.Losses):len(all.Losses)]
	if r.tail != nil {
		all.add(*r.tail)
	}
	return all
}

// BytesRead returns the bytes of the journal read so far, ahead included.
func (r *Reader) BytesRead() int64 { return r.finished + r.off }

// Close releases the file.
func (r *Reader) Close() error {
	for _, b := range r.work {
		b.wait()
	}
	r.work = nil
	if r.zip != nil {
		r.zip.Close()
	}
	if r.seg == nil {
		return nil
	}
	err := r.seg.file.Close()
	r.seg = nil
	return err
}

// load makes the next block the present one.
func (r *Reader) load() error {
	for {
		var end error
		for end == nil && len(r.work) < r.depth {
			end = r.find()
		}
		if len(r.work) == 0 {
			return end
		}
		b := r.work[0]
		r.work = append(r.work[:0], r.work[1:]...)
		b.wait()
		err := b.err
		var number []uint8
		if err == nil {
			number, err = r.number(b.names)
		}
		if err != nil {
			r.lose(Loss{b.seg.path, b.off, int64(b.head.stored), int64(b.head.frames), err.Error()})
			r.spare = append(r.spare, b)
			continue
		}
		for i := range b.frames {
			b.frames[i].Bus = number[b.frames[i].Bus]
		}
		r.recycle(r.present, len(b.frames))
		r.present, r.next = b, b.skip
		r.cur = Cursor{b.seg.number, b.head.first + uint64(b.skip)}
		return nil
	}
}

// find reads on to the next whole block, over damage and segment ends, and has
// it decoded.
func (r *Reader) find() error {
	for {
		if r.seg == nil {
			if err := r.begin(r.cur); err != nil {
				return err
			}
			if r.seg == nil {
				return io.EOF
			}
		}
		b := r.blank()
		var err error
		b.seg, b.off = r.seg, r.off
		b.head, b.stored, err = r.seg.block(r.off, b.stored)
		if err == nil && r.accept(b) {
			r.work = append(r.work, b)
			b.start(r.zip, r.depth > 1)
			return nil
		}
		r.spare = append(r.spare, b)
		if err == nil {
			continue
		}
		var damage *damageError
		if err != io.EOF && !errors.As(err, &damage) {
			return fmt.Errorf("%s: %w; the frames before offset %d are good, check the medium", r.seg.path, err, r.off)
		}
		if err := r.pass(damage); err != nil {
			return err
		}
	}
}

// recycle keeps a block to be filled again, unless it is far too large for those
// of the present size: who follows a journal that is being written, from a packed
// part of it on, would keep 1 MB for blocks of some hundred frames.
func (r *Reader) recycle(b *block, frames int) {
	if cap(b.frames) <= 4*max(frames, worthwhile) {
		r.spare = append(r.spare, b)
	}
}

// blank returns a block to fill.
func (r *Reader) blank() *block {
	n := len(r.spare)
	if n == 0 {
		return &block{}
	}
	b := r.spare[n-1]
	r.spare = r.spare[:n-1]
	return b
}

// number gives our bus number of each name of a block.
func (r *Reader) number(names []string) ([]uint8, error) {
	number := make([]uint8, len(names))
next:
	for i, name := range names {
		for k, ours := range r.buses {
			if ours == name {
				number[i] = uint8(k)
				continue next
			}
		}
		if len(r.buses) == frame.MaxBuses {
			return nil, fmt.Errorf("more than %d interface names in the journal", frame.MaxBuses)
		}
		number[i] = uint8(len(r.buses))
		r.buses = append(r.buses, name)
	}
	return number, nil
}

// accept goes on behind a whole block. It reports whether any of its frames are
// wanted.
func (r *Reader) accept(b *block) bool {
	h := &b.head
	r.tail = nil
	if r.synced && h.first > r.index {
		r.missing(int64(h.first - r.index))
	}
	r.index, r.synced, r.gap = h.first+uint64(h.frames), true, false
	r.off = h.end(r.off)
	b.skip = 0
	if r.from > h.first {
		b.skip = int(min(r.from-h.first, uint64(h.frames)))
	}
	return b.skip < int(h.frames)
}

// missing notes frames whose absence the index shows, with the loss that
// explains it if there is one.
func (r *Reader) missing(frames int64) {
	if !r.gap {
		r.lose(Loss{File: r.seg.path, Offset: r.off, Frames: frames, Reason: "frames before this place are missing"})
		return
	}
	r.recovery.Frames += frames
	if n := len(r.recovery.Losses); r.recovery.Count == int64(n) {
		r.recovery.Losses[n-1].Frames += frames
	}
}

func (r *Reader) lose(l Loss) {
	r.recovery.add(l)
	r.gap = true
}

// pass goes on from a place without a whole block. It returns io.EOF where the
// journal ends for now.
func (r *Reader) pass(damage *damageError) error {
	following, err := r.following(r.seg.number)
	if err != nil {
		return err
	}
	if following == 0 {
		r.noteTail(damage)
		return io.EOF
	}
	r.tail = nil
	if !r.sealed {
		r.sealed = true // look once more: it may have grown until it was sealed
		return nil
	}
	if damage != nil {
		next := r.seg.find(r.off + 1)
		if next >= 0 {
			r.lose(Loss{File: r.seg.path, Offset: r.off, Bytes: next - r.off, Reason: damage.reason})
			r.off = next
			return nil
		}
		r.lose(Loss{File: r.seg.path, Offset: r.off, Bytes: r.seg.size() - r.off, Reason: damage.reason})
	}
	return r.enter(following, Cursor{})
}

func (r *Reader) noteTail(damage *damageError) {
	r.tail = nil
	if damage != nil {
		r.tail = &Loss{r.seg.path, r.off, r.seg.size() - r.off, damage.frames, damage.reason}
	}
}
