package timeline

import (
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/sink/results/units"
)

// channel is a quantity that is drawn. Inside it is in SI.
type channel struct {
	key       string  // in View; of an engine its name follows
	scale     float64 // of SI to the unit of the key
	quantum   float64 // SI
	perEngine bool
	direction bool
	of        func(m *calc.Moment, engine int) float64
}

// channels are numbered in files by their place here: new ones go to the end.
var channels = []channel{
	{key: "sog_kn", scale: units.Knots(1), quantum: speedQuantum, of: func(m *calc.Moment, _ int) float64 { return m.SOG }},
	{key: "stw_kn", scale: units.Knots(1), quantum: speedQuantum, of: func(m *calc.Moment, _ int) float64 { return m.STW }},
	{key: "fuel_lph", scale: units.LitresPerHour(1), quantum: 1e-5 / 3600, of: func(m *calc.Moment, _ int) float64 { return m.Fuel }},
	{key: "heading_deg", scale: degree, quantum: vectorQuantum, direction: true, of: func(m *calc.Moment, _ int) float64 { return m.Heading }},
	{key: "cog_deg", scale: degree, quantum: vectorQuantum, direction: true, of: func(m *calc.Moment, _ int) float64 { return m.Course }},
	{key: "pitch_deg", scale: degree, quantum: angleQuantum, of: func(m *calc.Moment, _ int) float64 { return m.Pitch }},
	{key: "roll_deg", scale: degree, quantum: angleQuantum, of: func(m *calc.Moment, _ int) float64 { return m.Roll }},
	{key: "depth_m", scale: 1, quantum: 0.005, of: func(m *calc.Moment, _ int) float64 { return m.Depth }},
	{key: "rpm_", scale: 60, quantum: 1. / 60 / 40, perEngine: true, of: func(m *calc.Moment, e int) float64 { return m.RPM[e] }},
	{key: "power_kw", scale: 1e-3, quantum: 1, of: func(m *calc.Moment, _ int) float64 { return m.Power }},
}

const (
	speedQuantum  = 0.001
	angleQuantum  = 1e-5
	vectorQuantum = 1e-5 // of a cosine or sine

	degree       = 180 / math.Pi
	speedChannel = 0
)

// times is how many columns the channel may have.
func (c *channel) times() int {
	if c.perEngine {
		return calc.MaxEngines
	}
	return 1
}

// parts is the number of series of a column: a direction is kept as cosine and
// sine.
func (c *channel) parts() int {
	if c.direction {
		return 2
	}
	return 1
}
