package journal

import "trialday.example/logd/decode/frame"

const (
	flagExtended = 0x10
	flagRemote   = 0x20
	flagError    = 0x40
	maskLength   = 0x0f
)

// kind is what a frame has apart from time and data.
type kind struct {
	id  uint32
	bus uint8 // index into the names of the block
	tag uint8 // length and flags
}

// dataLen returns the number of data bytes that are kept of each frame.
func (k kind) dataLen() int {
	if k.tag&flagRemote != 0 {
		return 0
	}
	return int(k.tag & maskLength)
}

func kindOf(f *frame.Frame) kind {
	k := kind{id: f.ID, bus: f.Bus, tag: f.Length}
	if f.IsExtended {
		k.tag |= flagExtended
	}
	if f.IsRemote {
		k.tag |= flagRemote
	}
	if f.IsError {
		k.tag |= flagError
	}
	return k
}

// frame makes the frame of a kind without time and data.
func (k kind) frame() (f frame.Frame) {
	f.ID, f.Bus, f.Length = k.id, k.bus, k.tag&maskLength
	f.IsExtended, f.IsRemote, f.IsError = k.tag&flagExtended != 0, k.tag&flagRemote != 0, k.tag&flagError != 0
	return f
}

// stream is some frames of one kind, in their order: all of the block, or those
// with one number where the kind numbers its frames.
type stream struct {
	kind
	count  int
	first  int64 // time of its first frame, in units since the first of the block
	data   [8]byte
	period int64
	varies uint8 // bit k: byte k is not the same in all frames
}

// numbering finds out whether the frames of a kind are numbered, as those of a
// message in several frames are: the low five bits of the first byte count from
// 0, and begin again before they have to. Frames with the same number resemble
// each other more than neighbours do.
type numbering struct {
	last           byte
	frames         int
	next, restarts int
	streams        [32]uint16 // number of the stream + 1
}

func (n *numbering) see(first byte) {
	const low = 31
	if n.frames++; n.frames > 1 {
		switch {
		case first&low != 0 && first == n.last+1:
			n.next++
		case first&low == 0 && n.last&low != 0 && n.last&low != low:
			n.restarts++
		}
	}
	n.last = first
}

func (n *numbering) numbered() bool {
	pairs := n.frames - 1
	return n.restarts*32 >= pairs && n.next > 0 && (n.next+n.restarts)*4 >= pairs*3
}

// division is a block's frames divided into streams.
type division struct {
	kinds    map[kind]uint16
	numbers  []numbering // by kind
	kindOf   []uint16    // by frame
	streams  []stream
	streamOf []uint16 // by frame
	members  []uint16 // the frames of the first stream, then those of the next
}

// divide numbers kinds and streams in the order of their appearance.
func (d *division) divide(frames []frame.Frame) {
	if d.kinds == nil {
		d.kinds = make(map[kind]uint16)
	}
	clear(d.kinds)
	d.numbers, d.kindOf = d.numbers[:0], d.kindOf[:0]
	for i := range frames {
		k := kindOf(&frames[i])
		n, ok := d.kinds[k]
		if !ok {
			n = uint16(len(d.numbers))
			d.kinds[k] = n
			d.numbers = append(d.numbers, numbering{})
		}
		if k.dataLen() > 0 {
			d.numbers[n].see(frames[i].Data[0])
		}
		d.kindOf = append(d.kindOf, n)
	}
	d.streams, d.streamOf = d.streams[:0], d.streamOf[:0]
	for i := range frames {
		n := &d.numbers[d.kindOf[i]]
		s := &n.streams[0]
		if n.numbered() {
			s = &n.streams[frames[i].Data[0]&31]
		}
		if *s == 0 {
			d.streams = append(d.streams, stream{kind: kindOf(&frames[i])})
			*s = uint16(len(d.streams)) // 65536 streams: the last is 0 again, and has one frame
		}
		d.streams[*s-1].count++
		d.streamOf = append(d.streamOf, *s-1)
	}
	d.gather()
}

// gather lists the frames of each stream.
func (d *division) gather() {
	at := make([]int, len(d.streams))
	for i, total := 0, 0; i < len(at); i++ {
		at[i], total = total, total+d.streams[i].count
	}
	d.members = append(d.members[:0], d.streamOf...)
	for i, s := range d.streamOf {
		d.members[at[s]] = uint16(i)
		at[s]++
	}
}
