package capture

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"trialday.example/logd/decode/frame"
)

// Flag and mask bits of a SocketCAN identifier (linux/can.h).
const (
	flagExtended = 0x80000000
	flagRemote   = 0x40000000
	flagError    = 0x20000000
	maskID       = 0x1fffffff
	maskStandard = 0x7ff
)

const example = `"(1436509052.249713) can0 09F8020A#FFFC3C7D00F4FFFF"`

// canlog reads the log text of can-utils, one frame a line:
//
//	(SECONDS.FRACTION) INTERFACE ID#DATA
//
// FRACTION has 6 digits, or 9 from recorders with nanoseconds. ID has 3 hex
// digits for a standard frame, 8 for an extended or, with 20000000 set, an
// error frame. #R and #R5 are remote frames without and with a length. A last
// field R or T (candump -x) and a raw length code (_9 to _F) are accepted and
// dropped. Source: parse_canframe in lib.c of can-utils, from memory; a test
// compares with log2asc.
type canlog struct {
	owner   *Reader
	path    string
	in      *bufio.Reader
	body    *cuttable
	release func() error
	line    int64
}

func (c *canlog) next(f *frame.Frame) error {
	for {
		line, err := c.readLine()
		if err != nil {
			return err
		}
		if len(line) == 0 {
			continue
		}
		bus, reason := parseLine(line, f)
		if reason == "" {
			f.Bus, reason = c.owner.buses.index(bus)
		}
		if reason == "" {
			return nil
		}
		c.fault(reason)
	}
}

func (c *canlog) fault(reason string) {
	c.owner.faults.add(Fault{File: c.path, Unit: "line", N: c.line, Reason: reason})
}

// readLine returns the next line without its end; the slice is valid until the
// next call. An overlong line is one fault and comes back empty. A last line
// without an end counts as a line, unless the file is known to be cut there.
func (c *canlog) readLine() ([]byte, error) {
	line, err := c.in.ReadSlice('\n')
	if err == nil {
		c.line++
		return trimEnd(line), nil
	}
	if errors.Is(err, bufio.ErrBufferFull) {
		c.line++
		c.fault("longer than 64 KiB")
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = c.in.ReadSlice('\n')
		}
		if err == nil {
			return nil, nil
		}
		line = nil
	}
	if c.body.cut != nil {
		c.line++
		c.fault(fmt.Sprintf("the compressed file is cut or damaged here (%v); the lines before were read", c.body.cut))
		c.body.cut = nil
		return nil, io.EOF
	}
	if len(line) > 0 {
		c.line++
		return trimEnd(line), nil
	}
	return nil, io.EOF
}

func trimEnd(line []byte) []byte { return bytes.TrimRight(line, "\r\n \t") }

func (c *canlog) empty() error {
	return fmt.Errorf("%s: no valid CAN frame in %d lines; expected lines like %s; "+
		"check that the file is a can-utils log (candump -l), a pcap or pcapng capture or a journal", c.path, c.line, example)
}

func (c *canlog) close() error { return c.release() }

// parseLine decodes one line into everything of f but the bus, and returns the
// interface name as a part of the line. A reason other than "" says why the
// line is malformed. It does not allocate: it is on the path of every frame.
func parseLine(s []byte, f *frame.Frame) (bus []byte, reason string) {
	t, s, reason := parseTime(s)
	if reason != "" {
		return nil, reason
	}
	f.Time = t
	s = skipBlank(s)
	n := fieldLen(s)
	bus, s = s[:n], skipBlank(s[n:])
	if n == 0 || len(s) == 0 {
		return nil, "no interface and frame after the time"
	}
	n = fieldLen(s)
	if reason = parseFrame(s[:n], f); reason != "" {
		return nil, reason
	}
	switch rest := skipBlank(s[n:]); {
	case len(rest) == 0:
	case len(rest) == 1 && (rest[0] == 'R' || rest[0] == 'T'): // direction
	default:
		return nil, "text after the frame"
	}
	return bus, ""
}

const maxSeconds = 9223372035 // what fits in 64-bit nanoseconds

// parseTime decodes "(SECONDS.FRACTION)" and returns nanoseconds and the rest.
func parseTime(s []byte) (int64, []byte, string) {
	const bad = "does not start with a time like (1436509052.249713)"
	if len(s) == 0 || s[0] != '(' {
		return 0, nil, bad
	}
	sec, i := int64(0), 1
	for ; i < len(s) && isDigit(s[i]); i++ {
		if sec = sec*10 + int64(s[i]-'0'); sec > maxSeconds {
			return 0, nil, "time beyond the year 2262"
		}
	}
	if i == 1 || i == len(s) || s[i] != '.' {
		return 0, nil, bad
	}
	i++
	from, frac := i, int64(0)
	for ; i < len(s) && i-from < 9 && isDigit(s[i]); i++ {
		frac = frac*10 + int64(s[i]-'0')
	}
	if i == len(s) || s[i] != ')' {
		return 0, nil, bad
	}
	switch i - from {
	case 6:
		frac *= 1000
	case 9:
	default:
		return 0, nil, "time without 6 or 9 digits after the point"
	}
	return sec*1e9 + frac, s[i+1:], ""
}

