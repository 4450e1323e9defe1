package day

import (
	"bufio"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
)

// benchFrames is how much of the demo day is replayed: a quarter of an hour
// under way.
const benchFrames = 200_000

// demoCapture writes the first part of the triple-engine demo day as log text.
func demoCapture(b *testing.B) string {
	b.Helper()
	text, err := scenarios.Load("demo-triple")
	if err != nil {
		b.Fatal(err)
	}
	s, err := simulate.Parse(text)
	if err != nil {
		b.Fatal(err)
	}
	s.Script = s.Script[2:] // not the hour's quarter at the dock
	name := filepath.Join(b.TempDir(), "capture.log")
	f, err := os.Create(name)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(f)
	day, line := s.Start(1), []byte{}
	var fr frame.Frame
	for range benchFrames {
		if err := day.Next(&fr); err != nil {
			b.Fatal(err)
		}
		line = append(capture.AppendLine(line[:0], &fr, "can0"), '\n')
		w.Write(line)
	}
	if err := errors.Join(w.Flush(), f.Close()); err != nil {
		b.Fatal(err)
	}
	return name
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

// BenchmarkReplay is the way from a capture's text to results, beside reading
// the capture alone; x-reading is how many times as long it takes.
func BenchmarkReplay(b *testing.B) {
	name := demoCapture(b)
	only := func(frame.Source) func(*frame.Frame) { return func(*frame.Frame) {} }
	cfg := boatA(b)
	b.Run("reading", func(b *testing.B) {
		for b.Loop() {
			readAll(b, name, only)
		}
		b.ReportMetric(benchFrames*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
	})
	b.Run("whole", func(b *testing.B) {
		began := time.Now()
		const rounds = 3
		for range rounds {
			readAll(b, name, only)
		}
		reading := time.Since(began).Seconds() / rounds
		b.ReportAllocs()
		for b.Loop() {
			var d *Day
			readAll(b, name, func(src frame.Source) func(*frame.Frame) {
				d = New(cfg, "test", src.Buses)
				return d.Frame
			})
			d.Finish(0)
		}
		each := b.Elapsed().Seconds() / float64(b.N)
		b.ReportMetric(benchFrames/each, "frames/s")
		b.ReportMetric(each/reading, "x-reading")
	})
}
