package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// PGNs that tests leave out.
const (
	engineRapid   = 127488
	engineDynamic = 127489
	heading       = 127250
	courseSpeed   = 129026
)

func TestWithoutConfiguration(t *testing.T) {
	t.Parallel()
	r := replayOf(t, short(t), "")
	checkResults(t, r.dir)
	if len(r.Steps) != 3 {
		t.Fatalf("%d steps", len(r.Steps))
	}
	for _, s := range r.Steps {
		if s.FuelLPH == nil || s.EconomyNMPerL == nil || s.LoadPct == nil || !s.CurrentCorrected {
			t.Errorf("step %d lacks speed, burn or load: %+v", s.ID, s)
		}
		if s.RangeNM != nil || s.MassKg != nil {
			t.Errorf("step %d has a range or a mass of nowhere", s.ID)
		}
		line := fmt.Sprintf("%.0f  %.2f", s.RPM, s.SpeedKn.Mean)
		if !strings.Contains(r.stdout, line) {
			t.Errorf("no %q in the table:\n%s", line, r.stdout)
		}
	}
	r.wantMissing(t, "range", "fuel.tank_l")
	r.wantMissing(t, "test weight", "vessel.dry_mass_kg")
	r.wantMissing(t, "figures in boat lengths", "vessel.length_m")
	if r.Best.TopSpeedStep == nil || *r.Best.TopSpeedStep != 3 {
		t.Errorf("best: %+v", r.Best)
	}
	if r.stderr != "" {
		t.Errorf("complaints: %s", r.stderr)
	}
}

// The configuration adds figures and changes none that does not depend on it.
func TestConfigurationOnlyAdds(t *testing.T) {
	t.Parallel()
	bare := replayOf(t, short(t), "")
	full := replayOf(t, short(t), string(boatA(t)))
	for i := range min(len(bare.Steps), len(full.Steps)) {
		b, f := bare.Steps[i], full.Steps[i]
		if b.SpeedKn != f.SpeedKn || *b.FuelLPH != *f.FuelLPH || *b.EconomyNMPerL != *f.EconomyNMPerL {
			t.Errorf("step %d: %+v without configuration, %+v with", i+1, b, f)
		}
	}
	if len(bare.Steps) != len(full.Steps) || len(bare.Runs) != len(full.Runs) {
		t.Errorf("%d steps in %d runs without configuration, %d in %d with", len(bare.Steps), len(bare.Runs), len(full.Steps), len(full.Runs))
	}
}

func TestWithoutATank(t *testing.T) {
	t.Parallel()
	config := strings.Replace(string(boatA(t)), "  tank_l: 1500\n", "", 1)
	r := replayOf(t, short(t), config)
	checkResults(t, r.dir)
	r.wantMissing(t, "range", "fuel.tank_l is not configured")
	for _, s := range r.Steps {
		if s.RangeNM != nil {
			t.Errorf("step %d has a range of %g nm", s.ID, s.RangeNM.Mean)
		}
	}
}

func TestWithoutFuelRate(t *testing.T) {
	t.Parallel()
	whole := replayOf(t, short(t), string(boatA(t)))
	r := replayOf(t, short(t).without(engineDynamic), string(boatA(t)))
	checkResults(t, r.dir)
	for _, figure := range []string{"fuel burn", "economy", "range", "cruise at load"} {
		r.wantMissing(t, figure, "127489")
	}
	if len(r.Steps) != len(whole.Steps) {
		t.Fatalf("%d steps, %d with fuel", len(r.Steps), len(whole.Steps))
	}
	for i, s := range r.Steps {
		if s.FuelLPH != nil || s.EconomyNMPerL != nil || s.RangeNM != nil {
			t.Errorf("step %d has figures of fuel: %+v", s.ID, s)
		}
		if d := s.SpeedKn.Mean / whole.Steps[i].SpeedKn.Mean; math.Abs(d-1) > 0.003 {
			t.Errorf("step %d: speed changes by factor %g without fuel", s.ID, d)
		}
	}
	if r.Best.BestEconomyStep != nil || r.Best.TopSpeedStep == nil {
		t.Errorf("best: %+v", r.Best)
	}
}

// One engine that gives no fuel rate leaves the total unknown: the sum of the
// others would be a wrong figure.
func TestFuelOfOneEngineMissing(t *testing.T) {
	t.Parallel()
	r := replayOf(t, short(t).edit(func(_ *frame.Frame, h pgn.Header) bool {
		return h.PGN != engineDynamic || h.Source != 17
	}), string(boatA(t)))
	checkResults(t, r.dir)
	for _, s := range r.Steps {
		if s.FuelLPH != nil {
			t.Errorf("step %d: total fuel %g L/h though the centre engine gives none", s.ID, s.FuelLPH.Mean)
		}
	}
	for _, w := range r.Windows {
		if _, ok := w.EngineFuelLPH["port"]; w.Accepted && !ok {
			t.Errorf("window %d lacks the port engine's fuel", w.ID)
		}
	}
	for _, figure := range []string{"fuel burn", "economy", "range"} {
		r.wantMissing(t, figure, "no fuel rate of centre")
	}
}

