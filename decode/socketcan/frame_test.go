package socketcan

import (
	"encoding/binary"
	"testing"

	"golang.org/x/sys/unix"

	"go.einride.tech/can"

	"trialday.example/logd/decode/frame"
)

// raw lays out a struct can_frame: identifier and flags, length, data
// (Linux Documentation/networking/can.rst).
func raw(id uint32, length byte, data ...byte) []byte {
	b := make([]byte, frameLen)
	binary.LittleEndian.PutUint32(b, id)
	b[4] = length
	copy(b[8:], data)
	return b
}

func TestParseFrame(t *testing.T) {
	for name, c := range map[string]struct {
		in   []byte
		want frame.Frame
	}{
		"extended": {raw(0x89F20110, 8, 1, 2, 3, 4, 5, 6, 7, 8),
			frame.Frame{Frame: can.Frame{ID: 0x09F20110, Length: 8, Data: can.Data{1, 2, 3, 4, 5, 6, 7, 8}, IsExtended: true}}},
		"standard": {raw(0x123, 2, 0xAA, 0xBB),
			frame.Frame{Frame: can.Frame{ID: 0x123, Length: 2, Data: can.Data{0xAA, 0xBB}}}},
		"bytes beyond the length are no part of it": {raw(0x123, 1, 0xAA, 0xBB),
			frame.Frame{Frame: can.Frame{ID: 0x123, Length: 1, Data: can.Data{0xAA}}}},
		"remote": {raw(0x40000123, 4, 9, 9),
			frame.Frame{Frame: can.Frame{ID: 0x123, Length: 4, IsRemote: true}}},
		"error frame, all classes kept": {raw(0x20000288, 8, 0, 0, 8, 0x0A),
			frame.Frame{IsError: true, Frame: can.Frame{ID: 0x288, Length: 8, Data: can.Data{0, 0, 8, 0x0A}}}},
		"error class beyond 11 bits": {raw(0x20010000, 8),
			frame.Frame{IsError: true, Frame: can.Frame{ID: 0x10000, Length: 8}}},
	} {
		var got frame.Frame
		if err := parseFrame(&got, c.in); err != nil || got != c.want {
			t.Errorf("%s: %+v, %v; want %+v", name, got, err, c.want)
		}
	}
}

func TestParseFrameRefusesWhatIsNone(t *testing.T) {
	for name, b := range map[string][]byte{
		"empty": {}, "short": raw(1, 0)[:15], "long": append(raw(1, 0), 0), "length 9": raw(1, 9), "length 255": raw(1, 255),
	} {
		if parseFrame(new(frame.Frame), b) == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

func FuzzParseFrame(f *testing.F) {
	f.Add(raw(0x89F20110, 8, 1, 2, 3))
	f.Add(raw(0x20000004, 8, 0, 1))
	f.Fuzz(func(t *testing.T, b []byte) {
		var got frame.Frame
		if parseFrame(&got, b) != nil {
			return
		}
		if got.Length > 8 || got.ID > 0x1FFFFFFF || got.IsError && (got.IsExtended || got.IsRemote) {
			t.Errorf("%x gives %+v", b, got)
		}
		if n := Bits(&got); n < 0 || n > 160 {
			t.Errorf("%d bits", n)
		}
		if got.IsError && Explain(&got) == "" {
			t.Error("no explanation")
		}
	})
}

// cmsg lays out a control message (cmsg(3)).
func cmsg(level, kind int32, data []byte) []byte {
	b := make([]byte, unix.CmsgSpace(len(data)))
	if unix.SizeofCmsghdr == 16 {
		binary.NativeEndian.PutUint64(b, uint64(unix.CmsgLen(len(data))))
	} else {
		binary.NativeEndian.PutUint32(b, uint32(unix.CmsgLen(len(data))))
	}
	binary.NativeEndian.PutUint32(b[unix.SizeofCmsghdr-8:], uint32(level))
	binary.NativeEndian.PutUint32(b[unix.SizeofCmsghdr-4:], uint32(kind))
	copy(b[unix.CmsgLen(0):], data)
	return b
}

func longs(v ...int64) []byte {
	var b []byte
	for _, x := range v {
		b = binary.NativeEndian.AppendUint64(b, uint64(x))
	}
	return b
}

func TestParseControl(t *testing.T) {
	stamp := cmsg(unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, longs(1_700_000_000, 123_456_789))
	short := cmsg(unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, binary.NativeEndian.AppendUint32(binary.NativeEndian.AppendUint32(nil, 12), 5))
	drops := cmsg(unix.SOL_SOCKET, unix.SO_RXQ_OVFL, binary.NativeEndian.AppendUint32(nil, 7))
	other := cmsg(unix.SOL_IP, 99, []byte{1, 2, 3})
	for name, c := range map[string]struct {
		in   []byte
		want control
	}{
		"nothing":               {nil, control{}},
		"time":                  {stamp, control{time: 1_700_000_000_123_456_789}},
		"time of 32-bit longs":  {short, control{time: 12_000_000_005}},
		"both":                  {append(append([]byte{}, stamp...), drops...), control{1_700_000_000_123_456_789, 7, true}},
		"unknown ones between":  {append(append([]byte{}, other...), drops...), control{0, 7, true}},
		"the last one cut off":  {append(append([]byte{}, stamp...), drops[:10]...), control{time: 1_700_000_000_123_456_789}},
		"no drops is not zero ": {other, control{}},
	} {
		if got := parseControl(c.in); got != c.want {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}

func FuzzParseControl(f *testing.F) {
	f.Add(cmsg(unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, longs(1, 2)))
	f.Add(cmsg(unix.SOL_SOCKET, unix.SO_RXQ_OVFL, []byte{1, 0, 0, 0}))
	f.Fuzz(func(t *testing.T, b []byte) {
		parseControl(b)
		parseAddress(b)
	})
}

func TestParseAddress(t *testing.T) {
	b := make([]byte, unix.SizeofSockaddrCAN)
	binary.NativeEndian.PutUint16(b, unix.AF_CAN)
	binary.NativeEndian.PutUint32(b[4:], 42)
	if i, ok := parseAddress(b); !ok || i != 42 {
		t.Errorf("%d, %v", i, ok)
	}
	binary.NativeEndian.PutUint16(b, unix.AF_INET)
	if _, ok := parseAddress(b); ok {
		t.Error("an IP address was taken for a CAN address")
	}
	if _, ok := parseAddress(b[:4]); ok {
		t.Error("a cut address was taken")
	}
}
