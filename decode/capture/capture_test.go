package capture

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/gopacket/gopacket"
	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"go.einride.tech/can"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
)

const mixed = "../../testdata/capture/mixed.log"

// lines reads all frames and gives them as log lines again.
func lines(t testing.TB, r *Reader) ([]string, error) {
	t.Helper()
	var list []string
	for {
		var f frame.Frame
		if err := r.Next(&f); err == io.EOF {
			return list, nil
		} else if err != nil {
			return list, err
		}
		list = append(list, string(AppendLine(nil, &f, r.Buses()[f.Bus])))
	}
}

func readAll(t testing.TB, paths ...string) ([]string, Faults) {
	t.Helper()
	r, err := OpenAll(paths...)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	list, err := lines(t, r)
	if err != nil {
		t.Fatal(err)
	}
	if read, total := r.Bytes(); read != total || total == 0 {
		t.Errorf("read %d of %d bytes at the end", read, total)
	}
	return list, r.Faults()
}

func writeFile(t testing.TB, name string, b []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func equal(t *testing.T, got, want []string) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d frames, want %d", len(got), len(want))
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("frame %d: %s, want %s", i, got[i], want[i])
		}
	}
}

var mixedWant = strings.Split(`(1750000000.000100) can0 09F2007F#00803EFFFF05FFFF
(1750000000.000700) can1 0DF20110#A01A00200310FFFF
(1750000000.001250) can0 18EEFF20#2A5B82E600828CC0
(1750000000.001900) can0 123#DEADBEEF
(1750000000.002500) can0 7FF#
(1750000000.003100) can0 18EAFFFE#R
(1750000000.003700) can1 321#R8
(1750000000.004300) can0 18EA20FE#R3
(1750000000.004900) can0 20000004#0004000000000000
(1750000000.005500) can0 09F80220#FFFC3C7D00F4FFFF
(1750000000.010300) can0 09F80220#FFFC3C7D00F4FFFF
(1750000000.010900123) can0 09F80120#1E0B5A1E00D0B4FD
(1750000000.009000) vcan_port 09F11224#FF1027FF7FFF7FFD
(0000000012.000001) can0 09F11224#FF1027FF7FFF7FFD
(1750000000.011500) can0 09F11224#FF1027FF7FFF7FFD
(1750000000.012000) can1 00000000#01`, "\n")

func TestMixedLog(t *testing.T) {
	got, faults := readAll(t, mixed)
	equal(t, got, mixedWant)
	at := map[int64]string{}
	for _, f := range faults.First {
		if f.File != mixed || f.Unit != "line" {
			t.Errorf("fault at %s, %s", f.File, f.Unit)
		}
		at[f.N] = f.Reason
	}
	want := map[int64]string{
		10: "does not start with a time like (1436509052.249713)",
		12: "more than 8 data bytes",
		13: "CAN FD frame; only classical CAN is read",
		14: "odd number of data digits",
		15: "time without 6 or 9 digits after the point",
		16: "identifier without 3 or 8 hex digits and #",
		17: "identifier out of range",
		18: "no interface and frame after the time",
	}
	if !reflect.DeepEqual(at, want) || faults.Total != int64(len(want)) {
		t.Errorf("faults %v, want %v", at, want)
	}
}

func TestFrameFields(t *testing.T) {
	tests := []struct {
		line string
		want frame.Frame
	}{
		{"(1.000001) c 7FF#0102", frame.Frame{Time: 1_000_001_000, Frame: can.Frame{ID: 0x7ff, Length: 2, Data: can.Data{1, 2}}}},
		{"(1.000000001) c 1FFFFFFF#", frame.Frame{Time: 1_000_000_001, Frame: can.Frame{ID: 0x1fffffff, IsExtended: true}}},
		{"(0.000000) c 000#R5", frame.Frame{Frame: can.Frame{Length: 5, IsRemote: true}}},
		{"(0.000000) c 00000001#R0", frame.Frame{Frame: can.Frame{ID: 1, IsRemote: true, IsExtended: true}}},
		{"(0.000000) c 20000080#00", frame.Frame{IsError: true, Frame: can.Frame{ID: 0x80, Length: 1}}},
		{"(0.000000) c 001#11.22.33", frame.Frame{Frame: can.Frame{ID: 1, Length: 3, Data: can.Data{0x11, 0x22, 0x33}}}},
		{"(0.000000) c 001#1122334455667788_B T", frame.Frame{Frame: can.Frame{ID: 1, Length: 8,
			Data: can.Data{0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88}}}},
	}
	for _, test := range tests {
		var f frame.Frame
		bus, reason := parseLine([]byte(test.line), &f)
		if reason != "" || string(bus) != "c" || f != test.want {
			t.Errorf("%s: %+v on %s, %s; want %+v", test.line, f, bus, reason, test.want)
		}
	}
}

