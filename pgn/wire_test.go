package pgn_test

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"

	"trialday.example/logd/pgn"
)

func TestText(t *testing.T) {
	m := pgn.Lookup(126996)
	f := m.Field("model")
	for _, c := range []struct{ bytes, want string }{
		{"Sensor 7" + strings.Repeat("\xFF", 24), "Sensor 7"},
		{"Sensor 7" + strings.Repeat("\x00", 24), "Sensor 7"},
		{"Sensor 7" + strings.Repeat("@", 24), "Sensor 7"},
		{"Sensor 7" + strings.Repeat(" ", 24), "Sensor 7"},
		{"Sensor\x00old text" + strings.Repeat("\xFF", 17), "Sensor"},
		{"Sensor \x00" + strings.Repeat("\xFF", 24), "Sensor"},
		{"a@b c" + strings.Repeat("@ ", 13) + "\xFF", "a@b c"},
		{"x\ty\xE9" + strings.Repeat(" ", 28), "x?y?"},
		{strings.Repeat("0123456789abcdef", 2), "0123456789abcdef0123456789abcdef"},
		{strings.Repeat("\xFF", 32), ""},
	} {
		data := m.New()
		copy(data[4:], c.bytes)
		if got := f.String(data); got != c.want {
			t.Errorf("%q is %q, want %q", c.bytes, got, c.want)
		}
		if got := f.String(data[:35]); got != "" {
			t.Errorf("short payload: %q", got)
		}
		again := make([]byte, m.Length)
		f.PutString(again, c.want)
		if got := f.String(again); got != c.want {
			t.Errorf("%q becomes %q", c.want, got)
		}
	}
	data := m.New()
	f.PutString(data, strings.Repeat("long ", 20))
	if got := m.Field("software_version").String(data); got != "" {
		t.Errorf("a long text runs over: %q", got)
	}
	if v := f.SI(data); v.State != pgn.NotAvailable {
		t.Errorf("a text is the number %v", v)
	}
	before := bytes.Clone(data)
	f.Put(data, pgn.Value{V: 1})
	m.Field("product_code").PutString(data, "no text")
	if !bytes.Equal(data, before) {
		t.Error("text stored as number, or number as text")
	}
	if s := m.Field("product_code").String(data); s != "" {
		t.Errorf("a number is the text %q", s)
	}
}

// The places of the parts are those of ISO 11783-5, written out here in shifts
// of their own (from memory).
func TestName(t *testing.T) {
	n := pgn.Name(0x12345 | 0x7AB<<21 | 5<<32 | 0x13<<35 | 130<<40 | 25<<49 | 9<<56 | 4<<60 | 1<<63)
	if n.UniqueNumber() != 0x12345 || n.ManufacturerCode() != 0x7AB || n.DeviceInstance() != 0x13<<3|5 ||
		n.Function() != 130 || n.Class() != 25 || n.SystemInstance() != 9 || n.IndustryGroup() != 4 || !n.ArbitraryAddress() {
		t.Errorf("parts of %v: %#x %#x %#x %d %d %d %d %v", n, n.UniqueNumber(), n.ManufacturerCode(), n.DeviceInstance(),
			n.Function(), n.Class(), n.SystemInstance(), n.IndustryGroup(), n.ArbitraryAddress())
	}
	if pgn.Name(1<<63 - 1).ArbitraryAddress() {
		t.Error("arbitrary address from other bits")
	}
	back, ok := pgn.ParseName(n.Payload())
	if !ok || back != n {
		t.Errorf("%v becomes %v", n, back)
	}
	if n.Payload()[0] != 0x45 {
		t.Errorf("payload % X is not in little-endian order", n.Payload())
	}
	if _, ok := pgn.ParseName(n.Payload()[:7]); ok {
		t.Error("7 bytes are taken for a NAME")
	}
	if s := pgn.Name(0xAB).String(); s != "00000000000000AB" {
		t.Errorf("text %s", s)
	}
	// The table says the same as the methods.
	m := pgn.Lookup(pgn.AddressClaim)
	data := m.New()
	m.Field("unique_number").PutRaw(data, 77)
	if n, _ := pgn.ParseName(data); n.UniqueNumber() != 77 || n.ManufacturerCode() != 1<<11-1 {
		t.Errorf("%v from the table", n)
	}
}

func TestFastPackets(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for n := range pgn.MaxFastPacket + 1 {
		payload := randomPayload(rng, n)
		var frames [][8]byte
		if err := pgn.FastPackets(uint8(n), payload, func(d [8]byte) { frames = append(frames, d) }); err != nil {
			t.Fatal(err)
		}
		if want := 1 + max(0, n-6+6)/7; len(frames) != want {
			t.Fatalf("%d bytes in %d frames, want %d", n, len(frames), want)
		}
		got := []byte{}
		for i, d := range frames {
			if d[0] != byte(n%8)<<5|byte(i) {
				t.Fatalf("%d bytes: frame %d begins with %#x", n, i, d[0])
			}
			if i == 0 {
				got = append(got, d[2:]...)
			} else {
				got = append(got, d[1:]...)
			}
		}
		if frames[0][1] != byte(n) || !bytes.Equal(got[:n], payload) {
			t.Fatalf("%d bytes: length %d, payload % X becomes % X", n, frames[0][1], payload, got)
		}
		for _, b := range got[n:] {
			if b != 0xFF {
				t.Fatalf("%d bytes: unused bytes % X", n, got[n:])
			}
		}
	}
	err := pgn.FastPackets(0, make([]byte, 224), func([8]byte) { t.Error("a frame of too long a payload") })
	if err == nil {
		t.Error("224 bytes are accepted")
	}
}

func TestFastPacketsDoNotAllocate(t *testing.T) {
	payload := make([]byte, pgn.MaxFastPacket)
	emitted := 0
	count := func([8]byte) { emitted++ }
	if n := testing.AllocsPerRun(20, func() { _ = pgn.FastPackets(1, payload, count) }); n != 0 {
		t.Errorf("%v allocations for a packet of 32 frames", n)
	}
}