func TestWithoutHeading(t *testing.T) {
	t.Parallel()
	whole := replayOf(t, short(t), string(boatA(t)))
	r := replayOf(t, short(t).without(heading), string(boatA(t)))
	checkResults(t, r.dir)
	r.wantMissing(t, "current from headings", "127250")
	if len(r.Steps) != len(whole.Steps) {
		t.Fatalf("%d steps, %d with heading", len(r.Steps), len(whole.Steps))
	}
	for i, s := range r.Steps {
		if !s.CurrentCorrected {
			t.Errorf("step %d: reciprocal courses do not correct for current", s.ID)
		}
		if d := s.SpeedKn.Mean / whole.Steps[i].SpeedKn.Mean; math.Abs(d-1) > 0.01 {
			t.Errorf("step %d: speed changes by factor %g without heading", s.ID, d)
		}
	}
	for _, w := range r.Windows {
		if w.HeadingDeg != nil || w.COGDeg == nil {
			t.Errorf("window %d: heading %v, course %v", w.ID, w.HeadingDeg, w.COGDeg)
		}
	}
}

func TestWithoutSatellites(t *testing.T) {
	t.Parallel()
	r := replayOf(t, short(t).edit(func(_ *frame.Frame, h pgn.Header) bool {
		return h.Source != 32 && h.PGN != 126992
	}), string(boatA(t)))
	checkResults(t, r.dir)
	r.wantMissing(t, "speed", "129026")
	if r.Clock.Known || r.Clock.OffsetS != 0 {
		t.Errorf("clock: %+v", r.Clock)
	}
	if !slices.ContainsFunc(r.Findings, func(f results.Finding) bool { return strings.Contains(f.What, "no satellite time") && f.Remedy != "" }) {
		t.Errorf("no finding on the time: %+v", r.Findings)
	}
	if len(r.Steps) != 0 || len(r.Runs) == 0 {
		t.Errorf("%d steps, %d runs", len(r.Steps), len(r.Runs))
	}
}

// Course and speed come in one message, but a receiver can know only the speed.
func TestSpeedWithoutCourse(t *testing.T) {
	t.Parallel()
	m := pgn.Lookup(courseSpeed)
	for _, without := range [][]uint32{{}, {heading}} {
		r := replayOf(t, short(t).without(without...).edit(func(f *frame.Frame, h pgn.Header) bool {
			if h.PGN == courseSpeed {
				m.Field("course").Put(f.Data[:], pgn.Value{State: pgn.NotAvailable})
			}
			return true
		}), string(boatA(t)))
		checkResults(t, r.dir)
		for _, s := range r.Steps {
			if s.CurrentCorrected {
				t.Errorf("step %d is corrected for current with no course over ground", s.ID)
			}
		}
	}
}

// Centre engine away, starboard one set up as a second instance 0.
func TestTwoEnginesShareAnInstance(t *testing.T) {
	t.Parallel()
	twins := func(starboard uint8) recording {
		return short(t).edit(func(f *frame.Frame, h pgn.Header) bool {
			switch h.PGN {
			case engineRapid, 127493:
				if h.Source == 18 {
					f.Data[0] = starboard
				}
			case engineDynamic, 127497: // the first byte behind the fast packet's two
				if h.Source == 18 && f.Data[0]&31 == 0 {
					f.Data[2] = starboard
				}
			}
			return h.Source != 17
		})
	}
	right := replayOf(t, twins(1), "")
	shared := replayOf(t, twins(0), "")
	for _, r := range []replayed{right, shared} {
		checkResults(t, r.dir)
		if len(r.Steps) != 3 || len(r.Vessel.Engines) != 2 {
			t.Fatalf("%d steps, engines %+v", len(r.Steps), r.Vessel.Engines)
		}
	}
	for i, s := range shared.Steps {
		if want := right.Steps[i]; math.Abs(s.FuelLPH.Mean/want.FuelLPH.Mean-1) > 0.002 || math.Abs(s.RPM/want.RPM-1) > 0.001 || len(s.Engines) != 2 {
			t.Errorf("step %d: %g L/h at %g rpm of %v, with instances set right %g at %g", s.ID, s.FuelLPH.Mean, s.RPM, s.Engines, want.FuelLPH.Mean, want.RPM)
		}
	}
	i := slices.IndexFunc(shared.Findings, func(f results.Finding) bool { return strings.Contains(f.What, "two engines send instance 0") })
	if i < 0 || !strings.Contains(shared.Findings[i].Remedy, "engines[].source") {
		t.Errorf("findings: %+v", shared.Findings)
	}
	if !strings.Contains(shared.stdout, "two engines send instance 0") {
		t.Errorf("the terminal does not say so:\n%s", shared.stdout)
	}
	if len(right.Findings) != 0 {
		t.Errorf("findings though all is right: %+v", right.Findings)
	}
}

