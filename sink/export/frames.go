// Package export writes what the logger keeps in formats that other programs
// read: raw frames as a can-utils log or pcapng, decoded samples as CSV or
// Parquet.
//
// Invariant: what a format can express is written exactly. A log line, a
// frame in the journal and the exported line are the same text, if the first
// is in the form of candump -L.
package export

import (
	"bufio"
	"encoding/binary"
	"io"
	"time"

	"github.com/gopacket/gopacket"
	"github.com/gopacket/gopacket/pcapgo"

	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
)

// CanLog writes all frames of src in the form of candump -L and returns their
// number. A time that is not a whole microsecond has 9 digits after the point,
// so that nothing is lost; log2asc of can-utils 2020.11 (Debian 12) takes those
// for microseconds.
func CanLog(w io.Writer, src frame.Source) (n int64, err error) {
	out := bufio.NewWriterSize(w, 64<<10)
	var line []byte
	n, err = frame.Each(src, func(f *frame.Frame) error {
		line = append(capture.AppendLine(line[:0], f, src.Buses()[f.Bus]), '\n')
		_, err := out.Write(line)
		return err
	})
	if ferr := out.Flush(); err == nil {
		err = ferr
	}
	return n, err
}

// PCAPNG writes all frames of src as pcapng with link type 227
// (LINKTYPE_CAN_SOCKETCAN), one interface for each bus, with its name, and
// times in nanoseconds. It returns the number of frames. A time before 1970,
// which the format cannot express, is written as 1970.
func PCAPNG(w io.Writer, src frame.Source) (n int64, err error) {
	p := pcapng{w: w, src: src}
	n, err = frame.Each(src, p.write)
	if err == nil {
		err = p.interfaces() // also a capture without frames is a whole file
	}
	if p.out == nil {
		return n, err
	}
	if ferr := p.out.Flush(); err == nil {
		err = ferr
	}
	return n, err
}

type pcapng struct {
	w     io.Writer
	src   frame.Source
	out   *pcapgo.NgWriter
	known int // buses that have their interface
}

func (p *pcapng) write(f *frame.Frame) error {
	if int(f.Bus) >= p.known {
		if err := p.interfaces(); err != nil {
			return err
		}
	}
	b := packet(f)
	return p.out.WritePacket(gopacket.CaptureInfo{
		Timestamp:      time.Unix(0, max(f.Time, 0)),
		CaptureLength:  len(b),
		Length:         len(b),
		InterfaceIndex: int(f.Bus),
	}, b[:])
}

// interfaces describes the buses that are new. The format asks for one
// interface at least.
func (p *pcapng) interfaces() error {
	names := p.src.Buses()
	if len(names) == 0 {
		names = []string{"can0"}
	}
	for ; p.known < len(names); p.known++ {
		if err := p.describe(names[p.known]); err != nil {
			return err
		}
	}
	return nil
}

func (p *pcapng) describe(name string) (err error) {
	iface := pcapgo.NgInterface{Name: name, LinkType: capture.LinkTypeSocketCAN, TimestampResolution: 9}
	if p.out != nil {
		_, err = p.out.AddInterface(iface)
		return err
	}
	p.out, err = pcapgo.NewNgWriterInterface(p.w, iface, pcapgo.NgWriterOptions{
		SectionInfo: pcapgo.NgSectionInfo{Application: "logd"}})
	return err
}

// packet lays a frame out as Linux does in captures: identifier and flags
// big-endian, length, 3 bytes zero, 8 data bytes whether used or not.
func packet(f *frame.Frame) (b [16]byte) {
	id := f.ID
	if f.IsExtended {
		id |= 1 << 31
	}
	if f.IsRemote {
		id |= 1 << 30
	}
	if f.IsError {
		id |= 1 << 29
	}
	binary.BigEndian.PutUint32(b[:], id)
	b[4] = f.Length
	if !f.IsRemote {
		copy(b[8:], f.Data[:min(f.Length, 8)])
	}
	return b
}
