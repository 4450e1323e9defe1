package day

import (
	"bytes"
	"crypto/sha256"
	"encoding/gob"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/configs"
)

// evidenceFile keeps the evidence of a trial beside its frames, so that figures
// can be derived again in a moment, and after a restart of the program. It is a
// cache: whatever makes it doubtful (another program, configuration or journal,
// damage) only costs a replay, and it may be deleted.
//
// It is two values of encoding/gob, a keptKey and an Evidence, in one zstd frame
// with its checksum (RFC 8878).
const evidenceFile = "evidence.gob.zst"

// keptKey is all that the evidence hangs on.
type keptKey struct {
	Program [sha256.Size]byte // of the executable: any other may find something else
	Config  [sha256.Size]byte
	Frames  []segmentSize
	// Whole tells that the evidence is of all those frames, not of the first of
	// them.
	Whole bool
}

// segmentSize is one file of the journal, by rising name. Journals only grow, or
// are cut when they are opened after a power cut.
type segmentSize struct {
	Name string
	Size int64
}

// Place is where evidence is kept and what it is of.
type Place struct {
	dir string // of the trial
	key keptKey
}

// PlaceOf says where the evidence is kept of the frames that are now in a
// directory, in the directory of their trial. Call it before they are read.
func PlaceOf(trial, frames string, cfg *configs.Config) (Place, error) {
	p := Place{dir: trial}
	var err error
	if p.key.Program, err = program(); err != nil {
		return p, err
	}
	if p.key.Config, err = fingerprintOf(cfg); err != nil {
		return p, err
	}
	p.key.Frames, err = sizes(frames)
	return p, err
}

// program is the hash of the running program's file. It is read once, some 20
// MB.
var program = sync.OnceValues(func() (sum [sha256.Size]byte, err error) {
	f, err := os.Open("/proc/self/exe") // this one, even if another was installed since
	if err != nil {
		return sum, err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return sum, err
	}
	return [sha256.Size]byte(h.Sum(nil)), nil
})

// fingerprintOf leaves out what has no part in the figures.
func fingerprintOf(cfg *configs.Config) (sum [sha256.Size]byte, err error) {
	c := *cfg
	c.Journal, c.Influx, c.Page, c.Bus = configs.Journal{}, configs.Influx{}, configs.Page{}, configs.Bus{}
	text, err := json.Marshal(&c)
	return sha256.Sum256(text), err
}

func sizes(dir string) ([]segmentSize, error) {
	entries, err := os.ReadDir(dir) // by rising name
	if err != nil {
		return nil, fmt.Errorf("frames: %w", err)
	}
	var out []segmentSize
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			return nil, fmt.Errorf("frames: %w", err)
		}
		if info.Mode().IsRegular() {
			out = append(out, segmentSize{e.Name(), info.Size()})
		}
	}
	return out, nil
}

// Keep keeps the evidence. Whole tells that it is of all frames that there were
// when the place was made; else it is of the first of them.
func (p Place) Keep(e *Evidence, whole bool) error {
	p.key.Whole = whole
	var b bytes.Buffer
	z, err := zstd.NewWriter(&b, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	if err != nil {
		return err
	}
	g := gob.NewEncoder(z)
	if err := errors.Join(g.Encode(&p.key), g.Encode(e), z.Close()); err != nil {
		return fmt.Errorf("evidence: %w", err)
	}
	return replace(filepath.Join(p.dir, evidenceFile), b.Bytes())
}

// replace replaces a file whole and waits until it is on the disk.
func replace(path string, text []byte) error {
	f, err := os.Create(path + ".part")
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(path+".part", path)
}

// Kept is the evidence that was kept at the place; nil unless it is of all its
// frames or, where soFar is enough, of the first of them.
func (p Place) Kept(soFar bool) *Evidence {
	f, err := os.Open(filepath.Join(p.dir, evidenceFile))
	if err != nil {
		return nil
	}
	defer f.Close()
	z, err := zstd.NewReader(f, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxEvidence))
	if err != nil {
		return nil
	}
	defer z.Close()
	g := gob.NewDecoder(z)
	var key keptKey
	e := new(Evidence)
	if g.Decode(&key) != nil || !p.key.covers(&key, soFar) || g.Decode(e) != nil {
		return nil
	}
	if _, err := io.Copy(io.Discard, z); err != nil { // the checksum comes at the end
		return nil
	}
	return e
}

// maxEvidence bounds the memory for the file's window, in bytes.
const maxEvidence = 64 << 20

// covers tells whether kept evidence serves for the frames of k.
func (k *keptKey) covers(kept *keptKey, soFar bool) bool {
	if k.Program != kept.Program || k.Config != kept.Config {
		return false
	}
	if kept.Whole && slices.Equal(k.Frames, kept.Frames) {
		return true
	}
	if !soFar || len(kept.Frames) > len(k.Frames) {
		return false
	}
	for i, s := range kept.Frames {
		now := k.Frames[i]
		last := i == len(kept.Frames)-1
		if s.Name != now.Name || s.Size > now.Size || s.Size != now.Size && !last {
			return false
		}
	}
	return true
}
