// Package capture reads recorded CAN traffic, whatever it was recorded with,
// behind frame.Source.
//
// Formats, told apart by their first bytes and never by their names:
//
//   - the log text of the Linux can-utils (candump -l, candump -L),
//   - pcap and pcapng with link type 227, LINKTYPE_CAN_SOCKETCAN,
//   - any of these compressed with gzip (RFC 1952) or zstd (RFC 8878),
//   - our own journal: a directory or one of its segment files.
//
// Invariant: damage costs what it damages. A malformed line or packet is
// counted, kept in Faults with its place, and skipped; a file that was cut
// short gives everything before the cut. Only a file that cannot be read at
// all, or that holds no frame at all, is an error.
package capture

import (
	"fmt"
	"io"
	"os"

	"trialday.example/logd/decode/frame"
)

// maxKept is the number of faults kept word for word; the rest are counted.
const maxKept = 20

// Fault is one thing that could not be read and was skipped.
type Fault struct {
	File   string
	Unit   string // what N counts: "line", "packet", "byte" or "frame"
	N      int64  // lines and packets count from 1, bytes and frames from 0
	Reason string
}

// String gives the fault as one line: file, place, reason.
func (f Fault) String() string {
	return fmt.Sprintf("%s: %s %d: %s", f.File, f.Unit, f.N, f.Reason)
}

// Faults sums up what was skipped so far.
type Faults struct {
	Total int64
	First []Fault // the first 20 in reading order
}

func (fs *Faults) add(f Fault) {
	fs.Total++
	if len(fs.First) < maxKept {
		fs.First = append(fs.First, f)
	}
}

// format decodes one kind of file.
type format interface {
	// next stores the next frame, its bus numbered by the reader's bus table.
	// After the last frame it returns io.EOF.
	next(f *frame.Frame) error
	// empty explains a file that held no frame.
	empty() error
	close() error
}

// Reader reads one capture after another as if they were one. Interfaces of
// the same name are the same bus. It implements frame.Source.
type Reader struct {
	buses  buses
	faults Faults

	paths []string // still to be opened
	cur   format   // nil between files
	in    *input   // file below cur; nil for a journal
	any   bool     // cur has yielded a frame
	done  int64    // bytes of finished files
	total int64
}

// Open opens one capture: a file or a journal directory.
func Open(path string) (*Reader, error) { return OpenAll(path) }

// OpenAll opens captures to be read one after another in the given order.
// That all of them exist is checked at once; what is in the later ones is
// found out when reading gets there.
func OpenAll(paths ...string) (*Reader, error) {
	if len(paths) == 0 {
		return nil, fmt.Errorf("no capture given; name at least one file or journal directory")
	}
	r := &Reader{paths: paths}
	for _, p := range paths {
		n, err := size(p)
		if err != nil {
			return nil, err
		}
		r.total += n
	}
	if err := r.openNext(); err != nil {
		return nil, err
	}
	return r, nil
}

// Next stores the next frame in f. It returns io.EOF after the last frame of
// the last capture, and an error where a capture holds no frame or cannot be
// read on.
func (r *Reader) Next(f *frame.Frame) error {
	for {
		if r.cur == nil {
			if len(r.paths) == 0 {
				return io.EOF
			}
			if err := r.openNext(); err != nil {
				return err
			}
		}
		err := r.cur.next(f)
		if err == nil {
			r.any = true
			return nil
		}
		if err != io.EOF {
			return err
		}
		if err := r.finish(); err != nil {
			return err
		}
	}
}

// Buses returns the interface names met so far.
func (r *Reader) Buses() []string { return r.buses.names }

// Bytes returns how much of the captures has been read and how much there is,
// counted as stored, that is before decompression. The total is 0 for a pipe.
func (r *Reader) Bytes() (read, total int64) { return r.done + r.position(), r.total }

// Faults returns what was skipped so far.
func (r *Reader) Faults() Faults { return r.faults }

// Close releases the open file.
func (r *Reader) Close() error {
	r.paths = nil
	if r.cur == nil {
		return nil
	}
	err := r.cur.close()
	r.cur = nil
	return err
}

func (r *Reader) openNext() error {
	path := r.paths[0]
	cur, in, err := r.open(path)
	if err != nil {
		return err
	}
	r.paths = r.paths[1:]
	r.cur, r.in, r.any = cur, in, false
	return nil
}

// finish ends the current file.
func (r *Reader) finish() error {
	var err error
	if r.in != nil && r.in.failed != nil {
		err = fmt.Errorf("reading stopped: %w; the frames before are good, check the medium", r.in.failed)
	} else if !r.any {
		err = r.cur.empty()
	}
	r.done += r.position()
	if cerr := r.cur.close(); err == nil {
		err = cerr
	}
	r.cur, r.in = nil, nil
	return err
}

// position returns the bytes read of the current file.
func (r *Reader) position() int64 {
	if r.in != nil {
		return r.in.read
	}
	if j, ok := r.cur.(*journalFormat); ok {
		return j.position()
	}
	return 0
}

// size returns the stored size of a file, or of the files of a directory.
func size(path string) (int64, error) {
	st, err := os.Stat(path)
	if err != nil {
		return 0, fmt.Errorf("capture %w; check the name", err)
	}
	if !st.IsDir() {
		return st.Size(), nil
	}
	entries, err := os.ReadDir(path)
	if err != nil {
		return 0, err
	}
	var n int64
	for _, e := range entries {
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() {
			n += info.Size()
		}
	}
	return n, nil
}

// buses numbers interface names in the order of their appearance.
type buses struct {
	names []string
	last  uint8 // most lines name the same interface as the one before
}

// index returns the number of a name, or a reason why it cannot have one.
func (b *buses) index(name []byte) (uint8, string) {
	if int(b.last) < len(b.names) && b.names[b.last] == string(name) {
		return b.last, ""
	}
	for i, n := range b.names {
		if n == string(name) {
			b.last = uint8(i)
			return b.last, ""
		}
	}
	if len(name) > maxName {
		return 0, "interface name longer than 255 bytes"
	}
	if len(b.names) == frame.MaxBuses {
		return 0, "more than 32 interface names in the capture"
	}
	b.last = uint8(len(b.names))
	b.names = append(b.names, string(name))
	return b.last, ""
}

const maxName = 255
