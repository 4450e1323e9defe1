package day

import (
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/configs"
)

// Note adds what was read and written down by hand during the day. It must
// come before Finish.
func (d *Day) Note(readings []calc.Reading) { d.readings = append(d.readings, readings...) }

// Amend sets the amendments that results are derived with from now on.
func (d *Day) Amend(a Amendments) { d.amendments = a }

// topUpMark: the mark that a tank is filled to repeats within 0.5 % of its
// capacity, as half of a 95 % interval, if one takes care (our own judgement,
// no source). Without the capacity it takes topUpMarkL.
const (
	topUpMark  = 0.005
	topUpMarkL = 5.0
)

func fuelReference(c *configs.Config) calc.FuelReference {
	f := calc.FuelReference{TopUp: known(c.Fuel.TopUpL) / 1000, Error: known(c.Fuel.TopUpErrorL) / 1000, Tank: known(c.Fuel.TankL) / 1000}
	if math.IsNaN(f.Error) {
		f.Error = f.Tank * topUpMark
	}
	if math.IsNaN(f.Error) {
		f.Error = topUpMarkL / 1000
	}
	return f
}

func shafts(c *configs.Config) []calc.Shaft {
	var out []calc.Shaft
	for _, e := range c.Engines {
		out = append(out, calc.Shaft{Power: known(e.RatedPowerKW) * 1000, Speed: known(e.RatedRPM) / 60,
			Gear: known(e.GearRatio), Pitch: known(e.PropPitchM)})
	}
	return out
}

// referenceMass is in kg, 0 where none is asked for.
func referenceMass(c *configs.Config) float64 {
	if c.Mass.ReferenceKg == nil {
		return 0
	}
	return *c.Mass.ReferenceKg
}
