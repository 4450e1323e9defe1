package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/sink/results"
)

// published are the keys of results.json that others may rely on, and their
// types; ? stands for "or null". A list without entries has nothing to check
// below it.
var published = []string{
	"schema string",
	"vessel object", "trial.units string",
	"steady.min_s number", "steady.settle_pct number", "steady.rpm_hunting_pct number", "steady.course_deg number", "steady.step_pct number",
	"clock.offset_s number", "clock.uncertainty_s number",
	"windows[].id int", "windows[].run int", "windows[].start time", "windows[].end time",
	"windows[].accepted bool", "windows[].reason string", "windows[].amended string", "windows[].frames.first int", "windows[].frames.last int",
	"windows[].heading_deg number?", "windows[].cog_deg number?",
	"windows[].sog_kn interval?", "windows[].rpm intervals", "windows[].fuel_lph interval?",
	"windows[].load_pct number?", "windows[].pitch_deg number?", "windows[].roll_deg number?",
	"steps[].rpm number", "steps[].speed_kn interval", "steps[].fuel_lph interval?",
	"steps[].economy_nm_per_l interval?", "steps[].range_nm interval?",
	"steps[].load_pct number?", "steps[].pitch_deg number?", "steps[].passes int", "steps[].windows ints",
	"steps[].current_corrected bool", "steps[].current_kn number?", "steps[].current_set_deg number?",
	"best.top_speed_step int?", "best.best_economy_step int?", "best.cruise_step int?",
	"fuel_check.metered_l number?", "fuel_check.engines[].engine string", "fuel_check.engines[].imbalance_pct interval?",
	"propulsion.steps[].step int", "propulsion.steps[].sync_rpm number?", "propulsion.steps[].engines[].slip_pct interval?",
	"propulsion.steps[].engines[].power_kw number?", "propulsion.engines[].load_exponent interval?",
	"propulsion.engines[].shortfall_pct number?", "propulsion.engines[].match string",
	"steps[].mass_kg number?", "steps[].sound_dba number?",
	"per_nm.steps[].cost_per_nm interval?", "per_nm.steps[].co2_kg_per_nm interval?",
	"readings[].line int", "readings[].step int?",
	"accelerations[].start time", "accelerations[].to_speeds[].speed_kn number",
	"accelerations[].to_speeds[].seconds interval", "accelerations[].to_plane_s interval?",
	"turns[].start time", "turns[].direction string", "turns[].entry_speed_kn number?", "turns[].time_360_s number?",
	"turns[].steady_diameter_m number?", "turns[].tactical_diameter_m number?", "turns[].diameter_lengths number?",
	"turns[].heel_peak_deg number?", "turns[].heel_settled_deg number?", "turns[].speed_loss_pct number?",
	"turns[].intervals intervals", "stops[].intervals intervals",
	"stops[].start time", "stops[].seconds interval?", "stops[].head_reach_m number?", "stops[].track_reach_m number?",
	"gear_events[].time time", "gear_events[].engine string", "gear_events[].from string", "gear_events[].to string",
	"gear_events[].rpm number?", "engagement[].time time", "engagement[].what string",
	"runs[].id int", "runs[].kind string", "runs[].start time", "runs[].end time",
	"quality.frames int", "quality.bad_lines int", "quality.fast_packet_lost int",
	"quality.frames_hash string",
	"amendments[].id int", "amendments[].time time", "amendments[].name string", "amendments[].reason string", "amendments[].action string",
	"amendments[].windows[].id int?", "amendments[].windows[].start time", "amendments[].windows[].end time",
	"amendments[].withdraws int?", "amendments[].applied bool", "amendments[].why string", "original_steps[].id int", "original_best object?",
	"quality.gaps[].what string", "quality.gaps[].start time", "quality.gaps[].end time",
	"vessel.engine_sides string", "findings[].kind string", "findings[].what string", "findings[].meaning string",
	"findings[].remedy string", "findings[].sure string", "findings[].probability number?",
}

