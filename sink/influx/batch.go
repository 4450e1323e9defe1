package influx

import (
	"bytes"
	"context"
	"errors"
	"io"

	"github.com/klauspost/compress/gzip"

	"trialday.example/logd/sink/journal"
)

// Bounds of a request; servers take 10 MB or more. So many batches are made
// ahead of the one that is on its way, some 70 kB each.
const (
	maxBatchBytes = 2 << 20
	maxAhead      = 4
)

// packing is twice as fast as what the server's client does, for 4 % more bytes.
const packing = 6

// batch is what goes to the server in one request, and what is known when it
// has been confirmed.
type batch struct {
	packed []byte // lines, by gzip
	lines  int
	bytes  int
	points int64  // made up to its end
	frames int64  // read for them
	heard  int64  // of stream, then
	dry    bool   // the journal gives no more for now
	end    bool   // nor ever will
	whole  uint64 // frames in it, at the end
	err    error
}

// batcher makes the batches of a journal.
type batcher struct {
	journal string
	stream  *stream
	most    int   // lines in a batch
	sent    int64 // points at the beginning that the server has
	made    int64 // points
}

// fill makes batches up to the end of the journal, or to an error.
func (m *batcher) fill(ctx context.Context, to chan<- batch) {
	defer close(to)
	for ctx.Err() == nil {
		b := m.next(ctx)
		select {
		case to <- b:
		case <-ctx.Done():
		}
		if b.dry || b.err != nil {
			return
		}
	}
}

// next makes a batch: a full one, or what there is up to the end of the journal.
func (m *batcher) next(ctx context.Context) (b batch) {
	var text []byte
	for b.lines < m.most && len(text) < maxBatchBytes && !b.dry && b.err == nil {
		points, err := m.stream.next()
		switch {
		case errors.Is(err, errEnd):
			b.dry, b.end = true, true
			b.whole, b.err = journal.Count(m.journal)
		case errors.Is(err, io.EOF):
			b.dry = true
		case err != nil:
			b.err = err
		default:
			b.err = ctx.Err()
		}
		for i := range points {
			if m.made++; m.made > m.sent {
				text = points[i].line(text)
				b.lines++
			}
		}
	}
	if b.bytes = len(text); b.lines > 0 {
		b.packed = pack(text)
	}
	b.points, b.frames, b.heard = m.made, m.stream.frames, m.stream.heard
	return b
}

func pack(text []byte) []byte {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, packing)
	if err != nil {
		panic(err) // there is this level
	}
	_, _ = z.Write(text) // a buffer takes everything
	_ = z.Close()
	return b.Bytes()
}

// unpack returns the lines of a batch.
func unpack(packed []byte) ([][]byte, error) {
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	text, err := io.ReadAll(z)
	return bytes.SplitAfter(bytes.TrimSuffix(text, []byte("\n")), []byte("\n")), err
}
