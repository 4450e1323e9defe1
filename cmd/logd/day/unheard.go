package day

import (
	"fmt"
	"slices"
	"strings"

	"trialday.example/logd/calc"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// unheard names each figure that could not be derived for want of a sensor, and
// the sensor that would give it, beside those of missing.
func unheard(heard *[pgn.NumQuantities]bool, turns bool) []results.MissingFigure {
	var out []results.MissingFigure
	add := func(q pgn.Quantity, figure, sensor string, number int) {
		if !heard[q] && !(q == pgn.WindSpeedApparent && heard[pgn.WindSpeedTrue]) {
			out = append(out, results.MissingFigure{Figure: figure,
				Why: fmt.Sprintf("no %s was heard (PGN %d); %s gives it", strings.ReplaceAll(q.String(), "_", " "), number, sensor)})
		}
	}
	add(pgn.Pitch, "trim angle", "an attitude sensor", 127257)
	add(pgn.Pitch, "wave period", "an attitude sensor", 127257)
	add(pgn.Roll, "heel", "an attitude sensor", 127257)
	add(pgn.WindSpeedApparent, "wind", "a wind sensor", 130306)
	if heading := heard[pgn.Heading] || heard[pgn.HeadingMagnetic]; heard[pgn.WindSpeedApparent] && !heard[pgn.WindSpeedTrue] && !heading {
		out = append(out, results.MissingFigure{Figure: "wind", Why: "no heading was heard (PGN 127250), by which the apparent wind is turned; a compass gives it"})
	}
	if turns {
		add(pgn.RudderAngle, "rudder angle in turns", "a rudder sensor", 127245)
	}
	add(pgn.Depth, "check for shallow water", "an echo sounder", 128267)
	add(pgn.SpeedThroughWater, "paddle wheel calibration", "a paddle wheel or another speed log", 128259)
	return out
}

// derived tells that speed was made from positions.
func derived(seconds int64) []results.Finding {
	if seconds < leastDerived {
		return nil
	}
	return []results.Finding{{
		Kind: "speed_from_positions", Sure: "certain: counted",
		What:    fmt.Sprintf("for %d s no speed over ground was sent: it was derived from positions", seconds),
		Meaning: "speeds come a second and a half late, which is taken out of accelerations, turns and stops, and scatter a little more",
		Remedy:  "let the receiver send course and speed over ground (PGN 129026), ten times a second if it can",
	}}
}

// leastDerived, s: shorter silences are among the gaps.
const leastDerived = 10

// dayBurn gives what was burnt over the day where no fuel rate tells it.
func (d *document) dayBurn(r *results.Results, rep *calc.Report, names []string) {
	if rep.HasFuel && withoutFuel(names, rep) == "" || rep.Heard == 0 || burnsNothing(&d.Config) {
		return
	}
	ref := fuelReference(&d.Config)
	// Against some of the engines' rates the tank proves nothing.
	r.Findings = slices.DeleteFunc(r.Findings, func(f results.Finding) bool {
		return f.Kind == "fuel_rate_tank" || f.Kind == "fuel_rate_top_up"
	})
	fall, why := d.Burn.Fall(ref.Tank)
	r.AddDayBurn(results.Burnt{Tank: fall, Why: why, TopUp: ref.TopUp, TopUpError: ref.Error,
		Distance: d.Burn.Distance, Moving: d.Burn.Moving})
}
