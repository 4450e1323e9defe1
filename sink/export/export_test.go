package export

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gopacket/gopacket/pcapgo"
	"github.com/parquet-go/parquet-go"

	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
)

// randomLog makes a log of n well-formed lines of every kind, in the form of
// candump -L. Times have nanoseconds if ns is set.
func randomLog(seed uint64, n int, ns bool) []byte {
	r := rand.New(rand.NewPCG(seed, 3))
	var b bytes.Buffer
	t := int64(1_750_000_000_000_000)
	for range n {
		t += r.Int64N(2000) - 100
		fmt.Fprintf(&b, "(%010d.%06d", t/1e6, t%1e6)
		if ns && r.IntN(2) == 0 {
			fmt.Fprintf(&b, "%03d", 1+r.IntN(999))
		}
		fmt.Fprintf(&b, ") %s ", []string{"can0", "can1", "port-engines", "v"}[r.IntN(4)])
		switch r.IntN(8) {
		case 0:
			fmt.Fprintf(&b, "%03X#", r.IntN(0x800))
		case 1:
			fmt.Fprintf(&b, "%08X#", 0x20000000|r.IntN(0x400))
		default:
			fmt.Fprintf(&b, "%08X#", 0x09F00000|r.IntN(0x10000))
		}
		switch k := r.IntN(30); {
		case k == 0:
			b.WriteString("R")
		case k == 1:
			fmt.Fprintf(&b, "R%d", 1+r.IntN(8))
		default:
			for range r.IntN(9) {
				fmt.Fprintf(&b, "%02X", r.IntN(256))
			}
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

func writeFile(t *testing.T, name string, b []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func open(t *testing.T, path string) *capture.Reader {
	t.Helper()
	r, err := capture.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

// intoJournal keeps a whole capture in a new journal.
func intoJournal(t *testing.T, src frame.Source) string {
	t.Helper()
	dir := t.TempDir()
	w, err := journal.Create(dir, journal.Options{BlockFrames: 500, SegmentBytes: 20000})
	if err != nil {
		t.Fatal(err)
	}
	_, err = frame.Each(src, func(f *frame.Frame) error { return w.Append(f, src.Buses()[f.Bus]) })
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestLogThroughJournalIsIdentical(t *testing.T) {
	for seed := range uint64(10) {
		want := randomLog(seed, 2000, seed%2 == 0)
		dir := intoJournal(t, open(t, writeFile(t, "a.log", want)))
		var got bytes.Buffer
		n, err := CanLog(&got, open(t, dir))
		if err != nil || n != 2000 {
			t.Fatalf("%d frames, %v", n, err)
		}
		if !bytes.Equal(got.Bytes(), want) {
			t.Fatalf("seed %d: the log differs after the journal", seed)
		}
	}
}

func TestPcapngReadBack(t *testing.T) {
	want := randomLog(1, 2000, true)
	var out, got bytes.Buffer
	if _, err := PCAPNG(&out, open(t, writeFile(t, "a.log", want))); err != nil {
		t.Fatal(err)
	}
	if _, err := CanLog(&got, open(t, writeFile(t, "a.pcapng", out.Bytes()))); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got.Bytes(), want) {
		t.Error("the log differs after pcapng")
	}
}

// tool skips the test where a program is missing, except in CI.
func tool(t *testing.T, name, debian string) {
	t.Helper()
	if _, err := exec.LookPath(name); err == nil {
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing; install the Debian package %s", name, debian)
	}
	t.Skipf("%s is missing; install the Debian package %s to run this test", name, debian)
}

// TestPcapngAgainstTshark has Wireshark's dissector (tshark) read the export.
// The expected fields are taken from the log text itself, not from our
// parser.
func TestPcapngAgainstTshark(t *testing.T) {
	tool(t, "tshark", "tshark")
	text := randomLog(2, 1000, true)
	var out bytes.Buffer
	if _, err := PCAPNG(&out, open(t, writeFile(t, "a.log", text))); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("tshark", "-r", writeFile(t, "a.pcapng", out.Bytes()), "-T", "fields", "-E", "separator=,",
		"-e", "frame.time_epoch", "-e", "frame.interface_name", "-e", "can.flags.err", "-e", "can.flags.xtd",
		"-e", "can.flags.rtr", "-e", "can.id", "-e", "can.len", "-e", "data.data")
	got, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	gotLines := strings.Split(strings.TrimSpace(string(got)), "\n")
	wantLines := strings.Split(strings.TrimSpace(string(text)), "\n")
	if len(gotLines) != len(wantLines) {
		t.Fatalf("tshark reads %d frames, want %d", len(gotLines), len(wantLines))
	}
	for i, line := range wantLines {
		if want := tsharkFields(t, line); gotLines[i] != want {
			t.Fatalf("%s: tshark reads %s, want %s", line, gotLines[i], want)
		}
	}
}

// tsharkFields gives the fields that tshark 4.0 shows for a log line. It
// shows no identifier, remote flag and data of an error frame, and the data of
// a remote frame as zeros.
func tsharkFields(t *testing.T, line string) string {
	t.Helper()
	var stamp, bus, rest string
	if _, err := fmt.Sscanf(line, "%s %s %s", &stamp, &bus, &rest); err != nil {
		t.Fatal(err)
	}
	stamp = strings.Trim(stamp, "()")
	if len(stamp) == len("1750000000.000000") {
		stamp += "000"
	}
	id, data, _ := strings.Cut(rest, "#")
	length, rtr, xtd := len(data)/2, 0, 0
	if number, remote := strings.CutPrefix(data, "R"); remote {
		rtr, length = 1, 0
		fmt.Sscan(number, &length)
		data = strings.Repeat("00", length)
	}
	if len(id) == 8 {
		xtd = 1
	}
	var n uint32
	fmt.Sscanf(id, "%x", &n)
	if n&0x20000000 != 0 {
		return fmt.Sprintf("%s,%s,1,,,,%d,", stamp, bus, length)
	}
	return fmt.Sprintf("%s,%s,0,%d,%d,%d,%d,%s", stamp, bus, xtd, rtr, n, length, strings.ToLower(data))
}

// TestLogAgainstLog2asc has log2asc of can-utils read the export. Its time
// column counts from the first frame.
func TestLogAgainstLog2asc(t *testing.T) {
	tool(t, "log2asc", "can-utils")
	text := randomLog(3, 1000, false)
	var out bytes.Buffer
	if _, err := CanLog(&out, open(t, intoJournal(t, open(t, writeFile(t, "a.log", text))))); err != nil {
		t.Fatal(err)
	}
	asc := filepath.Join(t.TempDir(), "out.asc")
	buses := []string{"can0", "can1", "port-engines", "v"}
	cmd := exec.Command("log2asc", append([]string{"-I", writeFile(t, "b.log", out.Bytes()), "-O", asc}, buses...)...)
	if msg, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, msg)
	}
	b, err := os.ReadFile(asc)
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Split(strings.TrimSpace(string(b)), "\n")[3:] // behind the header
	want := strings.Split(strings.TrimSpace(string(text)), "\n")
	if len(got) != len(want) {
		t.Fatalf("log2asc reads %d frames, want %d", len(got), len(want))
	}
	for i, line := range want {
		// Without the time, and without the blanks that make columns.
		f := strings.Fields(got[i])[1:]
		if g, w := strings.Join(f, " "), ascFields(t, line, buses); g != w {
			t.Fatalf("%s: log2asc reads %q, want %q", line, g, w)
		}
	}
}

func ascFields(t *testing.T, line string, buses []string) string {
	t.Helper()
	var stamp, bus, rest string
	if _, err := fmt.Sscanf(line, "%s %s %s", &stamp, &bus, &rest); err != nil {
		t.Fatal(err)
	}
	channel := 0
	for i, name := range buses {
		if name == bus {
			channel = i + 1
		}
	}
	id, data, _ := strings.Cut(rest, "#")
	var n uint32
	fmt.Sscanf(id, "%x", &n)
	if n&0x20000000 != 0 {
		return fmt.Sprintf("%d ErrorFrame", channel)
	}
	name := fmt.Sprintf("%X", n)
	if len(id) == 8 {
		name += "x"
	}
	if number, remote := strings.CutPrefix(data, "R"); remote {
		length := 0
		fmt.Sscan(number, &length)
		return fmt.Sprintf("%d %s Rx r %d", channel, name, length)
	}
	s := fmt.Sprintf("%d %s Rx d %d", channel, name, len(data)/2)
	for ; data != ""; data = data[2:] {
		s += " " + data[:2]
	}
	return s
}

// noFrames is a source without frames.
type noFrames struct{}

func (noFrames) Next(*frame.Frame) error { return io.EOF }
func (noFrames) Buses() []string         { return nil }

func TestNoFrames(t *testing.T) {
	var log, ng bytes.Buffer
	if n, err := CanLog(&log, noFrames{}); n != 0 || err != nil || log.Len() != 0 {
		t.Errorf("log: %d frames, %v", n, err)
	}
	if n, err := PCAPNG(&ng, noFrames{}); n != 0 || err != nil || ng.Len() == 0 {
		t.Errorf("pcapng: %d frames, %v, %d bytes", n, err, ng.Len())
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

func TestWriteErrorsArriveAtTheCaller(t *testing.T) {
	path := writeFile(t, "a.log", randomLog(1, 10, false))
	if _, err := CanLog(full{}, open(t, path)); err == nil {
		t.Error("log: no error")
	}
	if _, err := PCAPNG(full{}, open(t, path)); err == nil {
		t.Error("pcapng: no error")
	}
	c, err := NewCSV(full{})
	if err != nil {
		t.Fatal(err)
	}
	c.Write(Row{})
	if c.Close() == nil {
		t.Error("csv: no error")
	}
	p, err := NewParquet(full{})
	if err != nil {
		t.Fatal(err)
	}
	p.Write(Row{})
	if p.Close() == nil {
		t.Error("parquet: no error")
	}
}

func rows() []Row {
	v := []float64{math.Pi, -1e-300, 0}
	at := time.Date(2025, 6, 15, 15, 6, 40, 123456789, time.FixedZone("", 7200))
	return []Row{
		{at, "speed_over_ground", "m/s", 0, "gnss, bow", &v[0], "valid"},
		{at.Add(1), "rate_of_turn", "rad/s", 0, "compass", &v[1], "valid"},
		{at.Add(2), "engine_trim", "1", 2, "engine \"c\"", &v[2], "valid"},
		{at.Add(3), "fuel_rate", "m³/s", 1, "engine b", nil, "not available"},
		{at.Add(4), "fuel_rate", "m³/s", 1, "engine b", &v[0], "out of range"},
		{at.Add(5), "fuel_rate", "m³/s", 1, "engine b", &v[0], "reserved"},
	}
}

func TestCSV(t *testing.T) {
	var out bytes.Buffer
	c, err := NewCSV(&out)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows() {
		if err := c.Write(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	got, err := csv.NewReader(&out).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{
		{"time_utc", "quantity", "unit", "instance", "source", "value", "state"},
		{"2025-06-15T13:06:40.123456789Z", "speed_over_ground", "m/s", "0", "gnss, bow", "3.141592653589793", "valid"},
		{"2025-06-15T13:06:40.123456790Z", "rate_of_turn", "rad/s", "0", "compass", "-1e-300", "valid"},
		{"2025-06-15T13:06:40.123456791Z", "engine_trim", "1", "2", "engine \"c\"", "0", "valid"},
		{"2025-06-15T13:06:40.123456792Z", "fuel_rate", "m³/s", "1", "engine b", "", "not available"},
		{"2025-06-15T13:06:40.123456793Z", "fuel_rate", "m³/s", "1", "engine b", "", "out of range"},
		{"2025-06-15T13:06:40.123456794Z", "fuel_rate", "m³/s", "1", "engine b", "", "reserved"},
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

func TestParquet(t *testing.T) {
	var out bytes.Buffer
	p, err := NewParquet(&out)
	if err != nil {
		t.Fatal(err)
	}
	const times = 500 // more than a batch
	for range times {
		for _, r := range rows() {
			if err := p.Write(r); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	// A schema of the reader's own, as another program would have it.
	type row struct {
		Time     time.Time `parquet:"time_utc,timestamp(nanosecond)"`
		Quantity string    `parquet:"quantity"`
		Unit     string    `parquet:"unit"`
		Instance int32     `parquet:"instance"`
		Source   string    `parquet:"source"`
		Value    *float64  `parquet:"value,optional"`
		State    string    `parquet:"state"`
	}
	got, err := parquet.Read[row](bytes.NewReader(out.Bytes()), int64(out.Len()))
	if err != nil {
		t.Fatal(err)
	}
	want := rows()
	if len(got) != times*len(want) {
		t.Fatalf("%d rows", len(got))
	}
	for i, g := range got {
		w := want[i%len(want)]
		if !g.Time.Equal(w.TimeUTC) || g.Quantity != w.Quantity || g.Unit != w.Unit || int(g.Instance) != w.Instance ||
			g.Source != w.Source || g.State != w.State {
			t.Fatalf("row %d: %+v, want %+v", i, g, w)
		}
		if valid := w.State == "valid"; (g.Value != nil) != valid || valid && *g.Value != *w.Value {
			t.Fatalf("row %d: value %v, want %v", i, g.Value, w.Value)
		}
	}
}

// TestPcapngAgainstLibrary has gopacket/pcapgo read the export.
func TestPcapngAgainstLibrary(t *testing.T) {
	text := randomLog(3, 1000, true)
	var out bytes.Buffer
	if _, err := PCAPNG(&out, open(t, writeFile(t, "a.log", text))); err != nil {
		t.Fatal(err)
	}
	in, err := pcapgo.NewNgReader(&out, pcapgo.DefaultNgReaderOptions)
	if err != nil {
		t.Fatal(err)
	}
	src := open(t, writeFile(t, "b.log", text))
	var f frame.Frame
	for n := 0; ; n++ {
		data, info, err := in.ReadPacketData()
		if err == io.EOF && n == 1000 {
			break
		}
		if err != nil {
			t.Fatalf("packet %d: %v", n, err)
		}
		if err := src.Next(&f); err != nil {
			t.Fatal(err)
		}
		iface, err := in.Interface(info.InterfaceIndex)
		if want := packet(&f); err != nil || iface.Name != src.Buses()[f.Bus] || info.Timestamp.UnixNano() != f.Time || !bytes.Equal(data, want[:]) {
			t.Errorf("packet %d: %v at %v on %s, %v; want %v", n, data, info.Timestamp, iface.Name, err, f)
		}
	}
	if in.SectionInfo().Application != "logd" {
		t.Errorf("%+v", in.SectionInfo())
	}
}
