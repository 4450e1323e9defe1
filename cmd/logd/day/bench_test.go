package day

import (
	"bufio"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/socketcan"
	"trialday.example/logd/sink/journal"
)

// benchFrames is how much of the demo day is replayed: a quarter of an hour
// under way.
const benchFrames = 200_000

// fullDay is a day of ten hours with two buses near their limit.
const fullDay = 50e6

// demo is the triple-engine demo day without the quarter of an hour at the dock.
func demo(b *testing.B) *simulate.Scenario {
	b.Helper()
	text, err := scenarios.Load("demo-triple")
	if err != nil {
		b.Fatal(err)
	}
	s, err := simulate.Parse(text)
	if err != nil {
		b.Fatal(err)
	}
	s.Script = s.Script[2:]
	return s
}

// demoDay writes the first part of the demo day, as log text and as a journal.
// onBus is how long a bus at 250 kbit/s takes for its frames.
func demoDay(b *testing.B) (text, packed string, onBus time.Duration) {
	b.Helper()
	text, packed = filepath.Join(b.TempDir(), "capture.log"), b.TempDir()
	f, err := os.Create(text)
	if err != nil {
		b.Fatal(err)
	}
	j, err := journal.Create(packed, journal.Options{Packed: true})
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(f)
	day, line := demo(b).Start(1), []byte{}
	var fr frame.Frame
	for range benchFrames {
		if err := day.Next(&fr); err != nil {
			b.Fatal(err)
		}
		line = append(capture.AppendLine(line[:0], &fr, "can0"), '\n')
		w.Write(line)
		if err := j.Append(&fr, "can0"); err != nil {
			b.Fatal(err)
		}
		onBus += time.Duration(socketcan.Bits(&fr)) * time.Second / 250_000
	}
	if err := errors.Join(w.Flush(), f.Close(), j.Close()); err != nil {
		b.Fatal(err)
	}
	return text, packed, onBus
}

// readAll reads a capture and hands its frames to take.
func readAll(b *testing.B, name string, begin func(frame.Source) (take func(*frame.Frame))) {
	src, err := capture.Open(name)
	if err != nil {
		b.Fatal(err)
	}
	defer src.Close()
	take := begin(src)
	var f frame.Frame
	for {
		if err := src.Next(&f); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			b.Fatal(err)
		}
		take(&f)
	}
}

// BenchmarkReplay is the way from a capture to results, by turns with reading
// the capture alone. x-reading is how many times as long it takes, x-reading-cpu
// how many times as much of all processors, x-bus how many times as long a full
// bus takes to carry the frames; s/day and cpu-s/day are what a day of 50 million
// such frames would take.
func BenchmarkReplay(b *testing.B) {
	text, packed, onBus := demoDay(b)
	only := func(frame.Source) func(*frame.Frame) { return func(*frame.Frame) {} }
	cfg := boatA(b)
	for name, path := range map[string]string{"text": text, "journal": packed} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			var reading, replay spent
			for b.Loop() {
				b.StopTimer()
				reading.on(func() { readAll(b, path, only) })
				b.StartTimer()
				replay.on(func() {
					var d *Day
					readAll(b, path, func(src frame.Source) func(*frame.Frame) {
						d = New(cfg, "test", src.Buses)
						return d.Frame
					})
					d.Finish(0)
				})
			}
			frames := benchFrames * float64(b.N)
			b.ReportMetric(frames/replay.wall.Seconds(), "frames/s")
			b.ReportMetric(fullDay/frames*replay.wall.Seconds(), "s/day")
			b.ReportMetric(fullDay/frames*replay.cpu.Seconds(), "cpu-s/day")
			b.ReportMetric(onBus.Seconds()*float64(b.N)/replay.wall.Seconds(), "x-bus")
			b.ReportMetric(replay.wall.Seconds()/reading.wall.Seconds(), "x-reading")
			b.ReportMetric(replay.cpu.Seconds()/reading.cpu.Seconds(), "x-reading-cpu")
		})
	}
}

// spent is the time that something took, by the clock and of all processors.
type spent struct{ wall, cpu time.Duration }

func (s *spent) on(do func()) {
	began, used := time.Now(), processors()
	do()
	s.wall += time.Since(began)
	s.cpu += processors() - used
}

// processors is the time that this process has had of them.
func processors() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err) // never for the process itself
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// live returns the bytes in use, what is unreachable left out.
func live() int64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}
