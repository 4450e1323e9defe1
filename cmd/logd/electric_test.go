package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// An electric boat's file is proposed as it was heard: batteries that drive it by
// their voltage, and no fuel. With it check promises energy per mile, and the
// replay gives it.
func TestSetupAndCheckOfAnElectricBoat(t *testing.T) {
	t.Parallel()
	r := simulatedRecording(t, "../../testdata/completeness/electric.yaml")
	c, text, said := proposed(t, r)
	if !slices.Equal(c.Battery.Instances, []int{1, 2}) || c.Battery.UsableKWh != nil || c.Fuel.Kind != "none" || c.Fuel.TankL != nil {
		t.Fatalf("%+v %+v\n%s", c.Battery, c.Fuel, text)
	}
	if !strings.Contains(said, "battery 0, 14.1 V: taken for one of lights") || !strings.Contains(said, "taken for one that drives the boat") {
		t.Errorf("%s", said)
	}
	told := answers(t, r, text)
	wantLine(t, told, "yes", "energy per mile")
	wantLine(t, told, "no", "range on batteries", "battery.usable_kwh not configured")
	if says(told, "fuel burn") || says(told, "no fuel rate") {
		t.Errorf("a boat without fuel is told of it:\n%s", told)
	}
	text = strings.Replace(text, "  # usable_kwh:  ", "  usable_kwh: 118 #", 1)
	wantLine(t, answers(t, r, text), "yes", "range on batteries")

	dir := t.TempDir()
	boat := filepath.Join(dir, "boat.yaml")
	if err := os.WriteFile(boat, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	table, _ := must(t, "replay", "--config", boat, "--out", dir, r.write(t))
	for _, want := range []string{"Wh/nm", "kW", "least energy"} {
		if !strings.Contains(table, want) {
			t.Errorf("no %q in\n%s", want, table)
		}
	}
	checkResults(t, dir)
	var doc any
	if err := json.Unmarshal(read(t, filepath.Join(dir, "results.json")), &doc); err != nil {
		t.Fatal(err)
	}
	for _, line := range publishedElectric {
		path, typ, _ := strings.Cut(line, " ")
		checkKeys(t, doc, "", path, typ)
	}
}

// publishedElectric are the keys of results.json that there are only where
// batteries drive the boat.
var publishedElectric = []string{
	"electric.drive string", "electric.usable_kwh number?", "electric.reserve_pct number", "electric.range_kwh number?", "electric.used_kwh number?",
	"electric.charged_kwh number?", "electric.counted_pct number?", "electric.wh_per_nm number?", "electric.distance_nm number?",
	"electric.steadiness_judged_by string",
	"electric.batteries[].instance int", "electric.batteries[].voltage_v number?", "electric.batteries[].charge_start_pct number?",
	"electric.batteries[].charge_end_pct number?", "electric.batteries[].capacity_by_charge_kwh interval?",
	"electric.steps[].step int", "electric.steps[].source string", "electric.steps[].power_kw interval?", "electric.steps[].wh_per_nm interval?",
	"electric.steps[].nm_per_kwh interval?", "electric.steps[].range_nm interval?", "electric.steps[].fuel_l_per_nm interval?",
	"electric.best.best_energy_step int?", "electric.best.best_planing_energy_step int?", "electric.best.level_energy_steps ints",
	"electric.best.top_speed_step int?", "electric.best.planing_optimum.speed_kn interval?", "electric.best.displacement_optimum.why string",
	"windows[].power_kw interval",
}

// A battery without a current sensor, and one that is not there, are told.
func TestCheckOfABatteryWithoutCurrent(t *testing.T) {
	t.Parallel()
	r := simulatedRecording(t, "../../testdata/completeness/electric_no_current.yaml")
	wantLine(t, answers(t, r, "fuel: {kind: none}\nbattery: {instances: [1, 2], usable_kwh: 118}"), "no", "energy per mile", "the current of batteries 1 and 2 is sent as not available")
	wantLine(t, answers(t, r, "fuel: {kind: none}"), "no", "energy per mile", "battery.instances not configured")
	wantLine(t, answers(t, r, "fuel: {kind: none}\nbattery: {instances: [9]}"), "no", "range on batteries", "no voltage of battery 9 was heard", "battery.usable_kwh not configured")
}

// A voltage that the one message sent cannot hold is out of range, which is neither
// silence nor "not available", and the battery is one that drives the boat.
func TestCheckAndSetupOfABatteryOutOfRange(t *testing.T) {
	t.Parallel()
	r := simulatedRecording(t, "../../testdata/completeness/electric_out_of_range.yaml")
	c, text, said := proposed(t, r)
	if !slices.Equal(c.Battery.Instances, []int{1, 2}) || c.Fuel.Kind != "none" {
		t.Errorf("%+v %+v\n%s", c.Battery, c.Fuel, text)
	}
	if !strings.Contains(said, "battery 1, voltage out of range of PGN 127508: taken for one that drives the boat") {
		t.Errorf("%s", said)
	}
	told := answers(t, r, text)
	wantLine(t, told, "no", "energy per mile", "the voltage of batteries 1 and 2 is sent as out of range: PGN 127508 ends at 327 V", "PGN 127751 gives it")
	for _, wrong := range []string{"no voltage", "not available"} {
		if says(told, wrong) {
			t.Errorf("check says %q:\n%s", wrong, told)
		}
	}
}

func TestSetupAsksForTheBatterysEnergy(t *testing.T) {
	t.Parallel()
	p := &proposal{Drive: []proposedBattery{{1, 380}}, NoFuel: true, Interfaces: []string{"can0"}, Journal: "journal"}
	var said bytes.Buffer
	s := setup{in: bufio.NewReader(strings.NewReader("\n-3\n118\n2100\n"))}
	if err := s.ask(p, &said); err != nil {
		t.Fatal(err)
	}
	if p.Usable != "118" || p.DryMass != "2100" || p.Tank != "" || strings.Contains(said.String(), "all tanks") || !strings.Contains(said.String(), "0.1 to 100000") {
		t.Errorf("%+v\n%s", p, said.String())
	}
}
