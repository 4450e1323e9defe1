package day

import (
	"trialday.example/logd/calc"
	"trialday.example/logd/decode/clock"
)

// Closed returns the runs that have ended so far and the windows found in them,
// in trial time; see calc.Trial.Closed.
func (d *Day) Closed() ([]calc.Run, []calc.Window) { return d.samples.settle().trial.Closed() }

// Clock turns trial time into UTC, as well as the frames so far tell.
func (d *Day) Clock() *clock.Clock { return d.decoder.Clock() }
