package day

import (
	"fmt"
	"math"
	"strings"

	"trialday.example/logd/calc"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// missingBurn says why steps have no burn, and what hangs on it; nothing of a boat
// that has none.
func (d *document) missingBurn(names []string, rep *calc.Report) []results.MissingFigure {
	if burnsNothing(&d.Config) {
		return nil
	}
	var out []results.MissingFigure
	without, some := burnless(rep)
	if why := noBurn(names, rep); why != "" {
		hint := why + d.tankHint(rep)
		if some {
			out = append(out, results.MissingFigure{Figure: "fuel burn, economy and range at " + without, Why: hint})
		} else {
			out = append(out, results.MissingFigure{Figure: "fuel burn", Why: hint})
			for _, figure := range []string{"economy", "range", "CO2 and cost per nautical mile"} {
				out = append(out, results.MissingFigure{Figure: figure, Why: why})
			}
		}
	}
	if (rep.HasFuel || some) && d.Config.Fuel.TankL == nil {
		out = append(out, results.MissingFigure{Figure: "range", Why: "fuel.tank_l is not configured"})
	}
	return out
}

// burnless lists the steps without a burn, and tells whether others have one.
func burnless(rep *calc.Report) (without string, some bool) {
	var list []string
	for i := range rep.Steps {
		if s := &rep.Steps[i]; math.IsNaN(s.Fuel.Mean) {
			list = append(list, fmt.Sprintf("%.0f", s.RPM*60))
		} else {
			some = true
		}
	}
	return strings.Join(list, ", ") + " rpm", some
}

// noBurn says why steps have no burn; "" where each has one.
func noBurn(names []string, rep *calc.Report) string {
	if !rep.HasFuel && burns(rep) {
		return "no fuel rate was heard (" + pgn.FuelRate.Ways() + ")"
	}
	in := func(w *calc.Window) bool { return math.IsNaN(rep.Steps[w.Step-1].Fuel.Mean) }
	if silent := lacking(names, rep, in, hasFuel); rep.HasFuel && silent != "" {
		return "no fuel rate of " + silent + " was heard (" + pgn.FuelRate.Ways() + "), and a total without it would be wrong"
	}
	return ""
}

// burns tells whether there may be a step that lacks its burn.
func burns(rep *calc.Report) bool {
	without := len(rep.Steps) == 0
	for i := range rep.Steps {
		without = without || math.IsNaN(rep.Steps[i].Fuel.Mean)
	}
	return without
}

func hasFuel(w *calc.Window, e int) bool { return !math.IsNaN(w.Fuel[e].Mean) }
func hasLoad(w *calc.Window, e int) bool { return !math.IsNaN(w.Drive.Load[e]) }

// withoutFuel names the engines that drove in steps and gave no fuel rate in any
// of them; "" for none.
func withoutFuel(names []string, rep *calc.Report) string {
	return lacking(names, rep, func(*calc.Window) bool { return true }, hasFuel)
}

// lacking names the engines that drove in windows of steps, of those that are in,
// and gave something in none of them; "" for none. Motors burn nothing and are left
// out.
func lacking(names []string, rep *calc.Report, in func(*calc.Window) bool, gives func(*calc.Window, int) bool) string {
	var drove, gave calc.EngineSet
	for i := range rep.Windows {
		w := &rep.Windows[i]
		if w.Step == 0 || !in(w) {
			continue
		}
		drove |= w.Engines &^ rep.Motors
		for e := range calc.MaxEngines {
			if gives(w, e) {
				gave |= 1 << e
			}
		}
	}
	return engineList(names, drove&^gave)
}

// missingEngines names the engines that lack what others have, each with what it
// changes.
func (d *document) missingEngines(names []string, rep *calc.Report) []results.MissingFigure {
	var out []results.MissingFigure
	add := func(figure, engines, quantity string, q pgn.Quantity, so string) {
		if engines != "" {
			out = append(out, results.MissingFigure{Figure: figure + " of " + engines,
				Why: fmt.Sprintf("no %s of %s was heard (%s); %s", quantity, engines, q.Ways(), so)})
		}
	}
	if rep.Heard == 0 {
		return nil
	}
	configured := calc.EngineSet(0)
	for i := range min(len(d.Config.Engines), calc.MaxEngines) {
		configured |= 1 << i
	}
	add("figures", engineList(names, configured&^rep.Heard), "engine speed", pgn.EngineSpeed, "totals and means are those of the other engines")
	if rep.HasLoad {
		add("engine load", lacking(names, rep, func(*calc.Window) bool { return true }, hasLoad), "engine load", pgn.EngineLoad,
			"load and cruise are by the other engines")
	}
	if rep.Geared != 0 {
		add("gears", engineList(names, rep.Heard&^rep.Geared&^rep.Motors), "gear", pgn.Gear, "it counts as in gear whenever it turns with the others")
	}
	return out
}
