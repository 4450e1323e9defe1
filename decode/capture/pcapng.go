package capture

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/bits"
)

// Numbers of pcapng (draft-ietf-opsawg-pcapng, the section in brackets).
const (
	ngSection   = 0x0a0d0d0a // section header block (4.1)
	ngInterface = 1          // interface description block (4.2)
	ngPacket    = 2          // packet block, obsolete (appendix A)
	ngSimple    = 3          // simple packet block (4.4)
	ngEnhanced  = 6          // enhanced packet block (4.3)

	ngOrder  = 0x1a2b3c4d // byte-order magic (4.1)
	ngName   = 2          // if_name (4.2)
	ngUnit   = 9          // if_tsresol (4.2)
	ngOffset = 14         // if_tsoffset (4.2)

	// maxBlock, bytes: no block that we look into is longer.
	maxBlock = maxPacket + 1<<16
	// maxInterfaces of a section.
	maxInterfaces = 1 << 16
)

func isPcapng(head []byte) bool {
	return len(head) >= 4 && binary.BigEndian.Uint32(head) == ngSection
}

// ng reads pcapng. An interface without a name is called can and its number.
type ng struct {
	in         *bufio.Reader
	order      binary.ByteOrder
	interfaces []ngIface
	skipping   bool // a section of an unknown version
	room       []byte
}

// ngIface is an interface of the present section.
type ngIface struct {
	name   []byte
	link   uint32
	units  uint64 // of its times in a second; 0 where we cannot count in them
	offset int64  // s
}

// newNg reads the first section header.
func newNg(in *bufio.Reader) (*ng, error) {
	n := &ng{in: in, order: binary.LittleEndian}
	kind, body, err := n.block()
	if err != nil {
		return nil, unexpected(err)
	}
	if kind != ngSection {
		return nil, errors.New("no section header")
	}
	return n, n.section(body)
}

// block reads the next block of a kind that we look into; its body is valid
// until the next (draft-ietf-opsawg-pcapng, 3.1).
func (n *ng) block() (kind uint32, body []byte, err error) {
	for {
		var head [8]byte
		if _, err := io.ReadFull(n.in, head[:]); err != nil {
			return 0, nil, err
		}
		if isPcapng(head[:]) {
			if err := n.newOrder(); err != nil {
				return 0, nil, err
			}
		}
		kind, length := n.order.Uint32(head[:]), n.order.Uint32(head[4:])
		if length < 12 || length%4 != 0 {
			return 0, nil, errors.New("a block of impossible length")
		}
		if !n.wanted(kind) {
			if _, err := io.CopyN(io.Discard, n.in, int64(length)-8); err != nil {
				return 0, nil, unexpected(err)
			}
			continue
		}
		if length > maxBlock {
			return 0, nil, errors.New("a block of impossible length")
		}
		if n.room, err = take(n.in, n.room, int(length)-8); err != nil {
			return 0, nil, err
		}
		end := len(n.room) - 4
		if n.order.Uint32(n.room[end:]) != length {
			return 0, nil, errors.New("a block's two lengths differ")
		}
		return kind, n.room[:end], nil
	}
}

// newOrder looks at the byte order of the section whose header comes next.
func (n *ng) newOrder() error {
	magic, err := n.in.Peek(4)
	if err != nil {
		return unexpected(err)
	}
	for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
		if order.Uint32(magic) == ngOrder {
			n.order = order
			return nil
		}
	}
	return errors.New("a section without a byte order")
}

func (n *ng) wanted(kind uint32) bool {
	switch kind {
	case ngSection:
		return true
	case ngInterface, ngPacket, ngSimple, ngEnhanced:
		return !n.skipping
	}
	return false
}

