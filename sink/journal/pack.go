package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"

	"trialday.example/logd/decode/frame"
)

// packing is the name of the file in which a segment is packed, and whose lock
// keeps two from packing at a time.
const packing = "packing"

// Pack rewrites the segments of a journal that are finished, each into as few
// blocks as there can be. A logger writes a block every tenth of a second so
// that little is lost with the power, and such small blocks take five times the
// room.
//
// A segment keeps its name, number and frames. The new file is made beside it,
// put on the disk, read back and compared with the old one frame by frame, and
// only then takes its name; so at any moment the name stands for a whole
// segment, and a reader that has the old one open goes on with it. Left alone
// are the segment that a writer has open, and any with damage: what can be saved
// of that may be in the old file only.
//
// It needs room for one packed segment, and 10 MB of memory. Where another
// process is packing the journal it does nothing.
func Pack(ctx context.Context, dir string) error {
	p := packer{dir: dir, step: func() {}}
	if err := p.pack(ctx); err != nil {
		return fmt.Errorf("journal: packing %s: %w; nothing is lost, it can be packed again", dir, err)
	}
	return nil
}

// packer packs one journal.
type packer struct {
	dir  string
	step func() // is called before whatever a reader could see
}

func (p *packer) pack(ctx context.Context) error {
	list, err := segments(p.dir)
	if err != nil {
		return err
	}
	for i, number := range list {
		unlock := func() {}
		if i == len(list)-1 {
			var free bool
			if unlock, free, err = p.unwritten(); err != nil || !free {
				return err
			}
		}
		err := p.segment(ctx, segmentPath(p.dir, number))
		unlock()
		if err != nil {
			return err
		}
	}
	return nil
}

// unwritten keeps writers away for as long as there is none, until unlock.
func (p *packer) unwritten() (unlock func(), free bool, err error) {
	d, err := os.Open(p.dir)
	if err != nil {
		return nil, false, err
	}
	switch err := unix.Flock(int(d.Fd()), unix.LOCK_SH|unix.LOCK_NB); {
	case err == nil:
		return func() { d.Close() }, true, nil
	case errors.Is(err, unix.EWOULDBLOCK):
		return nil, false, d.Close()
	default:
		return nil, false, errors.Join(err, d.Close())
	}
}

// segment packs one segment, if it is not packed yet.
func (p *packer) segment(ctx context.Context, path string) error {
	s, err := openSegment(path, 0)
	if err != nil {
		return err
	}
	s.file.Close()
	if s.head.packed || s.damage != nil {
		return nil
	}
	file, err := p.open()
	if err != nil || file == nil {
		return err
	}
	defer file.Close()
	s.head.packed = true
	whole, err := p.rewrite(ctx, path, file, &s.head)
	if err == nil && whole {
		p.step()
		if err = file.Sync(); err == nil {
			err = p.replace(path, file.Name())
		}
	}
	if err != nil || !whole {
		return errors.Join(err, os.Remove(file.Name()))
	}
	return nil
}

// open returns the file to pack into, locked and empty; nil if another process
// is packing.
func (p *packer) open() (*os.File, error) {
	path := filepath.Join(p.dir, packing)
	p.step()
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, err
	}
	p.step()
	err = unix.Flock(int(file.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) || err == nil && !isAt(file, path) {
		return nil, file.Close()
	}
	if err == nil {
		err = file.Truncate(0) // of what a crash left
	}
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return file, nil
}

// isAt tells whether a file is still the one of that name: until it was locked
// another process could finish with it, and make a segment of it.
func isAt(file *os.File, path string) bool {
	ours, err := file.Stat()
	if err != nil {
		return false
	}
	there, err := os.Stat(path)
	return err == nil && os.SameFile(ours, there)
}

// rewrite writes the frames of a segment to a file. It reports false if some
// cannot be read, or there are none.
func (p *packer) rewrite(ctx context.Context, path string, file *os.File, head *segmentHead) (whole bool, err error) {
	r, err := Open(path)
	if err != nil {
		return false, err
	}
	defer r.Close()
	p.step()
	if _, err := file.Write(head.encode()); err != nil {
		return false, err
	}
	m, err := newBlockMaker(false, true)
	if err != nil {
		return false, err
	}
	index := head.first
	frames := make([]frame.Frame, 0, blockFrames)
	for more := true; more; {
		if frames, more, err = fill(r, frames[:0]); err != nil {
			return false, err
		}
		if err := ctx.Err(); err != nil {
			return false, err
		}
		if r.Recovery().Count > 0 {
			return false, nil
		}
		if len(frames) == 0 {
			continue
		}
		p.step()
		if _, err := file.Write(m.block(frames, r.Buses(), head, index)); err != nil {
			return false, err
		}
		index += uint64(len(frames))
	}
	return index > head.first, nil
}

// fill reads frames until there are as many as go into a block. It reports
// false at the end of the journal.
func fill(r *Reader, frames []frame.Frame) ([]frame.Frame, bool, error) {
	for len(frames) < cap(frames) {
		var f frame.Frame
		if err := r.Next(&f); err == io.EOF {
			return frames, false, nil
		} else if err != nil {
			return frames, false, err
		}
		frames = append(frames, f)
	}
	return frames, true, nil
}

// replace puts the packed file in the place of a segment, if it holds the same.
func (p *packer) replace(path, packed string) error {
	if err := equal(path, packed); err != nil {
		return err
	}
	p.step()
	if err := os.Rename(packed, path); err != nil {
		return err
	}
	p.step()
	d, err := os.Open(p.dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// equal returns an error unless two segments hold the same frames.
func equal(a, b string) error {
	r, err := Open(a)
	if err != nil {
		return err
	}
	defer r.Close()
	s, err := Open(b)
	if err != nil {
		return err
	}
	defer s.Close()
	for {
		var f, g frame.Frame
		errF, errG := r.Next(&f), s.Next(&g)
		if errF == io.EOF && errG == io.EOF && r.Recovery().Count+s.Recovery().Count == 0 && r.Position() == s.Position() {
			return nil
		}
		if err := errors.Join(errF, errG); err != nil {
			return fmt.Errorf("%s does not read like %s: %w", b, a, err)
		}
		same := r.Buses()[f.Bus] == s.Buses()[g.Bus]
		if g.Bus = f.Bus; !same || f != g {
			return fmt.Errorf("%s does not read like %s before %v", b, a, r.Position())
		}
	}
}