func TestMalformed(t *testing.T) {
	for _, line := range []string{
		"(", "()", "(1)", "(1.)", "(1.5) c 001#", "(a.000000) c 001#", "(-1.000000) c 001#", "(9999999999.000000) c 001#",
		"(99999999999999999999.000000) c 001#", "(1.0000000) c 001#", "(1.000000 c 001#", "(1.000000) 001#", "(1.000000) c #",
		"(1.000000) c 01#", "(1.000000) c 00G#", "(1.000000) c 40000001#", "(1.000000) c 80000001#", "(1.000000) c 001#R9",
		"(1.000000) c 001#R55", "(1.000000) c 001#0G", "(1.000000) c 001#0", "(1.000000) c 001#1122334455667788_8",
		"(1.000000) c 001#11_9", "(1.000000) c 001#11 X", "(1.000000) c 001#11 R T", "(1.000000) c 001", "(1.000000) c 001#11.", "(1.000000) c 001#.11",
	} {
		var f frame.Frame
		if _, reason := parseLine([]byte(line), &f); reason == "" {
			t.Errorf("%q is accepted as %+v", line, f)
		}
	}
}

func compressGzip(b []byte) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	z.Write(b)
	z.Close()
	return out.Bytes()
}

func compressZstd(t testing.TB, b []byte) []byte {
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	return z.EncodeAll(b, nil)
}

func TestCompressedByContentNotName(t *testing.T) {
	b, err := os.ReadFile(mixed)
	if err != nil {
		t.Fatal(err)
	}
	_, plain := readAll(t, mixed)
	two := append(compressGzip(b[:500]), compressGzip(b[500:])...)
	for name, content := range map[string][]byte{"a.log": compressGzip(b), "b.gz": compressZstd(t, b), "c": two, "d.zst": b} {
		got, faults := readAll(t, writeFile(t, name, content))
		equal(t, got, mixedWant)
		if faults.Total != plain.Total {
			t.Errorf("%s: %d faults, want %d", name, faults.Total, plain.Total)
		}
	}
}

// manyLines makes a log in which every line differs.
func manyLines(n int) []string {
	list := make([]string, n)
	x := uint64(88172645463325252)
	for i := range list {
		x ^= x << 13
		x ^= x >> 7
		x ^= x << 17
		list[i] = fmt.Sprintf("(%010d.%06d) can%d %08X#%016X", 1750000000+i/1000, i%1000*1000, i%2, 0x09F80220+i%4, x)
	}
	return list
}

func TestCutCompressedFile(t *testing.T) {
	want := manyLines(20000)
	text := []byte(strings.Join(want, "\n") + "\n")
	for name, whole := range map[string][]byte{"gzip": compressGzip(text), "zstd": compressZstd(t, text)} {
		path := writeFile(t, name, whole[:len(whole)*2/3])
		got, faults := readAll(t, path)
		if len(got) < 5000 || len(got) >= len(want) {
			t.Fatalf("%s: %d frames", name, len(got))
		}
		equal(t, got, want[:len(got)])
		if faults.Total != 1 || faults.First[0].N != int64(len(got)+1) || !strings.Contains(faults.First[0].Reason, "cut or damaged") {
			t.Errorf("%s: faults %v", name, faults)
		}
	}
}