// unexpected is an error where the file may not end.
func unexpected(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// section begins a section. Of an unknown version it is skipped, as the draft
// asks.
func (n *ng) section(body []byte) error {
	if len(body) < 16 {
		return errShort
	}
	n.interfaces = n.interfaces[:0]
	major, minor := n.order.Uint16(body[4:]), n.order.Uint16(body[6:])
	n.skipping = major != 1 || minor != 0 && minor != 2 // 2 is written by some for 0 (4.1)
	return nil
}

var errShort = errors.New("a block too short for its kind")

// packet implements packets.
func (n *ng) packet() (p rawPacket, err error) {
	for {
		kind, body, err := n.block()
		if err != nil {
			return p, err
		}
		switch kind {
		case ngSection:
			err = n.section(body)
		case ngInterface:
			err = n.describe(body)
		case ngSimple:
			return rawPacket{fault: "packet without a time"}, nil
		default:
			return n.timed(kind, body)
		}
		if err != nil {
			return p, err
		}
	}
}

// timed reads an enhanced or an obsolete packet block; they differ in the size of
// the interface's number.
func (n *ng) timed(kind uint32, body []byte) (p rawPacket, err error) {
	const head = 20
	if len(body) < head {
		return p, errShort
	}
	number := n.order.Uint32(body)
	if kind == ngPacket {
		number = uint32(n.order.Uint16(body))
	}
	length := n.order.Uint32(body[12:])
	if uint64(length) > uint64(len(body)-head) {
		return p, errors.New("a packet longer than its block")
	}
	if uint64(number) >= uint64(len(n.interfaces)) {
		return rawPacket{fault: "packet of an interface that is not described"}, nil
	}
	i := &n.interfaces[number]
	p = rawPacket{data: body[head : head+int(length)], link: i.link, name: i.name}
	var ok bool
	if p.time, ok = i.at(uint64(n.order.Uint32(body[4:]))<<32 | uint64(n.order.Uint32(body[8:]))); !ok {
		p.fault = "packet with a time that cannot be counted in ns"
	}
	return p, nil
}

// at turns a count of the interface's units of time into a time, rounded down.
func (i *ngIface) at(count uint64) (s stamp, ok bool) {
	if i.units == 0 {
		return s, false
	}
	sec := count / i.units
	hi, lo := bits.Mul64(count%i.units, 1e9)
	nsec, _ := bits.Div64(hi, lo, i.units)
	if sec > maxSeconds || i.offset > maxSeconds || i.offset < -maxSeconds {
		return s, false
	}
	return stamp{int64(sec) + i.offset, int64(nsec)}, true
}

// describe adds an interface.
func (n *ng) describe(body []byte) error {
	if len(body) < 8 {
		return errShort
	}
	if len(n.interfaces) == maxInterfaces {
		return fmt.Errorf("more than %d interfaces", maxInterfaces)
	}
	i := ngIface{link: uint32(n.order.Uint16(body)), units: 1e6}
	for rest := body[8:]; len(rest) >= 4; {
		code, length := n.order.Uint16(rest), int(n.order.Uint16(rest[2:]))
		if code == 0 || length > len(rest)-4 {
			break
		}
		i.option(code, rest[4:4+length], n.order)
		rest = rest[min(4+(length+3)&^3, len(rest)):]
	}
	if len(i.name) == 0 {
		i.name = fmt.Appendf(nil, "can%d", len(n.interfaces))
	}
	n.interfaces = append(n.interfaces, i)
	return nil
}

func (i *ngIface) option(code uint16, value []byte, order binary.ByteOrder) {
	switch {
	case code == ngName:
		i.name = bytes.Clone(bytes.TrimRight(value, "\x00"))
	case code == ngUnit && len(value) == 1:
		i.units = unitsIn(value[0])
	case code == ngOffset && len(value) == 8:
		i.offset = int64(order.Uint64(value))
	}
}

// unitsIn returns the number of units of time in a second, from if_tsresol: a
// negative power of 10 or, with the highest bit, of 2. It is 0 where that is
// beyond 64 bits.
func unitsIn(resolution byte) uint64 {
	if power := resolution & 0x7f; resolution&0x80 != 0 {
		return 1 << power // 0 from 64 on
	} else if power <= 19 {
		return uint64(math.Pow10(int(power)))
	}
	return 0
}
