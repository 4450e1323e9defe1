package day

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"hash"

	"trialday.example/logd/decode/frame"
)

// fingerprint is the SHA-256 (FIPS 180-4) of all frames in the order of
// reception. It hangs on nothing but the frames, so that it is the same for a
// journal and for any export of it. Of each frame it takes
//
//	8 bytes  capture time, ns since 1970
//	4 bytes  identifier, with bit 31 set for extended, 30 for remote and 29 for
//	         error frames, as SocketCAN has them
//	1 byte   length
//	8 bytes  data, zero beyond the length and in remote frames
//	n bytes  name of the bus, then a zero
//
// with numbers big-endian. It is hashed beside what else is done with the
// frames, by a goroutine that lives for one piece.
type fingerprint struct {
	hash  hash.Hash
	text  []byte        // not hashed yet
	spare []byte        // the piece being hashed
	done  chan struct{} // closed when it is; nil if none is
	buses func() []string
	names []string // each with its zero
}

const (
	fixedSize = 21
	// hashAt is the size of the pieces, since each costs a goroutine.
	hashAt  = 128 << 10
	maxName = 255 // of a bus, bytes
)

func newFingerprint(buses func() []string) fingerprint {
	piece := func() []byte { return make([]byte, 0, hashAt+fixedSize+maxName+1) }
	return fingerprint{hash: sha256.New(), text: piece(), spare: piece(), buses: buses}
}

func (p *fingerprint) add(f *frame.Frame) {
	id := f.ID
	switch {
	case f.IsError:
		id |= 1 << 29
	case f.IsExtended:
		id |= 1 << 31
	}
	data := binary.LittleEndian.Uint64(f.Data[:])
	if f.Length < 8 {
		data &= 1<<(8*f.Length) - 1
	}
	if f.IsRemote {
		id |= 1 << 30
		data = 0
	}
	b := binary.BigEndian.AppendUint64(p.text, uint64(f.Time))
	b = binary.BigEndian.AppendUint32(b, id)
	b = binary.LittleEndian.AppendUint64(append(b, f.Length), data)
	p.text = append(b, p.name(f.Bus)...)
	if len(p.text) >= hashAt {
		p.wait()
		p.text, p.spare = p.spare[:0], p.text
		done, piece := make(chan struct{}), p.spare
		p.done = done
		go func() {
			p.hash.Write(piece) // never an error: hash.Hash
			close(done)
		}()
	}
}

func (p *fingerprint) wait() {
	if p.done != nil {
		<-p.done
		p.done = nil
	}
}

func (p *fingerprint) name(bus uint8) string {
	if int(bus) >= len(p.names) {
		p.names = p.names[:0]
		for _, name := range p.buses() {
			p.names = append(p.names, name+"\x00")
		}
	}
	if int(bus) >= len(p.names) {
		return "\x00"
	}
	return p.names[bus]
}

// sum returns the hash in lower-case hex.
func (p *fingerprint) sum() string {
	p.wait()
	p.hash.Write(p.text)
	p.text = p.text[:0]
	return hex.EncodeToString(p.hash.Sum(nil))
}
