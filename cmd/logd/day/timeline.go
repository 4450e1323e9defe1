package day

import (
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/timeline"
)

// course hands the seconds of the day, each with the position then, to the
// timeline.
type course struct {
	line     *timeline.Timeline
	lat, lon float64 // rad; NaN before the first
	at       int64   // trial time of the position
}

// positionHold, ns, is how long a position stands for the boat: some receivers
// send it once a second, and a message can come late.
const positionHold = int64(2e9)

func newCourse() course { return course{line: timeline.New(), lat: math.NaN(), lon: math.NaN()} }

// add takes a sample after the seconds before it were handed on.
func (c *course) add(s *sample.Sample) {
	valid := s.State == pgn.Valid
	if valid && s.Quantity == pgn.Latitude {
		c.lat = s.Value
	}
	if valid && s.Quantity == pgn.Longitude {
		c.lon, c.at = s.Value, s.Time
	}
}

// second takes the next second of the day.
func (c *course) second(m *calc.Moment) {
	if c.line == nil {
		return
	}
	if c.at < m.At-positionHold {
		c.line.Add(m, math.NaN(), math.NaN())
		return
	}
	c.line.Add(m, c.lat*180/math.Pi, c.lon*180/math.Pi)
}

// Undrawn leaves the course out of a day that has not begun, for who draws
// nothing: it is most of what a day keeps.
func (d *Day) Undrawn() { d.samples.watchers.course.line = nil }

// Timeline is the course of the day so far, dated as well as is known now; nil if
// it was left out. It may be looked at while the day goes on.
func (d *Day) Timeline() *timeline.Timeline {
	w := d.samples.settle()
	line := w.course.line
	if line == nil {
		return nil
	}
	line.Name(engineNames(&d.cfg, w.trial.Heard()))
	line.Date(d.decoder.Clock().UTC)
	return line
}
