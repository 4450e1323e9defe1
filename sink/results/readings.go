package results

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"trialday.example/logd/calc"
)

// Reading is what was noted by hand, joined to the day; null where not noted or
// not found.
type Reading struct {
	Line     int      `json:"line"` // in the file of readings
	Time     string   `json:"time"` // "" where noted by rpm
	RPM      *float64 `json:"rpm"`
	SoundDBA *float64 `json:"sound_dba"`
	SeaState *int     `json:"sea_state"`
	Comment  string   `json:"comment"`
	Run      *int     `json:"run"`
	Window   *int     `json:"window"`
	Step     *int     `json:"step"`
}

// AddReadings joins hand readings to the day and fills in the sound level and
// the note of the steps.
func (r *Results) AddReadings(readings []calc.Reading, rep *calc.Report, e Edge) {
	if len(readings) == 0 {
		return
	}
	joined := calc.Join(readings, rep, e.UTC)
	for i := range joined {
		r.Readings = append(r.Readings, reading(&joined[i]))
	}
	for i := range r.Steps {
		s := &r.Steps[i]
		s.SoundDBA = scaled(calc.StepSound(joined, s.ID), 1)
		s.Note = remarks(joined, s.ID)
	}
	r.readingFindings(joined)
}

// remarks are the comments on a step, in the order of the file, each once.
func remarks(joined []calc.Joined, step int) string {
	var list []string
	for i := range joined {
		if j := &joined[i]; j.Step == step && j.Conflict != calc.SpeedDiffer && j.Comment != "" && !slices.Contains(list, j.Comment) {
			list = append(list, j.Comment)
		}
	}
	return strings.Join(list, "; ")
}

func reading(j *calc.Joined) Reading {
	out := Reading{Line: j.Line, RPM: scaled(j.RPM, 60), SoundDBA: scaled(j.Sound, 1), Comment: j.Comment,
		Run: id(j.Run), Window: id(j.Window), Step: id(j.Step)}
	if j.Timed {
		out.Time = time.Unix(0, j.Time).UTC().Format("2006-01-02T15:04:05.000Z07:00")
	}
	if !math.IsNaN(j.SeaState) {
		s := int(j.SeaState)
		out.SeaState = &s
	}
	return out
}

var conflicts = []struct {
	kind                  calc.Conflict
	what, meaning, remedy string
}{
	{calc.OutsideDay, "their time is not within the recorded day", "they belong to no step",
		"check date, hour and time zone of the times; a watch that is off shifts all of them"},
	{calc.NotSteady, "their time is in no steady window", "they belong to no step",
		"check the times, or note the rpm instead"},
	{calc.NoSuchStep, "no step has their rpm within 3 % or 50 rpm", "they belong to no step",
		"note the rpm of the engines, not of the propeller; or note the time"},
	{calc.SpeedDiffer, "the rpm noted is not the one logged at that time", "they are not counted in a step's sound level",
		"check the time and the gauge"},
	{calc.SoundDiffer, "their sound levels are more than 3 dB from the others of the same step", "the step's energy mean holds them all",
		"note where aboard each was taken, and leave out what is not comparable"},
	{calc.SeaDiffer, "their sea states are more than one apart from others of the same step", "the step's passes were run in different seas, or a state is misread",
		"check them against the sea state table"},
}

// readingFindings tells each kind of conflict once, with the lines.
func (r *Results) readingFindings(joined []calc.Joined) {
	for _, c := range conflicts {
		var lines []string
		for i := range joined {
			if joined[i].Conflict == c.kind {
				lines = append(lines, fmt.Sprint(joined[i].Line))
			}
		}
		if len(lines) > 0 {
			r.Findings = append(r.Findings, Finding{What: "hand readings on line " + strings.Join(lines, ", ") + ": " + c.what,
				Meaning: c.meaning, Remedy: c.remedy})
		}
	}
}
