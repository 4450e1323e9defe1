package journal

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"io"
	"os"
	"testing"

	"trialday.example/logd/decode/frame"
)

// seal makes the sum of a segment header right again.
func seal(b []byte) {
	binary.LittleEndian.PutUint32(b[60:], crc32.Checksum(b[:60], castagnoli))
}

// FuzzReader reads any bytes as a segment: no panic, an end, and no frame that
// is none.
func FuzzReader(f *testing.F) {
	for seed := range uint64(3) {
		dir := f.TempDir()
		write(f, dir, Options{BlockFrames: 30, Uncompressed: seed == 1}, randomFrames(seed, 100))
		b, err := os.ReadFile(segmentPath(dir, 1))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte) {
		path := segmentPath(dir, 1)
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		for _, p := range []string{path, dir} {
			r, err := Open(p)
			if err != nil {
				continue
			}
			checkFrames(t, r)
			r.Close()
		}
	})
}

func checkFrames(t *testing.T, r *Reader) {
	for {
		var fr frame.Frame
		if err := r.Next(&fr); err == io.EOF {
			return
		} else if err != nil {
			t.Fatal(err)
		}
		if fr.Length > 8 || int(fr.Bus) >= len(r.Buses()) {
			t.Fatalf("impossible frame %+v", fr)
		}
	}
}

// FuzzColumns decodes any bytes as the payload of a block, which sums protect
// in a file.
func FuzzColumns(f *testing.F) {
	var e encoder
	for seed := range uint64(3) {
		list := randomFrames(seed, 50)
		frames := make([]frame.Frame, len(list))
		for i := range list {
			frames[i] = list[i].Frame
		}
		payload := e.encode(frames, []string{"can0", "can1", "can2"})
		f.Add(bytes.Clone(payload), len(frames))
	}
	f.Fuzz(func(t *testing.T, payload []byte, n int) {
		if n < 1 || n > maxFrames {
			return
		}
		var d decoder
		frames, names, err := d.decode(nil, payload, n, 0)
		if err != nil {
			return
		}
		if len(frames) != n {
			t.Fatalf("%d frames, want %d", len(frames), n)
		}
		for _, fr := range frames {
			if fr.Length > 8 || int(fr.Bus) >= len(names) {
				t.Fatalf("impossible frame %+v", fr)
			}
		}
	})
}
