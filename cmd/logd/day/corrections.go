package day

import (
	"fmt"
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// corrector puts right what the configuration says is wrong, before anything
// else sees a sample. Without such keys it changes nothing.
type corrector struct {
	factor, shift [pgn.NumQuantities]float64
	fuel          [calc.MaxEngines]float64
	any           bool
}

func newCorrector(c *configs.Config) corrector {
	var out corrector
	for i := range out.factor {
		out.factor[i] = 1
	}
	for i := range out.fuel {
		out.fuel[i] = 1
	}
	set := func(q pgn.Quantity, degrees float64, reversed bool) {
		out.shift[q] = degrees * math.Pi / 180
		if reversed {
			out.factor[q] = -1
		}
		out.any = out.any || degrees != 0 || reversed
	}
	set(pgn.Heading, c.Corrections.HeadingDeg, false)
	set(pgn.HeadingMagnetic, c.Corrections.HeadingDeg, false)
	set(pgn.Roll, c.Corrections.RollDeg, c.Corrections.RollReversed)
	set(pgn.Pitch, c.Corrections.PitchDeg, c.Corrections.PitchReversed)
	for i, e := range c.Engines {
		if e.FuelScale != nil && i < calc.MaxEngines {
			out.fuel[i] = *e.FuelScale
			out.any = true
		}
	}
	return out
}

func (c *corrector) apply(s *sample.Sample) {
	if !c.any || s.State != pgn.Valid || s.Quantity >= pgn.NumQuantities {
		return
	}
	s.Value = s.Value*c.factor[s.Quantity] + c.shift[s.Quantity]
	switch s.Quantity {
	case pgn.FuelRate:
		if s.Instance < calc.MaxEngines {
			s.Value *= c.fuel[s.Instance]
		}
	case pgn.Heading, pgn.HeadingMagnetic:
		if s.Value = math.Mod(s.Value, 2*math.Pi); s.Value < 0 {
			s.Value += 2 * math.Pi
		}
	}
}

// corrected tells on the sheet what was applied.
func corrected(c *configs.Config) []results.Finding {
	var out []results.Finding
	add := func(key, what string) {
		out = append(out, results.Finding{
			Kind: "corrected", What: what + ", as configured", Sure: "certain: configured",
			Meaning: "every figure that hangs on it has the correction in it; the recorded frames do not",
			Remedy:  "remove " + key + " once the sensor itself is set right",
		})
	}
	for _, a := range []struct {
		name     string
		degrees  float64
		reversed bool
	}{
		{"heading", c.Corrections.HeadingDeg, false},
		{"roll", c.Corrections.RollDeg, c.Corrections.RollReversed},
		{"pitch", c.Corrections.PitchDeg, c.Corrections.PitchReversed},
	} {
		if a.reversed {
			add("corrections."+a.name+"_reversed", "the sign of "+a.name+" was turned")
		}
		if a.degrees != 0 {
			add("corrections."+a.name+"_deg", fmt.Sprintf("%+g degrees were added to %s", a.degrees, a.name))
		}
	}
	for i, e := range c.Engines {
		if e.FuelScale != nil && *e.FuelScale != 1 {
			add(fmt.Sprintf("engines[%d].fuel_scale", i), fmt.Sprintf("the fuel rate of %s was multiplied by %g", e.Name, *e.FuelScale))
		}
	}
	return out
}
