package capture

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"trialday.example/logd/decode/frame"
)

// The two packet formats are read by our own code: the library that the tests
// compare it with keeps tables of all network protocols, which are 9 MB of
// memory in a service that reads no capture.

// LinkTypeSocketCAN is LINKTYPE_CAN_SOCKETCAN of the tcpdump.org registry of
// link types: a 4-byte identifier with flags, big-endian; 1 byte payload
// length; 1 byte FD flags; 2 bytes reserved; the payload.
const LinkTypeSocketCAN = 227

const (
	canHeader = 8
	flagFD    = 0x04 // CANFD_FDF in the FD flags byte
	flagXL    = 0x80 // CANXL_XLF, in the place of the payload length

	// maxPacket, bytes, is the most that a capture keeps of a packet
	// (MAXIMUM_SNAPLEN of libpcap).
	maxPacket = 1 << 18
)

// Magic numbers of pcap, as they stand in the file's own byte order
// (draft-ietf-opsawg-pcap, 4).
const (
	magicMicro = 0xa1b2c3d4
	magicNano  = 0xa1b23c4d
)

func isPcap(head []byte) bool {
	_, _, ok := pcapOrder(head)
	return ok
}

// pcapOrder returns the byte order of a pcap file, and the ns in the unit of its
// times.
func pcapOrder(head []byte) (order binary.ByteOrder, unit int64, ok bool) {
	if len(head) < 4 {
		return nil, 0, false
	}
	for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
		switch order.Uint32(head) {
		case magicMicro:
			return order, 1000, true
		case magicNano:
			return order, 1, true
		}
	}
	return nil, 0, false
}

// rawPacket is a packet as either format has it, valid until the next.
type rawPacket struct {
	data []byte
	time stamp
	link uint32
	name []byte // of its interface
	// fault is why the packet cannot be used though the file can be read on.
	fault string
}

// stamp is a time since 1970.
type stamp struct{ sec, nsec int64 }

// packets is what the two packet formats have in common.
type packets interface {
	// packet returns the next packet; io.EOF only where the file ends between
	// two.
	packet() (rawPacket, error)
}

// pcap reads classical CAN frames from pcap and pcapng.
type pcap struct {
	owner   *Reader
	path    string
	in      packets
	body    *cuttable
	release func() error
	count   int64
	ended   bool
}

func (r *Reader) openPcap(path string, buf *bufio.Reader, body *cuttable, release func() error) (format, error) {
	p := &pcap{owner: r, path: path, body: body, release: release}
	head, _ := buf.Peek(4)
	var err error
	if isPcapng(head) {
		p.in, err = newNg(buf)
	} else {
		p.in, err = newClassic(buf)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: pcap header: %w; check that the file is complete", path, err)
	}
	return p, nil
}

func (p *pcap) next(f *frame.Frame) error {
	for !p.ended {
		raw, err := p.in.packet()
		if err != nil {
			p.end(err)
			break
		}
		p.count++
		reason := raw.fault
		if reason == "" {
			reason = parsePacket(&raw, f)
		}
		if reason == "" {
			f.Bus, reason = p.owner.buses.index(raw.name)
		}
		if reason == "" {
			return nil
		}
		p.fault(reason)
	}
	return io.EOF
}

// end notes why there are no more packets, unless that is the plain end.
func (p *pcap) end(err error) {
	p.ended = true
	if p.body.cut != nil {
		err = p.body.cut
	} else if err == io.EOF {
		return
	}
	p.count++
	p.fault(fmt.Sprintf("the file is cut or damaged here (%v); the packets before were read", err))
	p.count--
}

func (p *pcap) fault(reason string) {
	p.owner.faults.add(Fault{File: p.path, Unit: "packet", N: p.count, Reason: reason})
}

func (p *pcap) empty() error {
	return fmt.Errorf("%s: no valid CAN frame in %d packets; expected link type 227 (CAN_SOCKETCAN); "+
		"check that the capture was made on a CAN interface", p.path, p.count)
}

func (p *pcap) close() error { return p.release() }

// parsePacket decodes one packet into everything of f but the bus.
func parsePacket(p *rawPacket, f *frame.Frame) string {
	data, t := p.data, p.time
	if p.link != LinkTypeSocketCAN {
		return "link type is not 227 (CAN_SOCKETCAN)"
	}
	if len(data) < canHeader {
		return "packet shorter than a CAN header"
	}
	if t.sec < 0 || t.sec > maxSeconds {
		return "time before 1970 or beyond the year 2262"
	}
	id, length := binary.BigEndian.Uint32(data), data[4]
	switch {
	case length&flagXL != 0:
		return "CAN XL frame; only classical CAN is read"
	case data[5]&flagFD != 0 || length > 8 && length <= 64:
		return "CAN FD frame; only classical CAN is read"
	case length > 8:
		return "more than 8 data bytes"
	}
	*f = frame.Frame{Time: t.sec*1e9 + t.nsec, IsError: id&flagError != 0}
	f.ID, f.Length = id&maskID, length
	f.IsExtended, f.IsRemote = id&flagExtended != 0 && !f.IsError, id&flagRemote != 0
	if !f.IsExtended && !f.IsError && f.ID > maskStandard {
		return "identifier out of range"
	}
	if f.IsRemote {
		return ""
	}
	if len(data) < canHeader+int(length) {
		return "packet shorter than its data length"
	}
	copy(f.Data[:length], data[canHeader:])
	return ""
}

// classic reads pcap. It has one interface and no name for it: we call it
// can0.
type classic struct {
	in    *bufio.Reader
	order binary.ByteOrder
	unit  int64 // ns, of the fractions of a second
	link  uint32
	room  []byte
}

// newClassic reads the file header (draft-ietf-opsawg-pcap, 4).
func newClassic(in *bufio.Reader) (*classic, error) {
	var head [24]byte
	if _, err := io.ReadFull(in, head[:]); err != nil {
		return nil, err
	}
	c := &classic{in: in}
	c.order, c.unit, _ = pcapOrder(head[:])
	if v := c.order.Uint16(head[4:]); v != 2 {
		return nil, fmt.Errorf("version %d, not 2", v)
	}
	c.link = c.order.Uint32(head[20:]) & 0x0fffffff // without the length of frame check sequences
	return c, nil
}

// packet reads a record (draft-ietf-opsawg-pcap, 5).
func (c *classic) packet() (p rawPacket, err error) {
	var head [16]byte
	if _, err := io.ReadFull(c.in, head[:]); err != nil {
		return p, err
	}
	sec, part, n := c.order.Uint32(head[:]), c.order.Uint32(head[4:]), c.order.Uint32(head[8:])
	if n > maxPacket {
		return p, errors.New("a packet of impossible length")
	}
	if c.room, err = take(c.in, c.room, int(n)); err != nil {
		return p, err
	}
	return rawPacket{data: c.room, time: stamp{int64(sec), int64(part) * c.unit}, link: c.link, name: []byte("can0")}, nil
}

// take reads n bytes, into room if they fit. The end of the file is not where
// they should be.
func take(in *bufio.Reader, room []byte, n int) ([]byte, error) {
	if cap(room) < n {
		room = make([]byte, n)
	}
	room = room[:n]
	_, err := io.ReadFull(in, room)
	return room, unexpected(err)
}
