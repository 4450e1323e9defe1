package decode

import (
	"slices"

	"trialday.example/logd/decode/assemble"
	"trialday.example/logd/decode/frame"
)

// Stats counts what was read and lost.
type Stats struct {
	Frames         int64 // all frames
	ErrorFrames    int64 // SocketCAN error frames
	RemoteFrames   int64 // not used on this kind of network; passed over
	StandardFrames int64 // with 11-bit identifiers; passed over
	Messages       int64 // whole messages of a known PGN
	// UnknownFrames counts frames of PGNs that have no definition; UnknownPGNs
	// lists these.
	UnknownFrames int64
	UnknownPGNs   []PGNCount
	Samples       int64 // handed on
	// NotChosen counts samples that another device gives.
	NotChosen int64
	// NoEngine counts messages of engines that have no position.
	NoEngine int64
	// Refused counts devices beyond those that can be told apart.
	Refused int64
	// Assembly counts the messages of several frames, whole and lost.
	Assembly assemble.Counts
}

// PGNCount is a PGN and how often it came.
type PGNCount struct {
	PGN    uint32
	Frames int64
}

func (s *Stats) count(f *frame.Frame) {
	s.Frames++
	switch {
	case f.IsError:
		s.ErrorFrames++
	case f.IsRemote:
		s.RemoteFrames++
	case !f.IsExtended:
		s.StandardFrames++
	}
}

// Stats is what was counted so far.
func (d *Decoder) Stats() Stats {
	s := d.stats
	s.Assembly, s.Refused = d.assemble.Counts, d.devices.Refused
	s.UnknownFrames, s.UnknownPGNs = d.unknown.total, d.unknown.list()
	return s
}

// Losses is every kind of loss by a stable name.
func (s *Stats) Losses() map[string]int64 {
	losses := map[string]int64{"transport_addressed": s.Assembly.Addressed}
	s.Assembly.FastPacket.Each(func(name string, n int64) { losses["fast_packet_"+name] = n })
	s.Assembly.Transport.Each(func(name string, n int64) { losses["transport_"+name] = n })
	return losses
}

// unknown counts the PGNs without a definition, of which there can be 2^18.
type unknown struct {
	total int64
	count map[uint32]int64
}

// maxUnknown bounds the PGNs told apart.
const maxUnknown = 512

func (u *unknown) add(pgn uint32) {
	u.total++
	if u.count == nil {
		u.count = make(map[uint32]int64)
	}
	if _, known := u.count[pgn]; known || len(u.count) < maxUnknown {
		u.count[pgn]++
	}
}

// list is by rising PGN.
func (u *unknown) list() []PGNCount {
	var list []PGNCount
	for pgn, n := range u.count {
		list = append(list, PGNCount{pgn, n})
	}
	slices.SortFunc(list, func(a, b PGNCount) int { return int(a.PGN) - int(b.PGN) })
	return list
}
