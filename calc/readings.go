package calc

import "math"

// Reading is what somebody noted by hand. Figures not noted are NaN.
type Reading struct {
	Line  int   // in the file it came from
	Time  int64 // UTC, ns since 1970; only where Timed
	Timed bool
	RPM   float64 // 1/s
	// Sound is a sound pressure level, dB(A).
	Sound    float64
	SeaState float64 // 0 to 9 (WMO code table 3700, from memory)
	Comment  string
}

// Joined is a reading with the parts of the day that it belongs to; 0 for none.
type Joined struct {
	Reading
	Run, Window, Step int
	Conflict          Conflict
}

// Conflict says what is wrong with a reading.
type Conflict uint8

// What can be wrong with a reading. It is kept and told all the same.
const (
	NoConflict  Conflict = iota
	OutsideDay           // its time is not within the day
	NotSteady            // its time is in no steady window
	NoSuchStep           // no step has its rpm
	SpeedDiffer          // its rpm is not the one logged at its time
	SoundDiffer          // its level is far from the others of its step
	SeaDiffer            // its sea state is far from the others of its step
)

// noteMatch: an rpm read off a gauge is good to 3 %, and to 50 rpm (the
// coarsest tachometer), as for stepFloor.
const noteMatch = 0.03

// soundSpread, dB: a level further from the energy mean of its step is another
// place, another window or a slip of the pen: 3 dB is twice the energy, and
// more than twice the tolerance of a class 2 meter, about 1.4 dB (IEC 61672-1,
// from memory).
const soundSpread = 3

// seaSpread: seas of one step more than one state apart.
const seaSpread = 1

// Join finds the run, window and step of each reading: by its time where it has
// one, else by its rpm. UTC turns trial time into UTC.
func Join(readings []Reading, rep *Report, utc func(trial int64) int64) []Joined {
	out := make([]Joined, len(readings))
	for i, r := range readings {
		j := Joined{Reading: r}
		switch {
		case r.Timed:
			j.atTime(rep, utc)
		default:
			if j.Step = nearestStep(rep.Steps, r.RPM); j.Step == 0 {
				j.Conflict = NoSuchStep
			}
		}
		out[i] = j
	}
	spreadConflicts(out)
	return out
}

func (j *Joined) atTime(rep *Report, utc func(int64) int64) {
	if j.Time < utc(rep.Start) || j.Time > utc(rep.End) {
		j.Conflict = OutsideDay
		return
	}
	for _, r := range rep.Runs {
		if utc(r.Start) <= j.Time && j.Time < utc(r.End) {
			j.Run = r.ID
		}
	}
	j.Conflict = NotSteady
	for i := range rep.Windows {
		w := &rep.Windows[i]
		if !(utc(w.Start) <= j.Time && j.Time < utc(w.End)) {
			continue
		}
		j.Window = w.ID
		if w.Step != 0 {
			j.Step, j.Conflict = w.Step, NoConflict
		}
		if !math.IsNaN(j.RPM) && !speedsMatch(j.RPM, w.MeanRPM()) {
			j.Conflict = SpeedDiffer
		}
	}
}

func speedsMatch(noted, logged float64) bool {
	return math.Abs(noted-logged) <= math.Max(noteMatch*logged, stepFloor)
}

// nearestStep returns the id of the step nearest in rpm among those it can
// mean, steps on all engines first; 0 for none.
func nearestStep(steps []Step, rpm float64) int {
	best, id := math.Inf(1), 0
	for _, s := range fullSets(steps) {
		if d := math.Abs(s.RPM - rpm); d < best && speedsMatch(rpm, s.RPM) {
			best, id = d, s.ID
		}
	}
	if id != 0 {
		return id
	}
	for i := range steps {
		s := &steps[i]
		if d := math.Abs(s.RPM - rpm); d < best && speedsMatch(rpm, s.RPM) {
			best, id = d, s.ID
		}
	}
	return id
}

// spreadConflicts marks readings that differ from the others of their step.
func spreadConflicts(js []Joined) {
	for i := range js {
		j := &js[i]
		if j.Step == 0 || j.Conflict != NoConflict {
			continue
		}
		var levels, seas []float64
		for k := range js {
			if o := &js[k]; k != i && o.Step == j.Step && o.Conflict != SpeedDiffer {
				levels, seas = append(levels, o.Sound), append(seas, o.SeaState)
			}
		}
		if math.Abs(j.Sound-EnergyMean(levels)) > soundSpread {
			j.Conflict = SoundDiffer
		} else if differs(j.SeaState, seas) {
			j.Conflict = SeaDiffer
		}
	}
}

func differs(sea float64, others []float64) bool {
	for _, o := range others {
		if math.Abs(sea-o) > seaSpread {
			return true
		}
	}
	return false
}

// StepSound returns the energy mean of the sound levels of a step, dB(A); NaN
// where there are none. Levels in conflict with each other are all in it: which
// of them is wrong is not known.
func StepSound(js []Joined, step int) float64 {
	var levels []float64
	for i := range js {
		if j := &js[i]; j.Step == step && j.Conflict != SpeedDiffer {
			levels = append(levels, j.Sound)
		}
	}
	return EnergyMean(levels)
}

// EnergyMean returns the mean of sound levels in dB by their energy,
// 10*lg(mean(10^(L/10))) (ISO 1996-1, the equivalent continuous level, from
// memory). NaN values are left out; NaN where none is left.
func EnergyMean(levels []float64) float64 {
	sum, n := 0.0, 0.0
	for _, l := range levels {
		if !math.IsNaN(l) {
			sum += math.Pow(10, l/10)
			n++
		}
	}
	return 10 * math.Log10(sum/n)
}
