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
// with numbers big-endian.
type fingerprint struct {
	hash  hash.Hash
	text  []byte // not hashed yet
	buses func() []string
	names []string // each with its zero
}

const (
	fixedSize = 21
	// hashAt: hashed in pieces of this size, since each call costs.
	hashAt = 16 << 10
)

func newFingerprint(buses func() []string) fingerprint {
	return fingerprint{hash: sha256.New(), text: make([]byte, 0, hashAt+64), buses: buses}
}

func (p *fingerprint) add(f *frame.Frame) {
	id := f.ID
	switch {
	case f.IsError:
		id |= 1 << 29
	case f.IsExtended:
		id |= 1 << 31
	}
	if f.IsRemote {
		id |= 1 << 30
	}
	var b [fixedSize]byte
	binary.BigEndian.PutUint64(b[0:], uint64(f.Time))
	binary.BigEndian.PutUint32(b[8:], id)
	b[12] = f.Length
	if !f.IsRemote {
		copy(b[13:], f.Data[:min(f.Length, 8)])
	}
	p.text = append(append(p.text, b[:]...), p.name(f.Bus)...)
	if len(p.text) >= hashAt {
		p.hash.Write(p.text) // never an error: hash.Hash
		p.text = p.text[:0]
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
	p.hash.Write(p.text)
	p.text = p.text[:0]
	return hex.EncodeToString(p.hash.Sum(nil))
}
