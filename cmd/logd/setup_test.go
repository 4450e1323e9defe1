package main

import (
	"bufio"
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"trialday.example/logd/configs"
)

// proposed runs setup on a recording and returns the file, read back by the
// configuration's own checks, with its text and what was printed.
func proposed(t *testing.T, r recording, args ...string) (c configs.Config, text, said string) {
	t.Helper()
	out := filepath.Join(t.TempDir(), "boat.yaml")
	said, _ = must(t, append([]string{"setup", "--out", out, r.write(t)}, args...)...)
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if c, err = configs.ReadFile(out); err != nil {
		t.Fatalf("%v\n%s", err, b)
	}
	return c, string(b), said
}

func TestSetupWritesWhatItHeard(t *testing.T) {
	t.Parallel()
	c, text, said := proposed(t, short(t), "--journal", "/var/lib/trialday")
	if len(c.Engines) != 3 || c.Engines[0].Name != "port" || *c.Engines[2].Instance != 2 {
		t.Errorf("engines %+v", c.Engines)
	}
	if c.Fuel.TankL == nil || *c.Fuel.TankL != 1500 {
		t.Errorf("tank %v", c.Fuel.TankL)
	}
	if c.Vessel.LengthM != nil || c.Vessel.DryMassKg != nil || c.Load.FuelL != nil {
		t.Error("something was guessed")
	}
	for _, want := range []string{"  # length_m: ", "  # dry_mass_kg: ", "  # fuel_l: ", "# rated_power_kw:", "Satellite receiver (invented)"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	s := &c.Sources
	for key, list := range map[string][]string{"position": s.Position, "motion": s.Motion, "heading": s.Heading, "attitude": s.Attitude,
		"rate_of_turn": s.RateOfTurn, "water_speed": s.WaterSpeed, "depth": s.Depth, "wind": s.Wind} {
		if len(list) != 1 || len(list[0]) != 16 {
			t.Errorf("%s: %q", key, list)
		}
	}
	if c.Journal.Dir != "/var/lib/trialday" || c.Bus.Interfaces[0] != "can0" {
		t.Errorf("%+v %+v", c.Journal, c.Bus)
	}
	if !strings.Contains(said, "starboard: instance 2") || !strings.Contains(said, "logd check --config") {
		t.Errorf("%s", said)
	}
	// What is left is that of a configuration without the file.
	d := configs.Default()
	if c.Steady != d.Steady || c.Corrections != d.Corrections || c.Page.Listen != d.Page.Listen || c.Influx.URL != "" {
		t.Errorf("not the defaults: %+v %+v %+v", c.Steady, c.Corrections, c.Page)
	}
}

func TestSetupKeepsAFileThatIsThere(t *testing.T) {
	t.Parallel()
	out := filepath.Join(t.TempDir(), "boat.yaml")
	if err := os.WriteFile(out, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	path := short(t).write(t)
	if _, _, err := logd("setup", "--out", out, path); err == nil || !strings.Contains(err.Error(), "--force") {
		t.Errorf("%v", err)
	}
	if b, _ := os.ReadFile(out); string(b) != "mine" {
		t.Error("the file was touched")
	}
	must(t, "setup", "--out", out, "--force", path)
	if _, err := configs.ReadFile(out); err != nil {
		t.Error(err)
	}
}

// Wrong answers are refused with the reason and asked for again; empty ones leave
// a key open.
func TestSetupAsks(t *testing.T) {
	t.Parallel()
	p := &proposal{Tank: "1500", Interfaces: []string{"can0"}, Journal: "journal"}
	var said bytes.Buffer
	s := setup{in: bufio.NewReader(strings.NewReader("twelve\n1200\n12.5\n\n"))}
	if err := s.ask(p, &said); err != nil { // and the end of input at the last
		t.Fatal(err)
	}
	if p.Length != "12.5" || p.Tank != "1500" || p.DryMass != "" {
		t.Errorf("%+v", p)
	}
	for _, want := range []string{"not a number", "2 to 100", "[heard: 1500]"} {
		if !strings.Contains(said.String(), want) {
			t.Errorf("no %q in %s", want, said.String())
		}
	}
	c, err := configs.Parse(bytes.NewReader(p.yaml()), "boat.yaml")
	if err != nil || *c.Vessel.LengthM != 12.5 || *c.Fuel.TankL != 1500 {
		t.Errorf("%v %+v", err, c.Vessel)
	}
}

// Two engines with one instance are told apart by their devices, after which
// check has nothing to say.
func TestSetupTellsTwinsApart(t *testing.T) {
	t.Parallel()
	r := simulatedRecording(t, "../../testdata/installation/engine_instance_shared.yaml")
	c, text, _ := proposed(t, r)
	if len(c.Engines) != 3 || c.Engines[0].Source == "" || c.Engines[1].Source == "" || c.Engines[0].Source == c.Engines[1].Source {
		t.Fatalf("engines %+v", c.Engines)
	}
	wantLine(t, answers(t, r, text), "FINDINGS", "none")
}

// Engines on a bus of their own are named by their addresses there, as they were
// found, and check then takes them from the file.
func TestSetupNamesEnginesOnTheirOwnBus(t *testing.T) {
	t.Parallel()
	r := simulatedRecording(t, "../../testdata/completeness/engine_bus_odd.yaml")
	c, text, said := proposed(t, r)
	if len(c.Engines) != 3 {
		t.Fatalf("engines %+v", c.Engines)
	}
	for i, want := range []int{17, 0, 5} {
		if e := c.Engines[i]; e.Bus != "can1" || e.Address == nil || *e.Address != want {
			t.Errorf("engine %d: %+v, want address %d", i, e, want)
		}
	}
	if !strings.Contains(said, "rpm agrees") {
		t.Errorf("%s", said)
	}
	wantLine(t, answers(t, r, text), "FINDINGS", "none")
	r.buses[1] = "an odd name/for an interface"
	if c, text, _ := proposed(t, r); c.Engines[0].Bus != "" {
		t.Errorf("%s", text)
	}
}

// Whatever is heard, the file passes the checks.
func TestSetupOfAnyBoat(t *testing.T) {
	t.Parallel()
	for name, engines := range map[string]int{"completeness/eight": 8, "completeness/bare": 3, "completeness/single": 1} {
		r := simulatedRecording(t, "../../testdata/"+name+".yaml")
		c, text, _ := proposed(t, r)
		if len(c.Engines) != engines {
			t.Errorf("%s: %d engines\n%s", name, len(c.Engines), text)
		}
	}
	c, _, said := proposed(t, short(t).without(127488, 127489, 127493, 127497, 127505))
	if len(c.Engines) != 0 || !strings.Contains(said, "start the engines") {
		t.Errorf("%+v\n%s", c.Engines, said)
	}
	odd := short(t)
	odd.buses = []string{"an odd name/for an interface"}
	if c, text, _ := proposed(t, odd); len(c.Bus.Interfaces) != 1 {
		t.Errorf("%s", text)
	}
}

func TestSetupRefusesWhatItCannotRead(t *testing.T) {
	t.Parallel()
	out := filepath.Join(t.TempDir(), "boat.yaml")
	for _, args := range [][]string{
		{"setup", "--out", out, filepath.Join(t.TempDir(), "none.log")},
		{"setup", "--out", out, "--seconds", "0"},
		{"setup", "--out", filepath.Join(out, "no", "such"), short(t).write(t)},
	} {
		if _, _, err := logd(args...); err == nil {
			t.Errorf("%v: no error", args)
		}
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a file was written")
	}
}