// A capture of frames that mean nothing to us is a capture all the same.
func TestOnlyUnknownFrames(t *testing.T) {
	t.Parallel()
	lines := strings.Repeat("(1938067200.000000) can0 123#0102\n(1938067200.100000) can0 18FF1401#0102030405060708\n", 50)
	r := replayFile(t, "", writeText(t, "strange.log", lines))
	checkResults(t, r.dir)
	if r.Quality.Frames != 100 || r.Quality.UnknownPGNFrames != 50 || r.Quality.Messages != 0 {
		t.Errorf("quality: %+v", r.Quality)
	}
	for _, figure := range []string{"speed", "rpm steps", "fuel burn", "range", "cruise at load"} {
		if r.missingWhy(figure) == "" {
			t.Errorf("nothing says why there is no %s", figure)
		}
	}
}

// wantError asks for one clear line with all the parts, and no output.
func wantError(t *testing.T, args []string, parts ...string) {
	t.Helper()
	stdout, _, err := logd(args...)
	if err == nil {
		t.Errorf("logd %s: no error", strings.Join(args, " "))
		return
	}
	for _, p := range parts {
		if !strings.Contains(err.Error(), p) {
			t.Errorf("logd %s: no %q in: %v", strings.Join(args, " "), p, err)
		}
	}
	if strings.Contains(err.Error(), "\n") || len(err.Error()) > 500 {
		t.Errorf("logd %s: not one clear line: %v", strings.Join(args, " "), err)
	}
	if stdout != "" {
		t.Errorf("logd %s: prints %q before it fails", strings.Join(args, " "), stdout)
	}
}

func TestUnreadableCaptures(t *testing.T) {
	t.Parallel()
	out := filepath.Join(t.TempDir(), "out")
	garbage := writeText(t, "garbage.log", strings.Repeat("all work and no play\n", 40))
	wantError(t, []string{"replay", "--out", out, garbage}, garbage, "no valid CAN frame", "40 lines", "check that")
	empty := writeText(t, "empty.log", "")
	wantError(t, []string{"replay", "--out", out, empty}, empty, "check that")
	wantError(t, []string{"replay", "--out", out, filepath.Join(out, "none.log")}, "none.log", "check the name")
	wantError(t, []string{"replay", "--out", out, t.TempDir()}, "journal")
	wantError(t, []string{"export", "--out", filepath.Join(t.TempDir(), "x.csv"), "--format", "csv", garbage}, garbage)
	wantError(t, []string{"import", "--journal", filepath.Join(t.TempDir(), "j"), garbage}, garbage)
	if _, err := os.Stat(out); err == nil {
		t.Error("a failed replay leaves an output directory behind")
	}
	// One that is good does not hide one that is not.
	good := short(t).write(t)
	wantError(t, []string{"replay", "--out", out, good, garbage}, garbage)
}

func TestMalformedLinesAreCountedAndNamed(t *testing.T) {
	t.Parallel()
	lines := strings.Split(strings.TrimRight(string(read(t, short(t).write(t))), "\n"), "\n")
	clean := replayFile(t, "", writeText(t, "clean.log", strings.Join(lines, "\n")+"\n"))
	bad := map[int]string{
		100:  "(1938067200.000000) can0 09F8020A#0",
		2000: "no time at all",
		3333: "(1938067200.000000) can0 09F8020A##1AABBCC",
	}
	var mixed []string
	for _, l := range lines {
		for b := bad[len(mixed)+1]; b != ""; b = bad[len(mixed)+1] {
			mixed = append(mixed, b)
		}
		mixed = append(mixed, l)
	}
	name := writeText(t, "mixed.log", strings.Join(mixed, "\n")+"\n")
	r := replayFile(t, "", name)
	if r.Quality.BadLines != 3 {
		t.Errorf("quality.bad_lines is %d", r.Quality.BadLines)
	}
	for n := range bad {
		if want := fmt.Sprintf("%s: line %d: ", name, n); !strings.Contains(r.stderr, want) {
			t.Errorf("no %q in the report:\n%s", want, r.stderr)
		}
	}
	if strings.Count(r.stderr, "\n") != 3 {
		t.Errorf("the report:\n%s", r.stderr)
	}
	// What was skipped costs nothing else.
	r.Quality.BadLines = 0
	for i := range r.Steps {
		if r.Steps[i].SpeedKn != clean.Steps[i].SpeedKn {
			t.Errorf("step %d changed", i+1)
		}
	}
	if r.Quality.Frames != clean.Quality.Frames {
		t.Errorf("%d frames, %d without the bad lines", r.Quality.Frames, clean.Quality.Frames)
	}
}

