package day

import (
	"math"

	"trialday.example/logd/calc/manoeuvre"
	"trialday.example/logd/configs"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
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

// missingManoeuvres says why there is none of a kind.
func missingManoeuvres(rep *manoeuvre.Report, heading, gears bool) []results.MissingFigure {
	var out []results.MissingFigure
	add := func(n int, figure, why string) {
		if n == 0 {
			out = append(out, results.MissingFigure{Figure: figure, Why: why})
		}
	}
	add(len(rep.Accelerations), "acceleration", "no start was found: engine speed rising at once by half or more from a quiet idle, at less than 10 kn, and 8 kn gained")
	why := "no change of heading of 360 degrees in one turn was found"
	if !heading {
		why += "; without a heading sensor the course over ground was looked at"
	}
	add(len(rep.Turns), "turning circle", why)
	if gears {
		add(len(rep.Stops), "crash stop", "no stop was found: an engine in reverse while the boat, fast within 20 s before, still made more than 3 kn")
	} else {
		add(len(rep.Stops), "crash stop", "no gear was heard ("+pgn.Gear.Ways()+"), by which a stop is known; the transmissions' gateway gives it")
	}
	if !heading && len(rep.Slow) > 0 {
		add(0, "rate of turn at idle", "no heading was heard (PGN 127250); a compass gives it")
	}
	plane := 0
	for i := range rep.Accelerations {
		if !math.IsNaN(rep.Accelerations[i].Plane.Mean) {
			plane++
		}
	}
	if len(rep.Accelerations) > 0 {
		add(plane, "time to plane", "no bow was seen to come down by 0.4 degrees after its peak (PGN 127257), or the boat stayed below a volume Froude number of 1.3")
	}
	add(len(rep.Gears), "gear timeline", "no shift was heard ("+pgn.Gear.Ways()+"); the transmissions' gateway gives it")
	return out
}
