package capture

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/sink/journal"
)

// maxLine is the longest line that is looked at, in bytes. It is also the size
// of the read buffer, so a longer line costs no memory.
const maxLine = 64 << 10

// maxWindow bounds the memory that a compressed file can ask for, in bytes. It
// is the limit that the zstd tool needs for its --long option.
const maxWindow = 128 << 20

// input counts what is read of a file and remembers why reading failed.
type input struct {
	file   *os.File
	read   int64
	failed error
}

func (in *input) Read(p []byte) (int, error) {
	n, err := in.file.Read(p)
	in.read += int64(n)
	if err != nil && err != io.EOF {
		in.failed = err
	}
	return n, err
}

// cuttable is the plain content of a file. An error in the middle becomes the
// end of the content and is kept in cut, so that what came before is used.
type cuttable struct {
	r   io.Reader
	cut error
}

func (c *cuttable) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	if err != nil && err != io.EOF {
		c.cut = err
		err = io.EOF
	}
	return n, err
}

// open finds out what a path holds and returns its decoder.
func (r *Reader) open(path string) (format, *input, error) {
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		f, err := r.openJournal(path)
		return f, nil, err
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, nil, fmt.Errorf("capture %w; check the name and the rights", err)
	}
	in := &input{file: file}
	raw := bufio.NewReaderSize(in, maxLine)
	if head, _ := raw.Peek(len(journal.Magic)); string(head) == journal.Magic {
		file.Close()
		f, err := r.openJournal(path)
		return f, nil, err
	}
	f, err := r.openStream(path, in, raw)
	if err != nil {
		file.Close()
		return nil, nil, err
	}
	return f, in, nil
}

// openStream takes off a compression, if any, and chooses the decoder.
func (r *Reader) openStream(path string, in *input, raw *bufio.Reader) (format, error) {
	plain, release, err := decompress(raw)
	if err != nil {
		return nil, fmt.Errorf("%s: %w; check that the file is complete", path, err)
	}
	body := &cuttable{r: plain}
	buf := raw
	if plain != io.Reader(raw) {
		buf = bufio.NewReaderSize(body, maxLine)
	}
	closeAll := func() error {
		release()
		return in.file.Close()
	}
	switch head, _ := buf.Peek(4); {
	case isPcap(head), isPcapng(head):
		return r.openPcap(path, buf, body, closeAll)
	default:
		return &canlog{owner: r, path: path, in: buf, body: body, release: closeAll}, nil
	}
}

// decompress returns the content of raw without its compression, and a
// function that releases the decompressor.
func decompress(raw *bufio.Reader) (io.Reader, func(), error) {
	head, _ := raw.Peek(4)
	switch {
	case bytes.HasPrefix(head, []byte{0x1f, 0x8b}): // RFC 1952, 2.3.1
		z, err := gzip.NewReader(raw)
		if err != nil {
			return nil, nil, fmt.Errorf("gzip: %w", err)
		}
		return z, func() { z.Close() }, nil
	case isZstd(head):
		z, err := zstd.NewReader(raw, zstd.WithDecoderMaxWindow(maxWindow))
		if err != nil {
			return nil, nil, fmt.Errorf("zstd: %w", err)
		}
		return z, z.Close, nil
	}
	return raw, func() {}, nil
}

// isZstd knows a zstd frame and a skippable frame (RFC 8878, 3.1.1 and 3.1.2).
func isZstd(head []byte) bool {
	return bytes.Equal(head, []byte{0x28, 0xb5, 0x2f, 0xfd}) ||
		len(head) == 4 && head[0]&0xf0 == 0x50 && bytes.Equal(head[1:], []byte{0x2a, 0x4d, 0x18})
}
