package pgn_test

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/gopacket/gopacket"
	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"

	"trialday.example/logd/pgn"
)

// Worked by hand by the arithmetic of ISO 11783-3.
func TestHeader(t *testing.T) {
	for _, c := range []struct {
		id uint32
		h  pgn.Header
	}{
		{0x09F2007F, pgn.Header{Priority: 2, PGN: 127488, Source: 0x7F, Destination: 255}},
		{0x0DF20110, pgn.Header{Priority: 3, PGN: 127489, Source: 0x10, Destination: 255}},
		{0x09F80203, pgn.Header{Priority: 2, PGN: 129026, Source: 3, Destination: 255}},
		{0x18EAFF23, pgn.Header{Priority: 6, PGN: 59904, Source: 0x23, Destination: 255}},
		{0x18EA1023, pgn.Header{Priority: 6, PGN: 59904, Source: 0x23, Destination: 0x10}},
		{0x18EEFFFE, pgn.Header{Priority: 6, PGN: 60928, Source: pgn.NullAddress, Destination: 255}},
		{0x1CECFF01, pgn.Header{Priority: 7, PGN: 60416, Source: 1, Destination: 255}},
		{0x18EF1022, pgn.Header{Priority: 6, PGN: 0xEF00, Source: 0x22, Destination: 0x10}},
		{0x18F01022, pgn.Header{Priority: 6, PGN: 0xF010, Source: 0x22, Destination: 255}},
		{0x1FFFFFFF, pgn.Header{Priority: 7, PGN: 0x3FFFF, Source: 255, Destination: 255}},
		{0, pgn.Header{}},
	} {
		if got := pgn.ParseID(c.id); got != c.h {
			t.Errorf("ParseID(%#08x) = %+v, want %+v", c.id, got, c.h)
		}
		if got := c.h.ID(); got != c.id {
			t.Errorf("%+v.ID() = %#08x, want %#08x", c.h, got, c.id)
		}
	}
	if got := pgn.ParseID(0xE9F2007F); got != pgn.ParseID(0x09F2007F) {
		t.Errorf("flag bits change the header: %+v", got)
	}
}

func TestHeaderRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 100_000 {
		id := rng.Uint32() & 0x1FFFFFFF
		if got := pgn.ParseID(id).ID(); got != id {
			t.Fatalf("%#08x becomes %#08x", id, got)
		}
	}
}

// Identifiers are compared with Wireshark's J1939 dissector.
func TestHeaderAgainstTshark(t *testing.T) {
	tshark, err := exec.LookPath("tshark")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("tshark is not installed: apt-get install tshark")
		}
		t.Skip("tshark is not installed: identifiers are not compared with its J1939 dissector")
	}
	rng := rand.New(rand.NewPCG(15, 16))
	ids := []uint32{0x09F2007F, 0x0DF20110, 0x09F80203, 0, 0x1FFFFFFF}
	for _, m := range pgn.All() {
		ids = append(ids, pgn.Header{Priority: m.Priority, PGN: m.PGN, Source: 3, Destination: pgn.Broadcast}.ID())
	}
	for range 2000 {
		ids = append(ids, rng.Uint32()&0x1FFFFFFF)
	}
	capture := filepath.Join(t.TempDir(), "ids.pcap")
	writeCapture(t, capture, ids)

	var stderr bytes.Buffer
	cmd := exec.Command(tshark, "-r", capture, "-d", "can.subdissector,j1939", "-T", "fields",
		"-e", "j1939.can_id", "-e", "j1939.priority", "-e", "j1939.pgn", "-e", "j1939.src_addr", "-e", "j1939.dst_addr")
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("tshark: %v: %s", err, &stderr)
	}
	lines := bufio.NewScanner(bytes.NewReader(out))
	for _, id := range ids {
		if !lines.Scan() {
			t.Fatalf("tshark says nothing of %#08x: %s", id, &stderr)
		}
		h := pgn.ParseID(id)
		want := fmt.Sprintf("0x%08x\t%d\t%d\t%d\t", id, h.Priority, h.PGN, h.Source)
		if h.PGN>>8&0xFF < 240 { // tshark gives no destination for the others
			want += fmt.Sprint(h.Destination)
		}
		if got := lines.Text(); got != want {
			t.Errorf("tshark: %q, here %q", got, want)
		}
	}
	if lines.Scan() {
		t.Errorf("tshark says more: %s", lines.Text())
	}
}

// writeCapture writes one frame an identifier in the SocketCAN link type 227:
// identifier and flags big-endian, length, three bytes of fill, data.
func writeCapture(t *testing.T, name string, ids []uint32) {
	t.Helper()
	var file bytes.Buffer
	w := pcapgo.NewWriter(&file)
	if err := w.WriteFileHeader(65535, layers.LinkType(227)); err != nil {
		t.Fatal(err)
	}
	for _, id := range ids {
		data := binary.BigEndian.AppendUint32(nil, id|0x80000000)
		data = append(data, 8, 0, 0, 0)
		data = append(data, make([]byte, 8)...)
		info := gopacket.CaptureInfo{CaptureLength: len(data), Length: len(data)}
		if err := w.WritePacket(info, data); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(name, file.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}
