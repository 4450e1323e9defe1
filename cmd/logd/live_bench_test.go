package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/socketcan"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/logbook"
)

// fullLoad is what a bus of 250 kbit/s carries at most, in frames a second: a
// frame of 29-bit identifier and 8 bytes has 131 bits with its pause (ISO
// 11898-1) and, with the stuff bits of ordinary data, about 139.
const fullLoad = 1800

// BenchmarkLive is what logd run takes at the full load of one bus and of four,
// as a service: one iteration is one second of the buses, so -benchtime 120x takes
// two minutes. It gives processor time as a share of one core and the memory of
// the process, with the limit of the service's unit. After ten hours it is the
// same with one bus, for a service that was started again in a trial which a busy
// bus had filled for so long.
func BenchmarkLive(b *testing.B) {
	path := program(b)
	for _, n := range []int{1, 4} {
		b.Run(fmt.Sprintf("buses=%d", n), func(b *testing.B) { benchLive(b, path, n, 0) })
	}
	b.Run("after=10h", func(b *testing.B) { benchLive(b, path, 1, 10*time.Hour) })
}

func benchLive(b *testing.B, path string, n int, after time.Duration) {
	asService(b)
	dir := b.TempDir()
	var groups, names []string
	for i := range n {
		groups = append(groups, fmt.Sprintf("239.64.142.%d:%d", 210+i, freePort(b, "udp")))
		names = append(names, "'udp:"+groups[i]+"'")
	}
	config, page := filepath.Join(dir, "c.yaml"), fmt.Sprintf("127.0.0.1:%d", freePort(b, "tcp"))
	text := fmt.Sprintf("%s\njournal: {dir: %s, keep_free_mb: 0}\nbus: {interfaces: [%s]}\npage: {listen: '%s'}\n",
		boatA(b), filepath.Join(dir, "trials"), strings.Join(names, ", "), page)
	if err := os.WriteFile(config, []byte(text), 0o644); err != nil {
		b.Fatal(err)
	}
	if after > 0 {
		agedTrial(b, filepath.Join(dir, "trials"), "udp:"+groups[0], after)
	}
	p := start(b, path, config)
	load := newLoad(b, groups)
	load.run(b, 3*time.Second) // it begins its trial, or goes on with it
	if after > 0 {
		b.ReportMetric(catchUp(b, load, p, "http://"+page), "MiB-most-before")
	}

	before, from := processorTime(b, p.Process.Pid), time.Now()
	load.run(b, time.Duration(b.N)*time.Second)
	share := (processorTime(b, p.Process.Pid) - before).Seconds() / time.Since(from).Seconds()
	b.ReportMetric(100*share, "%core")
	b.ReportMetric(memory(b, p.Process.Pid, "VmHWM"), "MiB-most")
	b.ReportMetric(memory(b, p.Process.Pid, "VmRSS"), "MiB")
	b.ReportMetric(memory(b, p.Process.Pid, "RssFile"), "MiB-program")
	b.ReportMetric(float64(load.sent)/load.lasted.Seconds()/float64(n), "frames/s")
	if err := p.Process.Signal(syscall.SIGTERM); err != nil {
		b.Fatal(err)
	}
	if err := p.Wait(); err != nil || !strings.Contains(p.log.String(), "lost=0") {
		b.Errorf("%v\n%s", err, p.log.String())
	}
}

// agedTrial is a trial that has gone on for some time.
func agedTrial(b *testing.B, dir, bus string, since time.Duration) {
	b.Helper()
	book, err := logbook.Open(dir)
	if err != nil {
		b.Fatal(err)
	}
	s := demoScenario(b)
	s.StartUTC = time.Now().Add(-since).UTC()
	t, err := book.New("", s.StartUTC)
	if err != nil {
		b.Fatal(err)
	}
	busyJournal(b, t.Frames(), bus, s, since.Hours())
	if err := t.Beat(logbook.Pulse{Moment: logbook.Now()}); err != nil {
		b.Fatal(err)
	}
}

