package day

import (
	"bytes"
	"crypto/sha256"
	"debug/elf"
	"encoding/gob"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"sync"

	"github.com/klauspost/compress/zstd"

	"trialday.example/logd/calc"
	"trialday.example/logd/configs"
)

// evidenceFile keeps the evidence of a trial beside its frames, so that figures
// can be derived again in a moment, and after a restart of the program. It is a
// cache: whatever makes it doubtful (another program, more frames, damage) only
// costs a replay, and it may be deleted.
//
// It is two values of encoding/gob, a keptKey and an Evidence, in one zstd frame
// with its checksum (RFC 8878).
const evidenceFile = "evidence.gob.zst"

// keptKey tells what the evidence is of.
type keptKey struct {
	Program [sha256.Size]byte // what derived it: any other may find something else
	Frames  uint64            // of the journal that were read
	// Whole tells that these were all of a journal that was on the disk: what is
	// read while it is being written can be lost with the power.
	Whole bool
	// Config is the configuration in JSON, what has no part in figures left out,
	// and Readings are the hand readings. Whoever derives the results again uses
	// these: the boat may have been another than today's.
	Config   []byte
	Readings []calc.Reading
}

// given puts in what was given besides the evidence.
func (k *keptKey) given(g Given) (Given, error) {
	c := configs.Default() // for keys that were not known when it was kept
	if err := json.Unmarshal(k.Config, &c); err != nil {
		return g, err
	}
	g.Config, g.Readings = c, k.Readings
	return g, nil
}

// buildNote is where the Go linker puts what identifies a program: a hash of all
// that it is made of.
const buildNote = ".note.go.buildid"

// program is a hash of what identifies the running program. Its file, some 20
// MB, is hashed only where there is no note in it: that takes a second on a small
// computer, when the service should be stopping.
var program = sync.OnceValues(func() (sum [sha256.Size]byte, err error) {
	f, err := os.Open("/proc/self/exe") // this one, even if another was installed since
	if err != nil {
		return sum, err
	}
	defer f.Close()
	if e, err := elf.NewFile(f); err == nil {
		if s := e.Section(buildNote); s != nil {
			if note, err := s.Data(); err == nil {
				return sha256.Sum256(note), nil
			}
		}
	}
	h := sha256.New()
	if _, err := io.Copy(h, io.NewSectionReader(f, 0, math.MaxInt64)); err != nil {
		return sum, err
	}
	return [sha256.Size]byte(h.Sum(nil)), nil
})

// Keep keeps the evidence of the first so many frames of a trial's journal, and
// what the results were made of besides. Whole tells that there are no other
// frames, and that they are on the disk.
func (e *Evidence) Keep(trial string, g Given, frames uint64, whole bool) error {
	cfg := g.Config
	cfg.Journal, cfg.Influx, cfg.Page, cfg.Bus = configs.Journal{}, configs.Influx{}, configs.Page{}, configs.Bus{}
	sum, err := program()
	if err != nil {
		return fmt.Errorf("evidence: %w", err)
	}
	text, err := json.Marshal(&cfg)
	if err != nil {
		return fmt.Errorf("evidence: %w", err)
	}
	key := keptKey{sum, frames, whole, text, g.Readings}
	var b bytes.Buffer
	// The usual window of 4 MB would take 15 MB aboard, every ten minutes.
	z, err := zstd.NewWriter(&b, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1),
		zstd.WithWindowSize(256<<10), zstd.WithLowerEncoderMem(true))
	if err != nil {
		return err
	}
	out := gob.NewEncoder(z)
	if err := errors.Join(out.Encode(&key), out.Encode(e), z.Close()); err != nil {
		return fmt.Errorf("evidence: %w", err)
	}
	return replace(filepath.Join(trial, evidenceFile), b.Bytes())
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

// kept opens what was kept of a trial: its key, and how to read the evidence.
// The key is nil where there is none.
func kept(trial string) (key *keptKey, read func() *Evidence, done func()) {
	none := func() {}
	f, err := os.Open(filepath.Join(trial, evidenceFile))
	if err != nil {
		return nil, nil, none
	}
	z, err := zstd.NewReader(f, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxEvidence))
	if err != nil {
		f.Close()
		return nil, nil, none
	}
	done = func() {
		z.Close()
		f.Close()
	}
	g := gob.NewDecoder(z)
	key = new(keptKey)
	if g.Decode(key) != nil {
		return nil, nil, done
	}
	return key, func() *Evidence {
		e := new(Evidence)
		if g.Decode(e) != nil {
			return nil
		}
		if _, err := io.Copy(io.Discard, z); err != nil { // the checksum comes at the end
			return nil
		}
		return e
	}, done
}

// covers tells whether what was kept is of all frames of a journal that has so
// many or, where soFar is enough, of the first of them.
func (k *keptKey) covers(frames uint64, soFar bool) bool {
	return k.Whole && k.Frames == frames || soFar && k.Frames <= frames
}

// Evaluated tells whether it is known with which configuration the results of a
// trial were derived last.
func Evaluated(trial string) bool {
	key, _, done := kept(trial)
	defer done()
	return key != nil
}

// maxEvidence bounds the memory for the file's window, in bytes.
const maxEvidence = 64 << 20
