package capture

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"
)

// order is a byte order that can append.
type order interface {
	binary.ByteOrder
	binary.AppendByteOrder
}

// section makes a section of a pcapng file, block by block
// (draft-ietf-opsawg-pcapng).
type section struct {
	order
	file []byte
}

func (s *section) block(kind uint32, body []byte) {
	body = append(body, make([]byte, -len(body)&3)...)
	s.file = s.AppendUint32(s.AppendUint32(s.file, kind), uint32(len(body)+12))
	s.file = s.AppendUint32(append(s.file, body...), uint32(len(body)+12))
}

func (s *section) header(major, minor uint16) {
	body := s.AppendUint16(s.AppendUint16(s.AppendUint32(nil, ngOrder), major), minor)
	s.block(ngSection, s.AppendUint64(body, 1<<64-1))
}

// describe adds an interface with options, each a code and a value.
func (s *section) describe(link uint16, options ...any) {
	body := s.AppendUint32(s.AppendUint16(s.AppendUint16(nil, link), 0), 0)
	for i := 0; i < len(options); i += 2 {
		value := []byte(options[i+1].(string))
		body = s.AppendUint16(s.AppendUint16(body, uint16(options[i].(int))), uint16(len(value)))
		body = append(append(body, value...), make([]byte, -len(value)&3)...)
	}
	s.block(ngInterface, append(body, 0, 0, 0, 0))
}

func (s *section) enhanced(iface uint32, time uint64, data []byte) {
	body := s.AppendUint32(s.AppendUint32(s.AppendUint32(nil, iface), uint32(time>>32)), uint32(time))
	s.block(ngEnhanced, append(s.AppendUint32(s.AppendUint32(body, uint32(len(data))), uint32(len(data))), data...))
}

// sections is a file with two sections that can be read and one that cannot, and
// each unit of time.
func sections(o order) []byte {
	s := section{order: o}
	s.header(1, 0)
	s.block(0x0bad, []byte("a block of some program"))
	s.describe(LinkTypeSocketCAN, 1, "a comment", ngName, "port", ngUnit, "\x09")
	s.describe(LinkTypeSocketCAN)
	s.describe(1, ngName, "eth")
	s.enhanced(0, 1_750_000_000_123_456_789, packet(0x89F80220, 0, 1, 2, 3))
	s.enhanced(1, 1_750_000_000_123_456, packet(0x123, 0))
	s.enhanced(2, 1_750_000_000_123_456, make([]byte, 61))
	s.enhanced(0, 1_750_000_001_000_000_000, packet(0x89F80220, 0, 9)[:9])
	s.block(5, make([]byte, 12)) // interface statistics
	s.header(9, 0)
	s.describe(LinkTypeSocketCAN, ngName, "lost")
	s.enhanced(0, 1, packet(0x7, 0))
	s.header(1, 2)
	offset := string(o.AppendUint64(nil, 1_000_000_000))
	s.describe(LinkTypeSocketCAN, ngName, "stbd", ngUnit, "\x03", ngOffset, offset)
	s.describe(LinkTypeSocketCAN, ngName, "two", ngUnit, "\x8a") // 1/1024 s
	s.describe(LinkTypeSocketCAN, ngName, "whole", ngUnit, "\x00")
	s.enhanced(0, 750_000_002_001, packet(0x89F80220, 0, 4))
	s.enhanced(1, 1_750_000_003<<10|513, packet(0x89F80220, 0, 5))
	s.enhanced(2, 1_750_000_004, packet(0x89F80220, 0, 6))
	return s.file
}

// Sections, byte orders, options and units of time are read as gopacket/pcapgo
// reads them, and as they were written.
func TestPcapngAgainstLibrary(t *testing.T) {
	want := []string{
		"(1750000000.123456789) port 09F80220#010203",
		"(1750000000.123456) can1 123#",
		"(1750000001.000000) port 09F80220#09",
		"(1750000002.001000) stbd 09F80220#04",
		"(1750000003.500976562) two 09F80220#05",
		"(1750000004.000000) whole 09F80220#06",
	}
	for _, o := range []order{binary.LittleEndian, binary.BigEndian} {
		file := sections(o)
		got, faults := readAll(t, writeFile(t, "a.pcapng", file))
		equal(t, got, want)
		if faults.Total != 1 || faults.First[0].N != 3 || !strings.Contains(faults.First[0].Reason, "link type") {
			t.Errorf("faults %v", faults)
		}

		library, err := pcapgo.NewNgReader(bytes.NewReader(file), pcapgo.NgReaderOptions{WantMixedLinkType: true, SkipUnknownVersion: true})
		if err != nil {
			t.Fatal(err)
		}
		ours, err := newNg(bufio.NewReader(bytes.NewReader(file)))
		if err != nil {
			t.Fatal(err)
		}
		for n := 0; ; n++ {
			p, err := ours.packet()
			data, info, libErr := library.ReadPacketData()
			if err == io.EOF && n == 7 {
				break
			}
			if errors.Is(libErr, io.EOF) && n == 4 {
				// It does not skip to a section of version 1.2.
				break
			}
			if err != nil || libErr != nil {
				t.Fatalf("packet %d: %v, %v", n, err, libErr)
			}
			iface, err := library.Interface(info.InterfaceIndex)
			if err != nil {
				t.Fatal(err)
			}
			if iface.Name != "" && iface.Name != string(p.name) || iface.LinkType != layers.LinkType(p.link) ||
				!bytes.Equal(p.data, data) || info.Timestamp.UnixNano() != p.time.sec*1e9+p.time.nsec {
				t.Errorf("packet %d: %+v, the library reads %v of %v at %v", n, p, data, iface, info.Timestamp)
			}
		}
	}
}

