package calc

import (
	"slices"

	"trialday.example/logd/calc/manoeuvre"
)

// Found is what was found in the samples of a day.
type Found struct {
	Start, End int64 // trial time of the first and the end of the last tick, ns
	Runs       []Run
	Windows    []Window
	Line       Line
	// Heard has a bit for each engine that sent its speed.
	Heard EngineSet
	// Geared has a bit for each engine whose gear was heard.
	Geared EngineSet
	// Has tells which kinds of data came at all.
	HasFuel, HasLoad, HasHeading, HasSOG, HasPower bool
}

// Evidence is what a day leaves once its samples are gone: all that figures are
// derived from. It can be kept with encoding/gob.
//
// Invariants: it does not change when the day goes on; deriving does not change
// it; its windows are in no step.
type Evidence struct {
	Found
	Frozen     []Frozen // windows that reach into them are not accepted
	Fuel       FuelRecord
	Manoeuvres *manoeuvre.Evidence
}

// Evidence is what was found so far, at any time of the day. The run and the
// manoeuvre that are going on are in it only after Close.
func (t *Trial) Evidence() *Evidence {
	e := &Evidence{Found: t.found, Fuel: t.fuel.record(), Manoeuvres: t.watch.Evidence()}
	// Runs and windows only grow at their ends; the line's points change.
	e.Line.Points = slices.Clone(e.Line.Points)
	return e
}

// Derive gives the figures of the evidence: the second half of the way, from
// windows to steps and all that follows from them. It is a pure function. What
// became of the amendments stands in the report, in their order.
func Derive(e *Evidence, set Settings, amendments []Amendment) *Report {
	r := DeriveSteps(e, set, amendments)
	r.Paddle = CalibratePaddle(r.Windows, &r.Day)
	r.Manoeuvres = *e.Manoeuvres.Derive(set.manoeuvres(), r.Day.flow)
	r.Propulsion = Propel(r.Steps, set.Shafts)
	r.Reference = set.Reference
	r.AtMass = AtReferenceMass(r.Steps, set.Reference, set.Boat)
	r.FuelCheck = e.Fuel.check(set.Fuel, r.Windows)
	return r
}

// stepsOf gives the windows, with what became of them, and the steps that they
// count in.
func stepsOf(e *Evidence, set Settings, amendments []Amendment) ([]Window, []Step, []Outcome) {
	windows := slices.Clone(e.Windows)
	rejectFrozen(windows, e.Frozen)
	outcomes := amend(windows, set.Step, amendments)
	return windows, Steps(windows, set.Step, set.Boat), outcomes
}

// DeriveSteps is the part of Derive that gives the steps, the best of them and
// the day's current; the rest of the report is empty.
func DeriveSteps(e *Evidence, set Settings, amendments []Amendment) *Report {
	r := &Report{Found: e.Found, Motors: set.Boat.Electric.Motors}
	r.Windows, r.Steps, r.Outcomes = stepsOf(e, set, amendments)
	r.Best = FindBest(r.Steps, set.Boat)
	r.Energy = BestByEnergy(r.Steps, set.Boat)
	r.Day = FitDay(r.Windows, r.Steps)
	r.Day.setFlows(r.Windows, r.Steps)
	return r
}

func (s *Settings) manoeuvres() manoeuvre.Settings {
	return manoeuvre.Settings{Marks: s.Marks, Length: s.Boat.Length, Mass: s.Boat.Mass, Latency: s.Latency}
}
