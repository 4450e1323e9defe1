package main

import (
	"bytes"
	"errors"
	"io"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"go.einride.tech/can"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/journal"
)

// A full day is ten hours of a bus that is busy to three quarters: 50 million
// frames.
const (
	fullDayHours = 10
	fullDayRate  = 50e6 / (fullDayHours * 3600) // frames/s
)

const demoConfig = "../../configs/demo-triple.yaml"

// BenchmarkFullDay replays a full day, and the first quarter of one, from a packed
// journal to the finished sheet with the program itself: s by the clock, cpu-s of
// all processors and the most memory, each with its share in that of the quarter
// day in the same run, which is 4 where it grows with the day and 1 where not.
func BenchmarkFullDay(b *testing.B) {
	path := program(b)
	quarter, full := filepath.Join(b.TempDir(), "quarter"), filepath.Join(b.TempDir(), "full")
	busyJournal(b, quarter, "can0", demoScenario(b), fullDayHours/4.)
	busyJournal(b, full, "can0", demoScenario(b), fullDayHours)
	for b.Loop() {
		q, f := costOfReplay(b, path, quarter), costOfReplay(b, path, full)
		b.ReportMetric(f.wall.Seconds(), "s")
		b.ReportMetric(f.cpu.Seconds(), "cpu-s")
		b.ReportMetric(f.mib, "MiB-most")
		b.ReportMetric(f.wall.Seconds()/q.wall.Seconds(), "x-quarter-s")
		b.ReportMetric(f.mib/q.mib, "x-quarter-MiB")
	}
}

// cost is what a process took.
type cost struct {
	wall, cpu time.Duration
	mib       float64
}

// costOfReplay looks at the most memory every few milliseconds: what the kernel
// tells of a process that has ended includes the test's own, which it was forked
// from.
func costOfReplay(b *testing.B, program, frames string) (took cost) {
	b.Helper()
	c := exec.Command(program, "replay", "--config", demoConfig, "--out", filepath.Join(b.TempDir(), "out"), frames)
	var said bytes.Buffer
	c.Stdout, c.Stderr = &said, &said
	from := time.Now()
	if err := c.Start(); err != nil {
		b.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- c.Wait() }()
	for {
		select {
		case err := <-ended:
			if err != nil {
				b.Fatalf("%v\n%s", err, said.String())
			}
			took.wall, took.cpu = time.Since(from), c.ProcessState.UserTime()+c.ProcessState.SystemTime()
			return took
		case <-time.After(5 * time.Millisecond):
			if mib, err := memoryOf(c.Process.Pid, "VmHWM"); err == nil {
				took.mib = mib
			}
		}
	}
}

func demoScenario(b *testing.B) *simulate.Scenario {
	b.Helper()
	s, err := loadScenario("demo-triple")
	if err != nil {
		b.Fatal(err)
	}
	return s
}

// busyJournal writes the day of a scenario over and over for some hours. Between
// its frames those of messages that fit into one are sent again until the bus is
// as busy as on a full day.
func busyJournal(b *testing.B, dir, bus string, s *simulate.Scenario, hours float64) {
	b.Helper()
	j, err := journal.Create(dir, journal.Options{Packed: true})
	if err != nil {
		b.Fatal(err)
	}
	s.Clock = simulate.Clock{} // no step of the clock at each repetition
	script := s.Script
	for range int(hours) {
		s.Script = append(s.Script[:len(s.Script):len(s.Script)], script...)
	}
	var again []frame.Frame
	day, written, from := s.Start(1), 0, s.StartUTC.UnixNano()
	add := func(f *frame.Frame) {
		if err := j.Append(f, bus); err != nil {
			b.Fatal(err)
		}
		written++
	}
	for written < int(hours*3600*fullDayRate) {
		var f frame.Frame
		if err := day.Next(&f); errors.Is(err, io.EOF) {
			b.Fatal("the day is over")
		} else if err != nil {
			b.Fatal(err)
		}
		due := int(time.Duration(f.Time-from).Seconds() * fullDayRate)
		for ; len(again) > 0 && written < due; add(&again[written%len(again)]) {
			again[written%len(again)].Time = f.Time
		}
		if fitsAgain(&f.Frame) && !f.IsError {
			again = append(again, f)
			again = again[max(0, len(again)-100):]
		}
		add(&f)
	}
	if err := j.Close(); err != nil {
		b.Fatal(err)
	}
}

// fitsAgain tells the frames that can be heard twice: whole messages without a
// time of their own.
func fitsAgain(f *can.Frame) bool {
	m := pgn.Lookup(pgn.ParseID(f.ID).PGN)
	return m != nil && !m.Fast && m.PGN != 126992
}