// parseFrame decodes "ID#DATA".
func parseFrame(s []byte, f *frame.Frame) string {
	sep := bytes.IndexByte(s, '#')
	if sep != 3 && sep != 8 {
		return "identifier without 3 or 8 hex digits and #"
	}
	id := uint32(0)
	for _, c := range s[:sep] {
		d := hexDigit[c]
		if d > 15 {
			return "identifier is not hexadecimal"
		}
		id = id<<4 | uint32(d)
	}
	if sep == 3 && id > maskStandard || id&(flagExtended|flagRemote) != 0 {
		return "identifier out of range"
	}
	f.ID = id & maskID
	f.IsError = id&flagError != 0
	f.IsExtended = sep == 8 && !f.IsError
	return parseData(s[sep+1:], f)
}

// parseData decodes what follows the first #.
func parseData(s []byte, f *frame.Frame) string {
	f.IsRemote, f.Length, f.Data = false, 0, [8]byte{}
	if len(s) > 0 {
		switch s[0] {
		case '#':
			return "CAN FD frame; only classical CAN is read"
		case 'R', 'r':
			return parseRemote(s[1:], f)
		}
	}
	n := 0
	for len(s) >= 2 && s[0] != '_' {
		if s[0] == '.' && n > 0 { // separator that can-utils allow
			s = s[1:]
			continue
		}
		hi, lo := hexDigit[s[0]], hexDigit[s[1]]
		if hi > 15 || lo > 15 {
			return "data is not hexadecimal"
		}
		if n == 8 {
			return "more than 8 data bytes"
		}
		f.Data[n] = hi<<4 | lo
		n++
		s = s[2:]
	}
	f.Length = uint8(n)
	return parseRawLength(s, f.Length, "odd number of data digits")
}

func parseRemote(s []byte, f *frame.Frame) string {
	const bad = "remote frame with a length other than 0 to 8"
	f.IsRemote = true
	if len(s) > 0 && s[0] != '_' {
		if s[0] < '0' || s[0] > '8' {
			return bad
		}
		f.Length = s[0] - '0'
		s = s[1:]
	}
	return parseRawLength(s, f.Length, bad)
}

// parseRawLength accepts nothing, or _9 to _F behind a frame of 8 bytes.
func parseRawLength(s []byte, length uint8, bad string) string {
	if len(s) == 0 {
		return ""
	}
	if len(s) == 2 && s[0] == '_' && length == 8 {
		if d := hexDigit[s[1]]; d >= 9 && d <= 15 {
			return ""
		}
	}
	return bad
}

// AppendLine appends f in the form of candump -L, without a line end. The time
// has 6 digits after the point, or 9 where it is not a whole microsecond.
// Blanks in the interface name, which the form cannot express, become '_'.
func AppendLine(dst []byte, f *frame.Frame, bus string) []byte {
	dst = appendTime(dst, f.Time)
	dst = append(dst, ' ')
	dst = appendName(dst, bus)
	dst = append(dst, ' ')
	switch {
	case f.IsError:
		dst = appendHex(dst, f.ID&maskID|flagError, 8)
	case f.IsExtended:
		dst = appendHex(dst, f.ID&maskID, 8)
	default:
		dst = appendHex(dst, f.ID&maskStandard, 3)
	}
	dst = append(dst, '#')
	n := min(f.Length, 8)
	if f.IsRemote {
		dst = append(dst, 'R')
		if n > 0 {
			dst = append(dst, '0'+n)
		}
		return dst
	}
	for _, b := range f.Data[:n] {
		dst = append(dst, upperHex[b>>4], upperHex[b&15])
	}
	return dst
}

// appendTime writes "(SECONDS.FRACTION)". A time before 1970, which no
// recorder has, is written as 1970: the form has no sign.
func appendTime(dst []byte, ns int64) []byte {
	ns = max(ns, 0)
	sec, frac, digits := ns/1e9, ns%1e9, 9
	if frac%1000 == 0 {
		frac, digits = frac/1000, 6
	}
	dst = append(dst, '(')
	dst = appendDecimal(dst, sec, 10)
	dst = append(dst, '.')
	dst = appendDecimal(dst, frac, digits)
	return append(dst, ')')
}

func appendDecimal(dst []byte, v int64, digits int) []byte {
	var b [20]byte
	i := len(b)
	for ; digits > 0 || v > 0; digits-- {
		i--
		b[i] = byte('0' + v%10)
		v /= 10
	}
	return append(dst, b[i:]...)
}

func appendHex(dst []byte, v uint32, digits int) []byte {
	for shift := 4 * (digits - 1); shift >= 0; shift -= 4 {
		dst = append(dst, upperHex[v>>shift&15])
	}
	return dst
}

func appendName(dst []byte, name string) []byte {
	if name == "" {
		return append(dst, '_')
	}
	for i := range len(name) {
		c := name[i]
		if c <= ' ' || c == 0x7f {
			c = '_'
		}
		dst = append(dst, c)
	}
	return dst
}

const upperHex = "0123456789ABCDEF"

// hexDigit gives the value of a hex digit, 255 for any other byte.
var hexDigit = func() (t [256]uint8) {
	for i := range t {
		t[i] = 255
	}
	for i := range uint8(10) {
		t['0'+i] = i
	}
	for i := range uint8(6) {
		t['A'+i], t['a'+i] = 10+i, 10+i
	}
	return t
}()

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func isBlank(c byte) bool { return c == ' ' || c == '\t' }

func skipBlank(s []byte) []byte {
	for len(s) > 0 && isBlank(s[0]) {
		s = s[1:]
	}
	return s
}

func fieldLen(s []byte) int {
	for i, c := range s {
		if isBlank(c) {
			return i
		}
	}
	return len(s)
}
