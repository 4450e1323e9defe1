package export

import (
	"bufio"
	"encoding/binary"
	"io"
	"math"

	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
)

// PCAPNG writes all frames of src as pcapng (draft-ietf-opsawg-pcapng) with link
// type 227 (LINKTYPE_CAN_SOCKETCAN), one interface for each bus, with its name,
// and times in nanoseconds. It returns the number of frames. A time before 1970,
// which the format cannot express, is written as 1970.
func PCAPNG(w io.Writer, src frame.Source) (n int64, err error) {
	p := pcapng{out: bufio.NewWriterSize(w, 64<<10), src: src}
	if err := p.section(); err != nil {
		return 0, err
	}
	n, err = frame.Each(src, p.write)
	if err == nil {
		err = p.interfaces() // also a capture without frames is a whole file
	}
	if ferr := p.out.Flush(); err == nil {
		err = ferr
	}
	return n, err
}

type pcapng struct {
	out   *bufio.Writer
	src   frame.Source
	known int // buses that have their interface
	body  []byte
}

var le = binary.LittleEndian

// block writes a block (3.1).
func (p *pcapng) block(kind uint32, body []byte) error {
	var head [8]byte
	le.PutUint32(head[:], kind)
	le.PutUint32(head[4:], uint32(len(body)+12))
	p.out.Write(head[:])
	p.out.Write(body)
	_, err := p.out.Write(head[4:]) // what went wrong before is told here
	return err
}

// option appends an option (3.5): its code, its length, its value and zeros up to
// the next 32 bits.
func option(body []byte, code uint16, value string) []byte {
	body = le.AppendUint16(le.AppendUint16(body, code), uint16(len(value)))
	return append(append(body, value...), make([]byte, -len(value)&3)...)
}

// section writes a section header block (4.1) of version 1.0 and unknown length,
// with the program's name.
func (p *pcapng) section() error {
	body := le.AppendUint32(nil, 0x1a2b3c4d)
	body = le.AppendUint64(le.AppendUint16(le.AppendUint16(body, 1), 0), math.MaxUint64)
	return p.block(0x0a0d0d0a, option(option(body, 4, "logd"), 0, ""))
}

// interfaces describes the buses that are new (4.2): link type, no limit of
// length, name, nanoseconds. The format asks for one interface at least.
func (p *pcapng) interfaces() error {
	names := p.src.Buses()
	if len(names) == 0 {
		names = []string{"can0"}
	}
	for ; p.known < len(names); p.known++ {
		body := le.AppendUint32(le.AppendUint32(nil, capture.LinkTypeSocketCAN), 0)
		body = option(option(option(body, 2, names[p.known]), 9, "\x09"), 0, "")
		if err := p.block(1, body); err != nil {
			return err
		}
	}
	return nil
}

// write writes an enhanced packet block (4.3).
func (p *pcapng) write(f *frame.Frame) error {
	if int(f.Bus) >= p.known {
		if err := p.interfaces(); err != nil {
			return err
		}
	}
	b, at := packet(f), uint64(max(f.Time, 0))
	p.body = le.AppendUint32(p.body[:0], uint32(f.Bus))
	p.body = le.AppendUint32(le.AppendUint32(p.body, uint32(at>>32)), uint32(at))
	p.body = le.AppendUint32(le.AppendUint32(p.body, uint32(len(b))), uint32(len(b)))
	return p.block(6, append(p.body, b[:]...))
}