func TestOverlongLine(t *testing.T) {
	good := "(1750000000.000000) can0 123#11"
	text := good + "\n(1750000000.000000) " + strings.Repeat("x", 1<<20) + "\n" + good + "\n" + strings.Repeat("y", 1<<17)
	got, faults := readAll(t, writeFile(t, "a.log", []byte(text)))
	equal(t, got, []string{good, good})
	if faults.Total != 2 || faults.First[0].N != 2 || faults.First[1].N != 4 {
		t.Errorf("faults %v", faults)
	}
}

func TestFaultsAreBounded(t *testing.T) {
	text := strings.Repeat("nonsense\n", 5000) + "(1750000000.000000) can0 123#11"
	_, faults := readAll(t, writeFile(t, "a.log", []byte(text)))
	if faults.Total != 5000 || len(faults.First) != 20 || faults.First[19].N != 20 {
		t.Errorf("%d faults, %d kept", faults.Total, len(faults.First))
	}
}

func TestTooManyInterfaces(t *testing.T) {
	var text strings.Builder
	for i := range frame.MaxBuses + 3 {
		fmt.Fprintf(&text, "(1750000000.000000) if%d 123#11\n", i)
	}
	got, faults := readAll(t, writeFile(t, "a.log", []byte(text.String())))
	if len(got) != frame.MaxBuses || faults.Total != 3 {
		t.Errorf("%d frames, %d faults", len(got), faults.Total)
	}
}

func TestNoFrame(t *testing.T) {
	for name, content := range map[string]string{
		"empty.log":  "",
		"notes.txt":  "bring fenders\nfuel up\n",
		"noise.bin":  "\x00\x01\x02\xff\n\xfe",
		"empty.gz":   string(compressGzip(nil)),
		"empty.zstd": string(compressZstd(t, nil)),
	} {
		r, err := Open(writeFile(t, name, []byte(content)))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		_, err = lines(t, r)
		if err == nil || !strings.Contains(err.Error(), name+": no valid CAN frame in ") || !strings.Contains(err.Error(), example) {
			t.Errorf("%s: %v", name, err)
		}
		r.Close()
	}
	if _, err := Open(filepath.Join(t.TempDir(), "none.log")); err == nil || !strings.Contains(err.Error(), "none.log") {
		t.Errorf("missing file: %v", err)
	}
	if _, err := OpenAll(); err == nil {
		t.Error("opened nothing")
	}
}

