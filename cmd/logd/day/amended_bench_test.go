package day

import (
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/sink/logbook"
)

// longDay is twelve hours of the demo day's boat: its own script again and
// again, each time with other steps.
func longDay(b *testing.B) *simulate.Scenario {
	b.Helper()
	s := scenario(b, "demo-triple")
	once := s.Script
	for range 5 {
		s.Script = append(s.Script, once...)
	}
	return s
}

// BenchmarkAmending is what an amendment of a long day costs: by a replay, and
// by the evidence that was kept, as after a restart of the program. x-replay is
// the part of a replay's time; MB is the size of what was kept.
func BenchmarkAmending(b *testing.B) {
	x, cfg := recorded(b, longDay(b)), boatA(b)
	began := time.Now()
	e, n, err := Replay(b.Context(), x.Frames(), cfg, "test")
	if err != nil {
		b.Fatal(err)
	}
	replay := time.Since(began).Seconds()
	b.Logf("%d frames in %d MB, %.1f h, %d windows, %d runs; replayed in %.1f s", e.Stats.Frames, x.Size()>>20,
		float64(e.Calc.End-e.Calc.Start)/3600e9, len(e.Calc.Windows), len(e.Calc.Runs), replay)
	perReplay := func(b *testing.B) { b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/replay, "x-replay") }
	b.Run("keep", func(b *testing.B) {
		for b.Loop() {
			if err := e.Keep(x.Dir, Given{Config: cfg}, n, true); err != nil {
				b.Fatal(err)
			}
		}
		perReplay(b)
		if info, err := os.Stat(filepath.Join(x.Dir, evidenceFile)); err == nil {
			b.ReportMetric(float64(info.Size())/1e6, "MB")
		}
	})
	b.Run("recall", func(b *testing.B) {
		for b.Loop() {
			key, read, done := kept(x.Dir)
			if key == nil || read() == nil {
				b.Fatal("not kept")
			}
			done()
		}
		perReplay(b)
	})
	b.Run("derive", func(b *testing.B) {
		for b.Loop() {
			r, _ := e.Results(Given{Config: cfg, Version: "test"})
			if err := r.WriteJSON(io.Discard); err != nil {
				b.Fatal(err)
			}
		}
		perReplay(b)
	})
	step := stepOf(b, x, cfg, 2)
	b.Run("amend", func(b *testing.B) {
		for b.Loop() {
			asked := Asked{Name: "a captain", Reason: "wash", Action: logbook.Exclude, Windows: step.Windows[:1]}
			if _, _, _, err := Amend(b.Context(), x, cfg, "test", asked, evening); err != nil {
				b.Fatal(err)
			}
		}
		perReplay(b)
	})
}