// catchUp loads the buses until the figures are of all frames, and returns the
// most memory so far. What is the most from then on is counted anew.
func catchUp(b *testing.B, l *load, p *process, page string) (mib float64) {
	b.Helper()
	lag := regexp.MustCompile(`(?m)^logd_reader_lag_frames\{reader="figures"\} (\d+)$`)
	for range 300 {
		l.run(b, time.Second)
		if m := lag.FindStringSubmatch(fetched(b, page+"/metrics")); m != nil && len(m[1]) < 5 {
			mib = memory(b, p.Process.Pid, "VmHWM")
			if err := os.WriteFile(fmt.Sprintf("/proc/%d/clear_refs", p.Process.Pid), []byte("5"), 0); err != nil { // proc_pid_clear_refs(5)
				b.Fatal(err)
			}
			return mib
		}
	}
	b.Fatal("the figures do not come up to the frames")
	return 0
}

// asService sets what the service's unit sets for the runtime.
func asService(b *testing.B) {
	b.Helper()
	unit, err := os.ReadFile("../../systemd/logd.service")
	if err != nil {
		b.Fatal(err)
	}
	set := 0
	for line := range strings.Lines(string(unit)) {
		if setting, ok := strings.CutPrefix(strings.TrimSpace(line), "Environment="); ok {
			name, value, _ := strings.Cut(setting, "=")
			b.Setenv(name, value)
			set++
		}
	}
	if set == 0 {
		b.Fatal("the unit sets no limit of memory: the benchmark is void")
	}
}

// load is a boat under way as its bus would be full: each frame when it is due
// and, as far as there is room, frames of messages that fit into one again.
type load struct {
	buses  []*socketcan.Transmitter
	day    *simulate.Day
	ahead  frame.Frame
	again  []can.Frame
	sent   int
	lasted time.Duration
	start  int64
}

func newLoad(b *testing.B, groups []string) *load {
	b.Helper()
	s := demoScenario(b)
	s.StartUTC = time.Now().Add(-30 * time.Minute).UTC()
	l := &load{day: s.Start(1), start: s.StartUTC.Add(30 * time.Minute).UnixNano()}
	for _, g := range groups {
		conn, err := socketcan.Dial("udp", g)
		if err != nil {
			b.Skipf("no multicast here: %v", err)
		}
		b.Cleanup(func() { conn.Close() })
		l.buses = append(l.buses, socketcan.NewTransmitter(conn))
	}
	for l.ahead.Time < l.start {
		l.next(b)
	}
	return l
}

func (l *load) next(b *testing.B) {
	if err := l.day.Next(&l.ahead); err != nil {
		b.Fatalf("the day is over: %v", err)
	}
}

// run loads the buses for a time.
func (l *load) run(b *testing.B, lasting time.Duration) {
	b.Helper()
	tick := time.NewTicker(time.Millisecond) // two frames, nearly as on a bus
	defer tick.Stop()
	for from, before := time.Now(), l.lasted; l.lasted < before+lasting; <-tick.C {
		l.lasted = before + min(time.Since(from), lasting)
		for ; l.ahead.Time < l.start+int64(l.lasted); l.next(b) {
			if l.ahead.IsError {
				continue
			}
			if fitsAgain(&l.ahead.Frame) {
				l.again = append(l.again, l.ahead.Frame)
			}
			l.send(b, l.ahead.Frame)
		}
		l.again = l.again[max(0, len(l.again)-100):]
		for i := 0; len(l.again) > 0 && l.sent < int(fullLoad*l.lasted.Seconds())*len(l.buses); i++ {
			l.send(b, l.again[i%len(l.again)])
		}
	}
}

func (l *load) send(b *testing.B, f can.Frame) {
	for _, bus := range l.buses {
		if err := bus.TransmitFrame(context.Background(), f); err != nil {
			b.Fatal(err)
		}
		l.sent++
	}
}

// processorTime is what a process has taken, proc_pid_stat(5), fields 14 and 15
// in hundredths of a second.
func processorTime(b *testing.B, pid int) time.Duration {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
	user, err1 := strconv.Atoi(fields[11])
	system, err2 := strconv.Atoi(fields[12])
	if err1 != nil || err2 != nil {
		b.Fatalf("%s", text)
	}
	return time.Duration(user+system) * 10 * time.Millisecond
}

// memory is a figure of a process's memory in MiB.
func memory(b *testing.B, pid int, name string) float64 {
	b.Helper()
	mib, err := memoryOf(pid, name)
	if err != nil {
		b.Fatal(err)
	}
	return mib
}

// memoryOf reads a figure of proc_pid_status(5) in MiB.
func memoryOf(pid int, name string) (float64, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, err
	}
	_, after, _ := strings.Cut(string(text), name+":")
	kib, err := strconv.ParseFloat(strings.Fields(after + " -")[0], 64)
	return kib / 1024, err
}