func TestSeveralCaptures(t *testing.T) {
	a := writeFile(t, "a", []byte("(1.000000) left 123#01\n(2.000000) right 123#02\n"))
	b := writeFile(t, "b", compressGzip([]byte("bad\n(3.000000) right 123#03\n(4.000000) third 123#04\n")))
	dir := t.TempDir()
	w, err := journal.Create(dir, journal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	f := frame.Frame{Time: 5e9, Frame: can.Frame{ID: 0x123, Length: 1, Data: can.Data{5}}}
	for _, bus := range []string{"third", "left"} {
		if err := w.Append(&f, bus); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := OpenAll(a, b, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	got, err := lines(t, r)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, got, []string{"(0000000001.000000) left 123#01", "(0000000002.000000) right 123#02",
		"(0000000003.000000) right 123#03", "(0000000004.000000) third 123#04",
		"(0000000005.000000) third 123#05", "(0000000005.000000) left 123#05"})
	if want := []string{"left", "right", "third"}; !reflect.DeepEqual(r.Buses(), want) {
		t.Errorf("buses %v, want %v", r.Buses(), want)
	}
	if fs := r.Faults(); fs.Total != 1 || fs.First[0].File != b || fs.First[0].N != 1 {
		t.Errorf("faults %v", fs)
	}
	// One segment file is a capture too, whatever its name.
	seg, err := filepath.Glob(filepath.Join(dir, "*.seg"))
	if err != nil || len(seg) != 1 {
		t.Fatal(seg, err)
	}
	if got, _ := readAll(t, seg[0]); len(got) != 2 {
		t.Errorf("segment file: %d frames", len(got))
	}
}

func TestDamagedJournalIsAFault(t *testing.T) {
	dir := t.TempDir()
	w, err := journal.Create(dir, journal.Options{BlockFrames: 10})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 30 {
		w.Append(&frame.Frame{Time: int64(i)}, "can0")
	}
	w.Close()
	seg := filepath.Join(dir, "00000001.seg")
	st, err := os.Stat(seg)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(seg, st.Size()-1); err != nil {
		t.Fatal(err)
	}
	r, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	got, err := lines(t, r)
	if err != nil || len(got) != 20 {
		t.Fatalf("%d frames, %v", len(got), err)
	}
	fs := r.Faults()
	if fs.Total != 1 || fs.First[0].File != seg || !strings.Contains(fs.First[0].Reason, "10 frames") {
		t.Errorf("faults %v", fs)
	}
}

// packet builds a packet by the layout of LINKTYPE_CAN_SOCKETCAN
// (tcpdump.org/linktypes), with 8 data bytes allotted as Linux does.
func packet(id uint32, fd byte, data ...byte) []byte {
	b := make([]byte, 16)
	binary.BigEndian.PutUint32(b, id)
	b[4], b[5] = byte(len(data)), fd
	copy(b[8:], data)
	return b
}

func info(sec, nsec int64, iface int, b []byte) gopacket.CaptureInfo {
	return gopacket.CaptureInfo{Timestamp: time.Unix(sec, nsec), CaptureLength: len(b), Length: len(b), InterfaceIndex: iface}
}

func makePcapng(t testing.TB) []byte {
	t.Helper()
	var out bytes.Buffer
	w, err := pcapgo.NewNgWriterInterface(&out, pcapgo.NgInterface{Name: "port", LinkType: layers.LinkType(LinkTypeSocketCAN)}, pcapgo.NgWriterOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range []pcapgo.NgInterface{{Name: "eth", LinkType: layers.LinkTypeEthernet}, {LinkType: layers.LinkType(LinkTypeSocketCAN)}} {
		if _, err := w.AddInterface(i); err != nil {
			t.Fatal(err)
		}
	}
	for i, p := range []struct {
		iface int
		b     []byte
	}{
		{0, packet(0x89F80220, 0, 1, 2, 3)},
		{1, make([]byte, 60)},
		{2, packet(0x123, 0)},
		{0, packet(0x40000123, 0, 0, 0, 0)},
		{0, packet(0x20000004, 0, 0, 4, 0, 0, 0, 0, 0, 0)},
		{0, packet(0x89F80220, 0, 1, 2, 3, 4, 5)[:10]},
		{0, packet(0x89F80220, 4, 1)},
		{0, packet(0x89F80220, 0, 1)[:5]},
		{0, packet(0xC9F80220, 0)[:8]},
		{0, packet(0x89F80220, 0, 9)[:9]},
	} {
		if err := w.WritePacket(info(1750000000, int64(i)*1001, p.iface, p.b), p.b); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

var pcapngWant = []string{
	"(1750000000.000000) port 09F80220#010203",
	"(1750000000.000002002) can2 123#",
	"(1750000000.000003003) port 123#R3",
	"(1750000000.000004004) port 20000004#0004000000000000",
	"(1750000000.000008008) port 09F80220#R",
	"(1750000000.000009009) port 09F80220#09",
}

func TestPcapng(t *testing.T) {
	b := makePcapng(t)
	for _, content := range [][]byte{b, compressGzip(b), compressZstd(t, b)} {
		got, faults := readAll(t, writeFile(t, "a.log", content))
		equal(t, got, pcapngWant)
		var at []int64
		for _, f := range faults.First {
			if f.Unit != "packet" {
				t.Errorf("fault %v", f)
			}
			at = append(at, f.N)
		}
		if want := []int64{2, 6, 7, 8}; !reflect.DeepEqual(at, want) {
			t.Errorf("faults at packets %v, want %v: %v", at, want, faults)
		}
	}
}

func TestPcap(t *testing.T) {
	var micro, nano bytes.Buffer
	w, n := pcapgo.NewWriter(&micro), pcapgo.NewWriterNanos(&nano)
	for _, w := range []*pcapgo.Writer{w, n} {
		if err := w.WriteFileHeader(65535, layers.LinkType(LinkTypeSocketCAN)); err != nil {
			t.Fatal(err)
		}
		p := packet(0x89F80220, 0, 1, 2)
		if err := w.WritePacket(info(1750000000, 123456789, 0, p), p); err != nil {
			t.Fatal(err)
		}
	}
	got, _ := readAll(t, writeFile(t, "micro", micro.Bytes()))
	equal(t, got, []string{"(1750000000.123456) can0 09F80220#0102"})
	got, _ = readAll(t, writeFile(t, "nano", nano.Bytes()))
	equal(t, got, []string{"(1750000000.123456789) can0 09F80220#0102"})

	got, faults := readAll(t, writeFile(t, "cut", append(micro.Bytes(), 1, 2, 3, 4, 5)))
	equal(t, got, []string{"(1750000000.123456) can0 09F80220#0102"})
	if faults.Total != 1 || faults.First[0].N != 2 {
		t.Errorf("cut file: %v", faults)
	}
}

func TestPcapOfAnotherNetwork(t *testing.T) {
	var out bytes.Buffer
	w := pcapgo.NewWriter(&out)
	w.WriteFileHeader(65535, layers.LinkTypeEthernet)
	p := make([]byte, 60)
	w.WritePacket(info(1750000000, 0, 0, p), p)
	r, err := Open(writeFile(t, "net.pcap", out.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err = lines(t, r); err == nil || !strings.Contains(err.Error(), "net.pcap: no valid CAN frame in 1 packets") {
		t.Errorf("error %v", err)
	}
}

// TestPcapngEveryLength cuts a capture everywhere: what was whole comes out.
func TestPcapngEveryLength(t *testing.T) {
	b := makePcapng(t)
	for n := range b {
		r, err := Open(writeFile(t, "cut", b[:n]))
		if err != nil {
			continue // cut in the header
		}
		got, err := lines(t, r)
		if err == nil {
			equal(t, got, pcapngWant[:len(got)])
		}
		r.Close()
	}
}

func TestParseDoesNotAllocate(t *testing.T) {
	line := []byte("(1436509052.249713) can0 09F8020A#FFFC3C7D00F4FFFF")
	b := buses{}
	var f frame.Frame
	b.index([]byte("can0"))
	if n := testing.AllocsPerRun(100, func() {
		bus, _ := parseLine(line, &f)
		b.index(bus)
	}); n != 0 {
		t.Errorf("%v allocations a line", n)
	}
}

// FuzzLine: what is accepted comes back as the same frame from its own line.
func FuzzLine(f *testing.F) {
	b, err := os.ReadFile(mixed)
	if err != nil {
		f.Fatal(err)
	}
	for _, line := range bytes.Split(b, []byte("\n")) {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		var a, b frame.Frame
		bus, reason := parseLine(line, &a)
		if reason != "" {
			return
		}
		again := AppendLine(nil, &a, string(bus))
		if _, reason = parseLine(again, &b); reason != "" || a != b {
			t.Fatalf("%q is %+v, but its line %q is %+v, %s", line, a, again, b, reason)
		}
	})
}

// FuzzOpen reads any bytes as a file.
func FuzzOpen(f *testing.F) {
	b, err := os.ReadFile(mixed)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add(compressGzip(b))
	f.Add(compressZstd(f, b))
	f.Add(makePcapng(f))
	f.Add(sections(binary.BigEndian))
	path := filepath.Join(f.TempDir(), "capture")
	f.Fuzz(func(t *testing.T, b []byte) {
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		r, err := Open(path)
		if err != nil {
			return
		}
		defer r.Close()
		var fr frame.Frame
		for err = r.Next(&fr); err == nil; err = r.Next(&fr) {
			if fr.Length > 8 || int(fr.Bus) >= len(r.Buses()) {
				t.Fatalf("impossible frame %+v", fr)
			}
		}
	})
}

func BenchmarkLog(b *testing.B) {
	text := []byte(strings.Join(manyLines(100_000), "\n") + "\n")
	for name, content := range map[string][]byte{"plain": text, "gzip": compressGzip(text), "zstd": compressZstd(b, text)} {
		path := writeFile(b, name, content)
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				r, err := Open(path)
				if err != nil {
					b.Fatal(err)
				}
				var f frame.Frame
				for err = r.Next(&f); err == nil; err = r.Next(&f) {
				}
				r.Close()
			}
			b.ReportMetric(100_000*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
		})
	}
}
