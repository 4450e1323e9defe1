package day

import (
	"fmt"
	"math"
	"slices"

	"trialday.example/logd/calc"
	"trialday.example/logd/configs"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// tankHint says, after why a step has no fuel rate, what the tanks' level would
// take to tell its burn; "" where no level is heard.
func (d *document) tankHint(rep *calc.Report) string {
	tank := fuelReference(&d.Config).Tank
	heard := func(w calc.Window) bool { return len(w.Levels.Spans) > 0 }
	i := slices.IndexFunc(rep.Windows, heard)
	if i < 0 {
		return ""
	}
	if size := rep.Windows[i].Levels.Size; tank > 0 && math.Abs(size/tank-1) > calc.AllTanks {
		return fmt.Sprintf("; the tanks whose level is heard hold %.0f L, not the %.0f L of fuel.tank_l, so their level (PGN 127505) does not tell it", 1000*size, 1000*tank)
	}
	var least, most string
	var lo, hi float64
	for i := range rep.Steps {
		s := &rep.Steps[i]
		hold := s.Tank.Hold(d.Config.Fuel.TankSectionPct / 100)
		if s.FromTank || !math.IsNaN(s.Fuel.Mean) || math.IsNaN(hold) {
			continue
		}
		at := fmt.Sprintf("%.0f min at %.0f rpm", hold/60, s.RPM*60)
		if math.IsInf(hold, 1) {
			at = fmt.Sprintf("more than an hour at %.0f rpm", s.RPM*60)
		}
		if least == "" || hold < lo {
			least, lo = at, hold
		}
		if most == "" || hold > hi {
			most, hi = at, hold
		}
	}
	switch {
	case least == "":
		return "; the passes were too short for the tank level (PGN 127505) to tell even how long it would take"
	case least == most:
		return "; by the tank level (PGN 127505) each pass must be held for about " + least
	}
	return "; by the tank level (PGN 127505) each pass must be held for about " + least + " to " + most
}

// tankFinding tells that burn is by the tanks' level; nil where none is.
func tankFinding(c *configs.Config, rep *calc.Report) []results.Finding {
	n := 0
	for i := range rep.Steps {
		if rep.Steps[i].FromTank {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	section := "the tanks' section is told to be even"
	if pct := c.Fuel.TankSectionPct; pct > 0 {
		section = fmt.Sprintf("%g %% for the tanks' section, which is not known (fuel.tank_section_pct)", pct)
	}
	return []results.Finding{{
		Kind: "burn_from_tank_level", Sure: "95 % interval",
		What:    fmt.Sprintf("burn, economy and range of %d of %d steps are from the tank level (PGN 127505), not from a fuel rate", n, len(rep.Steps)),
		Meaning: "what draws from the tanks beside the engines is in them; the interval holds slosh, the senders' resolution and " + section + "; only what is known to about a third of itself is shown",
		Remedy:  "let the engine gateways send the fuel rate (" + pgn.FuelRate.Ways() + ")",
	}}
}