func TestManyMalformedLinesAreNotAllPrinted(t *testing.T) {
	t.Parallel()
	text := string(read(t, short(t).write(t))) + strings.Repeat("rubbish\n", 500)
	r := replayFile(t, "", writeText(t, "mixed.log", text))
	if n := strings.Count(r.stderr, "\n"); n > 30 || !strings.Contains(r.stderr, "and 480 more") || r.Quality.BadLines != 500 {
		t.Errorf("%d bad lines, %d lines of report:\n%s", r.Quality.BadLines, n, r.stderr)
	}
}

func TestWrongUse(t *testing.T) {
	t.Parallel()
	log := short(t).write(t)
	file := writeText(t, "file", "")
	tmp := t.TempDir()
	wantError(t, []string{"replay"}, "at least 1 arg")
	wantError(t, []string{"replay", "--colour", "red", log}, "--colour")
	wantError(t, []string{"sail"}, `"sail"`)
	wantError(t, []string{"replay", "--config", filepath.Join(tmp, "none.yaml"), log}, "none.yaml")
	wantError(t, []string{"replay", "--out", filepath.Join(file, "out"), log}, "output directory", file)
	wantError(t, []string{"demo", "--boat", "quad", "--out", tmp}, "quad", "single", "triple")
	wantError(t, []string{"export", "--format", "xls", "--out", filepath.Join(tmp, "x"), log}, `"xls"`, "canlog, pcapng, csv, parquet")
	wantError(t, []string{"export", log}, `"out"`)
	wantError(t, []string{"export", "--out", filepath.Join(file, "x"), log}, file)
	wantError(t, []string{"import", log}, `"journal"`)
	wantError(t, []string{"import", "--journal", file, log}, file)
	wantError(t, []string{"simulate", "--scenario", "none", "--out", filepath.Join(tmp, "x.log"), "--truth", filepath.Join(tmp, "x.json")}, "none", "demo-triple")
	wantError(t, []string{"simulate", "--out", filepath.Join(file, "x.log"), "--truth", filepath.Join(tmp, "x.json")}, file)
}

func TestFaultsOfTheConfiguration(t *testing.T) {
	t.Parallel()
	log := short(t).write(t)
	for _, c := range []struct {
		text   string
		faults []string // what each line has
	}{
		{"vessel: {length: 13}", []string{"boat.yaml:1: vessel.length: unknown key, did you mean length_m?"}},
		{"vessel: {7: 1}", []string{"vessel.7: unknown key"}},
		{"vessel:\n  length_m: thirteen", []string{`boat.yaml:2: vessel.length_m: "thirteen": wrong type; allowed: a number`}},
		{"fuel: {reserve_pct: 100}", []string{"fuel.reserve_pct: 100: out of range; allowed: 0 to 90"}},
		{"fuel: {tank_l: -5}\nsteady: {min_s: 1}\nengines: [{rated_rpm: 0}]",
			[]string{"boat.yaml:1: fuel.tank_l: -5", "boat.yaml:2: steady.min_s: 1", "boat.yaml:3: engines[0].rated_rpm: 0"}},
		{"fuel: [", []string{"boat.yaml"}},
	} {
		name := writeText(t, "boat.yaml", c.text)
		out := filepath.Join(t.TempDir(), "out")
		for _, args := range [][]string{
			{"replay", "--config", name, "--out", out, log},
			{"export", "--config", name, "--format", "csv", "--out", out, log},
		} {
			stdout, _, err := logd(args...)
			if err == nil {
				t.Errorf("accepted: %s", c.text)
				continue
			}
			lines := strings.Split(err.Error(), "\n")
			if len(lines) != len(c.faults) || stdout != "" {
				t.Errorf("%s: %d lines, want %d:\n%v\n%s", c.text, len(lines), len(c.faults), err, stdout)
			}
			for i := range min(len(lines), len(c.faults)) {
				if !strings.HasPrefix(lines[i], name) || !strings.Contains(lines[i], c.faults[i]) {
					t.Errorf("%s: no %q in %q", c.text, c.faults[i], lines[i])
				}
			}
			if _, err := os.Stat(out); err == nil {
				t.Error("output is made in spite of a faulty configuration")
			}
		}
	}
}
