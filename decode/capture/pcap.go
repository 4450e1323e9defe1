package capture

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/gopacket/gopacket"
	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"

	"trialday.example/logd/decode/frame"
)

// LinkTypeSocketCAN is LINKTYPE_CAN_SOCKETCAN of the tcpdump.org registry of
// link types: a 4-byte identifier with flags, big-endian; 1 byte payload
// length; 1 byte FD flags; 2 bytes reserved; the payload.
const LinkTypeSocketCAN layers.LinkType = 227

const (
	canHeader = 8
	flagFD    = 0x04 // CANFD_FDF in the FD flags byte
	flagXL    = 0x80 // CANXL_XLF, in the place of the payload length
)

func isPcap(head []byte) bool {
	if len(head) < 4 {
		return false
	}
	switch binary.BigEndian.Uint32(head) {
	case 0xa1b2c3d4, 0xd4c3b2a1, 0xa1b23c4d, 0x4d3cb2a1: // µs and ns, both byte orders
		return true
	}
	return false
}

// isPcapng knows the section header block (pcapng draft, 4.1).
func isPcapng(head []byte) bool {
	return len(head) >= 4 && binary.BigEndian.Uint32(head) == 0x0a0d0d0a
}

// packets is what the two packet formats have in common.
type packets interface {
	// packet returns the next packet, valid until the next call, with the
	// link type and the name of its interface.
	packet() (data []byte, t time.Time, link layers.LinkType, name []byte, err error)
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
		data, t, link, name, err := p.in.packet()
		if err != nil {
			p.end(err)
			break
		}
		p.count++
		reason := parsePacket(data, t, link, f)
		if reason == "" {
			f.Bus, reason = p.owner.buses.index(name)
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
func parsePacket(data []byte, t time.Time, link layers.LinkType, f *frame.Frame) string {
	if link != LinkTypeSocketCAN {
		return "link type is not 227 (CAN_SOCKETCAN)"
	}
	if len(data) < canHeader {
		return "packet shorter than a CAN header"
	}
	if t.Unix() < 0 || t.Unix() > maxSeconds {
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
	*f = frame.Frame{Time: t.UnixNano(), IsError: id&flagError != 0}
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
type classic struct{ r *pcapgo.Reader }

func newClassic(r io.Reader) (*classic, error) {
	pr, err := pcapgo.NewReader(r)
	return &classic{pr}, err
}

func (c *classic) packet() ([]byte, time.Time, layers.LinkType, []byte, error) {
	data, ci, err := c.r.ZeroCopyReadPacketData()
	return data, ci.Timestamp, c.r.LinkType(), []byte("can0"), err
}

// ng reads pcapng. An interface without a name is called can and its number.
type ng struct {
	r    *pcapgo.NgReader
	name []byte
}

func newNg(r io.Reader) (*ng, error) {
	nr, err := pcapgo.NewNgReader(r, pcapgo.NgReaderOptions{WantMixedLinkType: true, SkipUnknownVersion: true})
	return &ng{r: nr}, err
}

func (n *ng) packet() (data []byte, t time.Time, link layers.LinkType, name []byte, err error) {
	var ci gopacket.CaptureInfo
	if data, ci, err = n.r.ZeroCopyReadPacketData(); err != nil {
		return
	}
	iface, err := n.r.Interface(ci.InterfaceIndex)
	if err != nil {
		return
	}
	if iface.Name == "" {
		iface.Name = fmt.Sprintf("can%d", min(ci.InterfaceIndex, math.MaxUint16))
	}
	n.name = append(n.name[:0], iface.Name...)
	return data, ci.Timestamp, iface.LinkType, n.name, nil
}
