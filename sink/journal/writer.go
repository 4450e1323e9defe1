package journal

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"

	"trialday.example/logd/decode/frame"
)

// blockFrames is the usual size of a block that is written whole. Twice as many
// take 3 % less room, and damage costs twice as many.
const blockFrames = 16384

// Options of a Writer. The zero value is sound.
type Options struct {
	BlockFrames  int   // frames after which a block is written, 1 to 65536; 0 means 16384
	SegmentBytes int64 // size after which a new segment is begun; 0 means 64 MiB
	Uncompressed bool  // store all blocks as they are; otherwise with zstd where that is smaller
	// Packed is for frames that are all there already: blocks come out as Pack
	// makes them.
	Packed bool
}

func (o *Options) complete() error {
	if o.BlockFrames == 0 {
		o.BlockFrames = blockFrames
	}
	if o.SegmentBytes == 0 {
		o.SegmentBytes = 64 << 20
	}
	if o.BlockFrames < 1 || o.BlockFrames > maxFrames {
		return fmt.Errorf("journal: %d frames a block; allowed are 1 to %d", o.BlockFrames, maxFrames)
	}
	if o.SegmentBytes < 0 {
		return fmt.Errorf("journal: segments of %d bytes; allowed is 1 and more", o.SegmentBytes)
	}
	return nil
}

// Writer appends frames to a journal. It is not safe for concurrent use.
type Writer struct {
	dir  *os.File // locked for as long as the writer is open
	opts Options

	id       [16]byte
	number   uint32 // of the present or, without a file, the last segment
	file     *os.File
	off      int64  // end of the last whole block in file
	index    uint64 // of the first pending frame
	recovery Recovery

	buses   []string
	pending []frame.Frame
	maker   *blockMaker
}

// Create opens the journal in dir for appending and makes the directory if
// there is none. Only one writer can have a journal open. An unfinished block
// that a crash left at the end is cut off; Recovery tells.
func Create(dir string, opts Options) (*Writer, error) {
	if err := opts.complete(); err != nil {
		return nil, err
	}
	d, err := lockDir(dir)
	if err != nil {
		return nil, err
	}
	w := &Writer{dir: d, opts: opts}
	if err := w.resume(); err != nil {
		d.Close()
		return nil, err
	}
	if w.maker, err = newBlockMaker(opts.Uncompressed, opts.Packed); err != nil {
		d.Close()
		return nil, err
	}
	return w, nil
}

// lockDir makes dir if needed and locks it against other writers.
func lockDir(dir string) (*os.File, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("journal: %w; check journal.dir and its rights", err)
	}
	d, err := os.Open(dir)
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	err = unix.Flock(int(d.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		err = fmt.Errorf("journal: %s is being written by another process; stop that or choose another journal.dir", dir)
	} else if err != nil {
		err = fmt.Errorf("journal: cannot lock %s: %w", dir, err)
	}
	if err != nil {
		d.Close()
		return nil, err
	}
	syncParent(dir)
	return d, nil
}

// syncParent puts the name of a new journal on the disk. A parent that is not
// ours to open is left to the system.
func syncParent(dir string) {
	if p, err := os.Open(filepath.Dir(filepath.Clean(dir))); err == nil {
		p.Sync()
		p.Close()
	}
}

// known is what has been found out about an existing journal.
type known struct{ id, index bool }

// resume finds where the journal goes on. It looks at the last segment, and
// at earlier ones only as far as damage makes that necessary.
func (w *Writer) resume() error {
	list, err := segments(w.dir.Name())
	if err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	if _, err := rand.Read(w.id[:]); err != nil {
		return err
	}
	var k known
	for i := len(list) - 1; i >= 0 && !(k.id && k.index); i-- {
		w.number = max(w.number, list[i])
		if err := w.examine(list[i], i == len(list)-1, &k); err != nil {
			return err
		}
	}
	return nil
}

// examine takes from a segment what is not known yet. In the last segment it
// cuts off what follows the last whole block, if nothing whole follows it.
func (w *Writer) examine(number uint32, last bool, k *known) error {
	s, err := openSegment(segmentPath(w.dir.Name(), number), number)
	if err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	defer s.file.Close()
	if s.damage == nil && !k.id {
		w.id, k.id = s.head.id, true
	}
	if k.index {
		return nil
	}
	if s.damage == nil {
		w.index, k.index = s.head.first, true
	}
	return w.walk(s, last, k)
}

// walk takes the index from the last whole block of a segment.
func (w *Writer) walk(s *segment, last bool, k *known) error {
	off, size := int64(headerLen), s.size()
	var buf []byte
	for off < size {
		h, b, err := s.block(off, buf)
		buf = b
		if err == nil {
			w.index, k.index = h.first+uint64(h.frames), true
			off = h.end(off)
			continue
		}
		var damage *damageError
		if !errors.As(err, &damage) {
			return fmt.Errorf("journal: %s: %w", s.path, err)
		}
		next := s.find(off + 1)
		if next < 0 {
			return w.cut(s, off, size, damage, last)
		}
		w.recovery.add(Loss{s.path, off, next - off, damage.frames, damage.reason + "; left in place, whole blocks follow"})
		off = next
	}
	return nil
}

