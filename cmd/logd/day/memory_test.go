//go:build !race

package day

import (
	"runtime"
	"testing"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/decode/frame"
)

// retained returns the bytes that a day keeps after n rounds of four passes
// each, and the number of frames.
func retained(t *testing.T, rounds int) (bytes int64, frames int) {
	t.Helper()
	var script []simulate.Action
	for range rounds {
		script = append(script, simulate.Action{Do: "step", RPM: 1600, Passes: 2}, simulate.Action{Do: "step", RPM: 2400, Passes: 2},
			simulate.Action{Do: "dock", ForS: 300})
	}
	s, err := scripted(script...)
	if err != nil {
		t.Fatal(err)
	}
	s.Faults.UnknownPGNEveryS, s.Faults.ErrorFrameEveryS = 1, 1
	d := New(boatA(t), "test", oneBus)
	if _, err := s.Run(1, func(f *frame.Frame) error {
		frames++
		d.Frame(f)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	with := live()
	runtime.KeepAlive(d)
	return with - live(), frames
}

// What a day keeps hardly grows with its length: the runs and windows found, a
// kilobyte each, and nothing of the frames.
func TestDemoMemoryIsFlat(t *testing.T) {
	short, n := retained(t, 3)
	long, m := retained(t, 12)
	t.Logf("%d kB after %d frames, %d kB after %d", short>>10, n, long>>10, m)
	if m < 3*n {
		t.Fatalf("%d frames are no long day against %d", m, n)
	}
	if long > short+2<<20 {
		t.Errorf("%d kB are kept after %d frames, %d kB after %d", short>>10, n, long>>10, m)
	}
}