// rfc3339 is RFC 3339, 5.6, in UTC and with a fraction.
var rfc3339 = regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z$`)

func hasType(v any, typ string) bool {
	if base, optional := strings.CutSuffix(typ, "?"); optional {
		return v == nil || hasType(v, base)
	}
	switch typ {
	case "string":
		_, ok := v.(string)
		return ok
	case "bool":
		_, ok := v.(bool)
		return ok
	case "object":
		_, ok := v.(map[string]any)
		return ok
	case "number":
		_, ok := v.(float64)
		return ok
	case "int":
		n, ok := v.(float64)
		return ok && n == math.Trunc(n)
	case "ints":
		list, ok := v.([]any)
		return ok && !slices.ContainsFunc(list, func(v any) bool { return !hasType(v, "int") })
	case "time":
		s, _ := v.(string)
		_, err := time.Parse(time.RFC3339Nano, s)
		return err == nil && rfc3339.MatchString(s)
	case "interval":
		o, _ := v.(map[string]any)
		lo, hasLo := o["lo95"]
		hi, hasHi := o["hi95"]
		return hasType(o["mean"], "number") && hasLo && hasHi && hasType(lo, "number?") && hasType(hi, "number?")
	case "intervals":
		o, ok := v.(map[string]any)
		for _, inner := range o {
			ok = ok && hasType(inner, "interval")
		}
		return ok
	}
	panic(typ)
}

// checkKeys asks for the published keys below v.
func checkKeys(t *testing.T, v any, at, path, typ string) {
	t.Helper()
	key, rest, deeper := strings.Cut(path, ".")
	name, isList := strings.CutSuffix(key, "[]")
	o, _ := v.(map[string]any)
	inner, ok := o[name]
	at += "." + name
	switch list, listed := inner.([]any); {
	case !ok:
		t.Errorf("no key %s", at)
	case isList && !listed:
		t.Errorf("%s is %v, not a list", at, inner)
	case isList:
		for i, item := range list {
			checkKeys(t, item, fmt.Sprintf("%s[%d]", at, i), rest, typ)
		}
	case deeper:
		checkKeys(t, inner, at, rest, typ)
	case !hasType(inner, typ):
		t.Errorf("%s is %v, not %s", at, inner, typ)
	}
}

// checkResults checks all that holds for every results.json: its keys and
// types, and that its parts agree with each other.
func checkResults(t *testing.T, dir string) {
	t.Helper()
	text := read(t, filepath.Join(dir, "results.json"))
	var doc any
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatalf("results.json: %v", err)
	}
	for _, p := range published {
		path, typ, _ := strings.Cut(p, " ")
		checkKeys(t, doc, "", path, typ)
	}
	for _, word := range []string{"NaN", "Inf"} {
		if bytes.Contains(text, []byte(word)) {
			t.Errorf("results.json has %s in it", word)
		}
	}
	for _, name := range []string{"sheet.html", "steps.csv", "windows.csv"} {
		if bytes.Contains(read(t, filepath.Join(dir, name)), []byte("NaN")) {
			t.Errorf("%s has NaN in it", name)
		}
	}
	leftovers, _ := filepath.Glob(filepath.Join(dir, "*.part"))
	if len(leftovers) > 0 {
		t.Errorf("unfinished files stay behind: %v", leftovers)
	}
	r := readResults(t, dir)
	checkRuns(t, r)
	checkWindows(t, r)
	checkSteps(t, r)
	checkBest(t, r)
}

func instant(t *testing.T, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func checkRuns(t *testing.T, r *results.Results) {
	t.Helper()
	kinds := []string{"at_rest", "manoeuvring", "accelerating", "held_throttle", "turning", "slowing"}
	for i, run := range r.Runs {
		if run.ID != i+1 || !slices.Contains(kinds, run.Kind) || !instant(t, run.Start).Before(instant(t, run.End)) {
			t.Errorf("run %d: %+v", i+1, run)
		}
		if i > 0 && instant(t, run.Start).Before(instant(t, r.Runs[i-1].End)) {
			t.Errorf("runs %d and %d overlap", i, i+1)
		}
	}
}

func checkWindows(t *testing.T, r *results.Results) {
	t.Helper()
	for i, w := range r.Windows {
		if w.ID != i+1 || w.Run < 1 || w.Run > len(r.Runs) {
			t.Fatalf("window %d: %+v", i+1, w)
		}
		run := r.Runs[w.Run-1]
		from, to := instant(t, w.Start), instant(t, w.End)
		if from.Before(instant(t, run.Start)) || to.After(instant(t, run.End)) || !from.Before(to) {
			t.Errorf("window %d from %s to %s is not inside run %d", w.ID, w.Start, w.End, w.Run)
		}
		if i > 0 && from.Before(instant(t, r.Windows[i-1].End)) {
			t.Errorf("windows %d and %d overlap", i, i+1)
		}
		if run.Kind != "held_throttle" {
			t.Errorf("window %d lies in a run of kind %s", w.ID, run.Kind)
		}
		if w.Accepted != (w.Reason == "") || counts(&w) != (w.Step != nil) {
			t.Errorf("window %d: accepted %v, reason %q, amended %q, step %v", w.ID, w.Accepted, w.Reason, w.Amended, w.Step)
		}
		checkInterval(t, fmt.Sprintf("window %d sog_kn", w.ID), w.SOGKn)
		checkInterval(t, fmt.Sprintf("window %d fuel_lph", w.ID), w.FuelLPH)
		sum := 0.0
		for name, f := range w.EngineFuelLPH {
			sum += f.Mean
			checkInterval(t, fmt.Sprintf("window %d engine_fuel_lph.%s", w.ID, name), &f)
		}
		if w.FuelLPH != nil && math.Abs(sum/w.FuelLPH.Mean-1) > 0.002 {
			t.Errorf("window %d: the engines burn %g L/h, all together %g", w.ID, sum, w.FuelLPH.Mean)
		}
		for name := range w.RPM {
			if !slices.ContainsFunc(r.Vessel.Engines, func(e results.Engine) bool { return e.Name == name }) {
				t.Errorf("window %d has an engine %q, which the vessel has not", w.ID, name)
			}
		}
		for what, deg := range map[string]*float64{"heading": w.HeadingDeg, "cog": w.COGDeg, "wind": w.WindFromDeg} {
			if deg != nil && (*deg < 0 || *deg >= 360) {
				t.Errorf("window %d: %s %g", w.ID, what, *deg)
			}
		}
	}
}

// counts tells whether a window is in a step.
func counts(w *results.Window) bool { return w.Accepted && w.Amended != "excluded" }

func checkInterval(t *testing.T, what string, v *results.Interval) {
	t.Helper()
	if v != nil && (v.Lo95 > v.Mean || v.Hi95 < v.Mean) {
		t.Errorf("%s: mean %g outside %g to %g", what, v.Mean, v.Lo95, v.Hi95)
	}
}

func checkSteps(t *testing.T, r *results.Results) {
	t.Helper()
	inSteps := 0
	for i := range r.Steps {
		s := &r.Steps[i]
		if s.ID != i+1 || i > 0 && s.RPM < r.Steps[i-1].RPM {
			t.Errorf("step %d at place %d, %g rpm", s.ID, i+1, s.RPM)
		}
		runs := map[int]bool{}
		for _, id := range s.Windows {
			if id < 1 || id > len(r.Windows) {
				t.Fatalf("step %d names window %d, which is not there", s.ID, id)
			}
			w := &r.Windows[id-1]
			runs[w.Run] = true
			if !w.Accepted || *w.Step != s.ID {
				t.Errorf("step %d names window %d, which is accepted %v and of step %v", s.ID, id, w.Accepted, w.Step)
			}
		}
		inSteps += len(s.Windows)
		if s.Passes < 1 || s.Passes != len(runs) {
			t.Errorf("step %d: %d passes in %d runs", s.ID, s.Passes, len(runs))
		}
		if known := s.CurrentKn != nil && s.CurrentSetDeg != nil; known != s.CurrentCorrected {
			t.Errorf("step %d: corrected for current %v, current known %v", s.ID, s.CurrentCorrected, known)
		}
		if s.CurrentCorrected && s.Passes < 2 {
			t.Errorf("step %d is corrected for current by one pass", s.ID)
		}
		if len(s.Engines) == 0 {
			t.Errorf("step %d has no engine", s.ID)
		}
		checkUnits(t, s, r.Vessel.UsableL)
	}
	for _, w := range r.Windows {
		if counts(&w) {
			inSteps--
		}
	}
	if inSteps != 0 {
		t.Errorf("steps name %d windows more than are accepted", inSteps)
	}
}

// checkUnits derives each figure of a step from the others. Factors are those
// of NIST SP 811 (2008), appendix B.8. The figures are rounded to six digits.
func checkUnits(t *testing.T, s *results.Step, usable *float64) {
	t.Helper()
	same := func(what string, got *results.Interval, want float64) {
		t.Helper()
		if got == nil {
			t.Errorf("step %d has no %s", s.ID, what)
			return
		}
		checkInterval(t, fmt.Sprintf("step %d %s", s.ID, what), got)
		if math.Abs(got.Mean/want-1) > 3e-5 && math.Abs(got.Mean-want) > 1e-3 {
			t.Errorf("step %d: %s %g, by the other figures %g", s.ID, what, got.Mean, want)
		}
	}
	const mile, gallon = 1.852 / 1.609344, 3.785411784
	same("speed_kn", &s.SpeedKn, s.SpeedKn.Mean)
	same("speed_mph", &s.SpeedMPH, s.SpeedKn.Mean*mile)
	if s.FuelLPH == nil {
		for what, v := range map[string]*results.Interval{"fuel_usgal_per_h": s.FuelUSGPH, "economy_nm_per_l": s.EconomyNMPerL,
			"economy_l_per_nm": s.EconomyLPerNM, "economy_nm_per_usgal": s.EconomyNMPGal, "economy_mi_per_usgal": s.EconomyMPG, "range_nm": s.RangeNM} {
			if v != nil {
				t.Errorf("step %d: %s %g without a fuel rate", s.ID, what, v.Mean)
			}
		}
		return
	}
	same("fuel_lph", s.FuelLPH, s.FuelLPH.Mean)
	economy := s.SpeedKn.Mean / s.FuelLPH.Mean
	same("fuel_usgal_per_h", s.FuelUSGPH, s.FuelLPH.Mean/gallon)
	same("economy_nm_per_l", s.EconomyNMPerL, economy)
	same("economy_l_per_nm", s.EconomyLPerNM, 1/economy)
	same("economy_nm_per_usgal", s.EconomyNMPGal, economy*gallon)
	same("economy_mi_per_usgal", s.EconomyMPG, economy*gallon*mile)
	if usable == nil {
		if s.RangeNM != nil {
			t.Errorf("step %d: range %g without a tank", s.ID, s.RangeNM.Mean)
		}
		return
	}
	same("range_nm", s.RangeNM, economy**usable)
}

func checkBest(t *testing.T, r *results.Results) {
	t.Helper()
	b := &r.Best
	ids := slices.Clone(b.LevelEconomySteps)
	for _, id := range []*int{b.TopSpeedStep, b.BestEconomyStep, b.BestPlaningEconomyStep, b.CruiseStep} {
		if id != nil {
			ids = append(ids, *id)
		}
	}
	for _, id := range ids {
		if id < 1 || id > len(r.Steps) {
			t.Fatalf("best names step %d of %d", id, len(r.Steps))
		}
	}
	// What is best is so among the steps that are corrected for current, if
	// there are any.
	corrected := slices.ContainsFunc(r.Steps, func(s results.Step) bool { return s.CurrentCorrected })
	for i := range r.Steps {
		s := &r.Steps[i]
		if corrected && !s.CurrentCorrected || len(s.Engines) < len(r.Vessel.Engines) {
			continue
		}
		if b.TopSpeedStep == nil || s.SpeedKn.Mean > r.Steps[*b.TopSpeedStep-1].SpeedKn.Mean {
			t.Errorf("step %d is faster than the top speed", s.ID)
		}
		if s.EconomyNMPerL == nil {
			continue
		}
		if b.BestEconomyStep == nil || s.EconomyNMPerL.Mean > r.Steps[*b.BestEconomyStep-1].EconomyNMPerL.Mean {
			t.Errorf("step %d has a better economy than the best", s.ID)
		}
	}
	if c := b.Cruise; c != nil && c.FuelLPH != nil {
		if math.Abs(*c.EconomyNMPerL**c.FuelLPH/c.SpeedKn-1) > 1e-4 {
			t.Errorf("cruise at %g kn on %g L/h is not %g nm/L", c.SpeedKn, *c.FuelLPH, *c.EconomyNMPerL)
		}
		if u := r.Vessel.UsableL; u != nil && math.Abs(*c.RangeNM/(*c.EconomyNMPerL**u)-1) > 1e-4 {
			t.Errorf("cruise: range %g, economy %g on %g L", *c.RangeNM, *c.EconomyNMPerL, *u)
		}
	}
}

// A day of which all is known gives every published key with a value
// somewhere, so that the checks above have something to look at.
func TestResultsHaveThePublishedKeys(t *testing.T) {
	t.Parallel()
	day := short(t)
	r := replayOf(t, day, string(boatA(t)))
	checkResults(t, r.dir)
	if len(r.Runs) < 10 || len(r.Steps) != 3 || r.Quality.Frames != int64(len(day.frames)) {
		t.Errorf("%d runs, %d steps, %d frames of %d", len(r.Runs), len(r.Steps), r.Quality.Frames, len(day.frames))
	}
	rejected := 0
	for _, w := range r.Windows {
		if !w.Accepted {
			rejected++
		}
		if len(w.RPM) != 3 || w.FuelLPH == nil || w.LoadPct == nil || w.HeadingDeg == nil || w.COGDeg == nil {
			t.Errorf("window %d is not complete: %+v", w.ID, w)
		}
	}
	if rejected == 0 {
		t.Error("no window was rejected")
	}
	for _, s := range r.Steps {
		if !s.CurrentCorrected || s.RangeNM == nil || s.LoadPct == nil || s.PitchDeg == nil || s.MassKg == nil {
			t.Errorf("step %d is not complete: %+v", s.ID, s)
		}
	}
	// What a day of three steps without hard turns and stops cannot have.
	absent := []string{"cruise at load", "acceleration", "turning circle", "crash stop", "time to plane"}
	for _, m := range r.Missing {
		if !slices.Contains(absent, m.Figure) {
			t.Errorf("missing: %+v", m)
		}
	}
}

// boatA is the configuration of the boat of the short day.
func boatA(t testing.TB) []byte {
	t.Helper()
	text, err := os.ReadFile("../../configs/demo-triple.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return text
}