// A packet that cannot be used costs only itself; a block that cannot be
// measured ends the file.
func TestPcapngFaults(t *testing.T) {
	good := packet(0x89F80220, 0, 1)
	for name, c := range map[string]struct {
		make   func(s *section)
		reason string
		frames int // besides the two that are there in any case
	}{
		"no such interface": {func(s *section) { s.enhanced(7, 5e9, good) }, "an interface that is not described", 1},
		"no time":           {func(s *section) { s.block(ngSimple, append(s.AppendUint32(nil, 16), good...)) }, "without a time", 1},
		"a fine unit":       {func(s *section) { s.describe(LinkTypeSocketCAN, ngUnit, "\x14"); s.enhanced(1, 5e9, good) }, "cannot be counted", 1},
		"a finer unit":      {func(s *section) { s.describe(LinkTypeSocketCAN, ngUnit, "\xc0"); s.enhanced(1, 5e9, good) }, "cannot be counted", 1},
		"a far offset": {func(s *section) {
			s.describe(LinkTypeSocketCAN, ngOffset, "\xff\xff\xff\xff\xff\xff\xff\x7f")
			s.enhanced(1, 5e9, good)
		}, "cannot be counted", 1},
		"before 1970": {func(s *section) {
			s.describe(LinkTypeSocketCAN, ngOffset, "\x00\xff\xff\xff\xff\xff\xff\xff")
			s.enhanced(1, 1, good)
		}, "before 1970", 1},
		"a long packet": {func(s *section) {
			s.block(ngEnhanced, append(s.AppendUint32(make([]byte, 12), 1000), make([]byte, 8)...))
		}, "longer than its block", 0},
		"a short block": {func(s *section) { s.block(ngEnhanced, make([]byte, 8)) }, "too short", 0},
		"an odd length": {func(s *section) { s.file = s.AppendUint32(s.AppendUint32(s.file, ngEnhanced), 33) }, "impossible length", 0},
		"a huge block":  {func(s *section) { s.file = s.AppendUint32(s.AppendUint32(s.file, ngEnhanced), 1<<31) }, "impossible length", 0},
		"two lengths":   {func(s *section) { s.enhanced(0, 5e9, good); s.file[len(s.file)-4] ^= 4 }, "two lengths differ", 0},
		"no byte order": {func(s *section) { s.header(1, 0); s.file[len(s.file)-20] ^= 1 }, "without a byte order", 0},
	} {
		t.Run(name, func(t *testing.T) {
			s := section{order: binary.LittleEndian}
			s.header(1, 0)
			s.describe(LinkTypeSocketCAN)
			s.enhanced(0, 3e9, good)
			c.make(&s)
			s.enhanced(0, 6e9, good)
			got, faults := readAll(t, writeFile(t, "a.pcapng", s.file))
			if len(got) != 1+c.frames || faults.Total != 1 || !strings.Contains(faults.First[0].Reason, c.reason) {
				t.Errorf("%q, faults %v", got, faults)
			}
		})
	}
}

// A pcap file of the other byte order is read as gopacket/pcapgo reads it.
func TestPcapOfTheOtherByteOrder(t *testing.T) {
	for magic, unit := range map[uint32]int64{magicMicro: 1000, magicNano: 1} {
		o := binary.BigEndian
		file := o.AppendUint16(o.AppendUint16(o.AppendUint32(nil, magic), 2), 4)
		file = o.AppendUint32(o.AppendUint32(append(file, make([]byte, 8)...), 65535), LinkTypeSocketCAN)
		data := packet(0x89F80220, 0, 1, 2)
		file = o.AppendUint32(o.AppendUint32(file, 1_750_000_000), 123_456)
		file = append(o.AppendUint32(o.AppendUint32(file, uint32(len(data))), uint32(len(data))), data...)
		library, err := pcapgo.NewReader(bytes.NewReader(file))
		if err != nil {
			t.Fatal(err)
		}
		want, info, err := library.ReadPacketData()
		if err != nil {
			t.Fatal(err)
		}
		ours, err := newClassic(bufio.NewReader(bytes.NewReader(file)))
		if err != nil {
			t.Fatal(err)
		}
		p, err := ours.packet()
		if err != nil || !slices.Equal(p.data, want) || p.time.sec*1e9+p.time.nsec != info.Timestamp.UnixNano() || p.time.nsec != 123_456*unit {
			t.Errorf("%+v, %v; the library reads %v at %v", p, err, want, info.Timestamp)
		}
		if _, err := ours.packet(); err != io.EOF {
			t.Errorf("%v", err)
		}
	}
}
