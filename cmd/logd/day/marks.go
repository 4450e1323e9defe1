package day

import (
	"trialday.example/logd/calc/manoeuvre"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/results/units"
)

// marks lists the speeds to which accelerations are timed, in m/s.
func marks(c *configs.Config) []manoeuvre.Mark {
	var out []manoeuvre.Mark
	for _, v := range c.Trial.SpeedsKn {
		out = append(out, manoeuvre.Mark{Speed: v * units.MetresPerNauticalMile / 3600})
	}
	for _, v := range c.Trial.SpeedsMPH {
		out = append(out, manoeuvre.Mark{Speed: v * units.MetresPerMile / 3600, Miles: true})
	}
	return out
}