// cut removes an unfinished block. In any but the last segment, and behind a
// damaged header, it is left alone.
func (w *Writer) cut(s *segment, off, size int64, d *damageError, last bool) error {
	if !last || s.damage != nil {
		return nil
	}
	w.recovery.add(Loss{s.path, off, size - off, d.frames, d.reason + "; cut off"})
	if err := os.Truncate(s.path, off); err != nil {
		return fmt.Errorf("journal: cannot cut off the unfinished block: %w", err)
	}
	return nil
}

// Recovery returns what Create found damaged.
func (w *Writer) Recovery() Recovery { return w.recovery }

// Frames returns the number of frames in the journal, with those not yet
// written to the file.
func (w *Writer) Frames() uint64 { return w.index + uint64(len(w.pending)) }

// Append adds a frame that was received on the named bus; f.Bus is not used.
// After an error the frame is not in the journal. The frame reaches the file
// with the block: when that is full, or by Flush.
func (w *Writer) Append(f *frame.Frame, bus string) error {
	if w.dir == nil {
		return errors.New("journal: the writer is closed")
	}
	if f.Length > 8 {
		return fmt.Errorf("journal: a frame of %d bytes; a CAN frame has at most 8", f.Length)
	}
	n, err := w.bus(bus, f.Bus)
	if err != nil {
		return err
	}
	if len(w.pending) >= w.opts.BlockFrames {
		if err := w.Flush(); err != nil {
			return err
		}
	}
	w.pending = append(w.pending, *f)
	w.pending[len(w.pending)-1].Bus = n
	if len(w.pending) >= w.opts.BlockFrames {
		w.Flush() // an error comes back with the next Append or Flush
	}
	return nil
}

// bus returns our number of a name. The caller's own is tried first: as a rule
// they are equal.
func (w *Writer) bus(name string, hint uint8) (uint8, error) {
	if int(hint) < len(w.buses) && w.buses[hint] == name {
		return hint, nil
	}
	for i, n := range w.buses {
		if n == name {
			return uint8(i), nil
		}
	}
	if len(name) > maxName {
		return 0, fmt.Errorf("journal: interface name of %d bytes; at most %d are kept", len(name), maxName)
	}
	if len(w.buses) == frame.MaxBuses {
		return 0, fmt.Errorf("journal: more than %d interfaces", frame.MaxBuses)
	}
	w.buses = append(w.buses, name)
	return uint8(len(w.buses) - 1), nil
}

// Flush writes the frames appended so far to the file, as one block. After an
// error they are still pending and Flush can be tried again.
func (w *Writer) Flush() error {
	if len(w.pending) == 0 {
		return nil
	}
	block, err := w.place()
	if err != nil {
		return err
	}
	if _, err := w.file.WriteAt(block, w.off); err != nil {
		w.file.Truncate(w.off) // as far as possible: readers leave it out anyway
		return fmt.Errorf("journal: %w; make room or check the disk", err)
	}
	w.off += int64(len(block))
	w.index += uint64(len(w.pending))
	w.pending = w.pending[:0]
	return nil
}

// place makes the block of the pending frames, and sure that there is a segment
// that can take it.
func (w *Writer) place() ([]byte, error) {
	if w.file == nil {
		if err := w.begin(); err != nil {
			return nil, err
		}
	}
	block := w.maker.block(w.pending, w.buses, &segmentHead{number: w.number, id: w.id}, w.index)
	if w.off == headerLen || w.off+int64(len(block)) <= w.opts.SegmentBytes {
		return block, nil
	}
	if err := w.file.Sync(); err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	w.file.Close()
	w.file = nil
	return w.place()
}

// begin creates the next segment. It appears under its name only when the
// header is on the disk.
func (w *Writer) begin() error {
	h := segmentHead{number: w.number + 1, id: w.id, time: w.pending[0].Time, first: w.index, packed: w.opts.Packed}
	path := segmentPath(w.dir.Name(), h.number)
	file, err := os.OpenFile(path+".new", os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	_, err = file.Write(h.encode())
	if err == nil {
		err = file.Sync()
	}
	if err == nil {
		err = os.Rename(path+".new", path)
	}
	if err == nil {
		err = w.dir.Sync()
	}
	if err != nil {
		file.Close()
		return fmt.Errorf("journal: %w; make room or check the disk", err)
	}
	w.file, w.number, w.off = file, h.number, headerLen
	return nil
}

// Sync flushes and waits until everything is on the disk.
func (w *Writer) Sync() error {
	if err := w.Flush(); err != nil {
		return err
	}
	if w.file == nil {
		return nil
	}
	if err := w.file.Sync(); err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	return nil
}

// Close syncs and releases the journal.
func (w *Writer) Close() error {
	if w.dir == nil {
		return nil
	}
	err := w.Sync()
	if w.file != nil {
		err = errors.Join(err, w.file.Close())
	}
	w.dir.Close() // releases the lock
	w.dir, w.file, w.pending = nil, nil, nil
	return err
}

var _ io.Closer = (*Writer)(nil)
