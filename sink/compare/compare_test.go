package compare

import (
	"bytes"
	"encoding/csv"
	"io"
	"math"
	"strings"
	"testing"

	"trialday.example/logd/sink/results"
)

func ptr[T any](v T) *T { return &v }

func around(v, half float64) results.Interval {
	return results.Interval{Mean: v, Lo95: v - half, Hi95: v + half}
}

// day has steps at the given rpm, with speed rpm/100*gain kn.
func day(name string, gain float64, rpms ...float64) *results.Results {
	r := &results.Results{Schema: results.Schema, Vessel: results.Vessel{Name: name, Engines: make([]results.Engine, 2)}}
	for i, n := range rpms {
		v := n / 100 * gain
		fuel := around(n*n*n*4e-9, 0.5)
		economy := around(v/fuel.Mean, 0.002)
		r.Steps = append(r.Steps, results.Step{ID: i + 1, RPM: n, SpeedKn: around(v, 0.1), FuelLPH: &fuel, EconomyNMPerL: &economy,
			Engines: []string{"port", "starboard"}, CurrentCorrected: true, MassKg: ptr(9000.0), CurrentKn: ptr(0.5)})
	}
	r.Windows = []results.Window{{Accepted: true, WindKn: ptr(8.0)}}
	return r
}

func sides(a, b *results.Results) *Comparison { return Of(Side{"first", a}, Side{"second", b}) }

// A clear gain at all steps is told, none is where there is none, and rpm that
// differ a little are no gain.
func TestGainIsToldAndNothingElse(t *testing.T) {
	a := day("A", 1, 1000, 1600, 2200, 2800)
	c := sides(a, day("A", 1.05, 1005, 1590, 2210, 2790, 3100))
	if len(c.Rows) != 4 || len(c.OnlyA) != 0 || len(c.OnlyB) != 1 || c.OnlyB[0] != 3100 {
		t.Fatalf("%+v", c)
	}
	for _, r := range c.Rows {
		if !r.Speed.Diff.Significant() || math.Abs(r.Speed.Percent()-5) > 0.1 {
			t.Errorf("%.0f rpm: %+v, want 5 %%", r.RPMA, r.Speed.Diff)
		}
		if r.Fuel.Diff.Significant() {
			t.Errorf("%.0f rpm: burn differs: %+v", r.RPMA, r.Fuel.Diff)
		}
	}
	for _, r := range sides(a, day("A", 1, 1015, 1580, 2230, 2770)).Rows {
		if r.Speed.Diff.Significant() || math.Abs(r.Speed.Percent()) > 0.2 {
			t.Errorf("%.0f and %.0f rpm are told apart: %+v", r.RPMA, r.RPMB, r.Speed.Diff)
		}
	}
}

func TestEnginesMustBeEqual(t *testing.T) {
	a, b := day("A", 1, 1000, 2000), day("A", 1, 1000, 2000)
	b.Steps[1].Engines = []string{"port"}
	if c := sides(a, b); len(c.Rows) != 1 || len(c.OnlyA) != 1 || len(c.OnlyB) != 1 {
		t.Errorf("%+v", c)
	}
}

func TestConditionsAreTold(t *testing.T) {
	a, b := day("A", 1, 1000, 2000), day("B", 1, 1000, 2000)
	for i := range b.Steps {
		b.Steps[i].MassKg, b.Steps[i].CurrentKn = ptr(9450.0), ptr(1.6)
	}
	b.Steps[0].CurrentCorrected = false
	b.Windows[0].WindKn = ptr(17.0)
	b.Vessel.Engines = make([]results.Engine, 1)
	b.FuelCheck.TopUp = &results.FuelScale{Differs: true}
	c := sides(a, b)
	all := strings.Join(c.Conditions, "\n")
	for _, want := range []string{`"A" and "B"`, "2 engines in A, 1 in B", "9000 kg in A, 9450 kg in B (+5.0 %)", "-2.5 % of speed",
		"8 kn in A, 17 kn in B", "0.5 kn in A, 1.6 kn in B", "fuel meters of B"} {
		if !strings.Contains(all, want) {
			t.Errorf("no %q in\n%s", want, all)
		}
	}
	if len(c.Rows[0].Notes) != 1 || !strings.Contains(c.Rows[0].Notes[0], "B in one direction") {
		t.Errorf("notes %q", c.Rows[0].Notes)
	}
	if same := sides(a, a).Conditions; len(same) != 0 {
		t.Errorf("a day differs from itself: %q", same)
	}
	a.Steps[0].MassKg, a.Steps[1].MassKg, a.Windows = nil, nil, nil
	if all := strings.Join(sides(a, b).Conditions, "\n"); !strings.Contains(all, "mass is not known") || !strings.Contains(all, "wind was not heard") {
		t.Errorf("what is not known is not told: %s", all)
	}
}

func TestForms(t *testing.T) {
	a, b := day("<A>", 1, 1000, 1600, 2200), day("<A>", 1.05, 1000, 1600)
	b.Steps[1].FuelLPH, b.Steps[1].EconomyNMPerL = nil, nil
	c := sides(a, b)
	var text, html, again, table bytes.Buffer
	for _, err := range []error{c.WriteText(&text), c.WriteHTML(&html), c.WriteHTML(&again), c.WriteCSV(&table)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{"+0.50 ±0.1", "*", "only A has steps at 2200 rpm", "Welch"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("no %q in\n%s", want, text.String())
		}
	}
	page := html.String()
	if !bytes.Equal(html.Bytes(), again.Bytes()) {
		t.Error("two writings differ")
	}
	for _, want := range []string{"&lt;A&gt;", "only A has steps", "differs", "Burn, L/h"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in the page", want)
		}
	}
	for _, bad := range []string{"NaN", "<script", "http://", "ZgotmplZ"} {
		if strings.Contains(strings.ReplaceAll(page, "http://www.w3.org/", ""), bad) {
			t.Errorf("%q in the page", bad)
		}
	}
	if n := strings.Count(page, "<svg"); n != 3 {
		t.Errorf("%d plots, want 3", n)
	}
	rows, err := csv.NewReader(&table).ReadAll()
	if err != nil || len(rows) != 3 || rows[1][4] != "10" || rows[1][5] != "10.5" || rows[2][10] != "64" && rows[2][11] != "" {
		t.Errorf("%v, %v", rows, err)
	}
}

// onBatteriesToo gives a day batteries: they alone drive at steps below 2000 rpm, with
// so many Wh/nm, and at all where there is no fuel.
func onBatteriesToo(r *results.Results, drive string, wh float64) *results.Results {
	e := &results.Electric{Drive: drive}
	for i := range r.Steps {
		s := &r.Steps[i]
		step := results.ElectricStep{Step: s.ID, Source: "battery"}
		switch {
		case drive == results.ElectricDrive:
			s.FuelLPH, s.EconomyNMPerL = nil, nil
		case s.RPM < 2000:
			none := around(0, 0.01)
			s.FuelLPH, s.EconomyNMPerL = &none, nil
		default:
			step.Source = "fuel"
		}
		power, energy, way := around(wh*s.SpeedKn.Mean/1000, 0.05), around(wh, 4), around(1000/wh, 0.01)
		step.PowerKW, step.WhPerNM = &power, &energy
		if step.Source == "battery" {
			step.NMPerKWh = &way
		}
		e.Steps = append(e.Steps, step)
	}
	r.Electric = e
	return r
}

// forms are the comparison as a table, a page and CSV.
func forms(t *testing.T, c *Comparison) (text, html, table string) {
	t.Helper()
	var out [3]bytes.Buffer
	for i, write := range []func(io.Writer) error{c.WriteText, c.WriteHTML, c.WriteCSV} {
		if err := write(&out[i]); err != nil {
			t.Fatal(err)
		}
	}
	return out[0].String(), out[1].String(), out[2].String()
}

// Two electric days are compared by their energy, and have no columns of fuel.
func TestElectricDays(t *testing.T) {
	c := sides(onBatteriesToo(day("E", 1, 1000, 1600, 2200), results.ElectricDrive, 1000), onBatteriesToo(day("E", 1, 1000, 1600, 2200), results.ElectricDrive, 1100))
	for _, r := range c.Rows {
		if !r.Energy.Diff.Significant() || math.Abs(r.Energy.Percent()-10) > 0.1 || r.Fuel.Known() || math.Abs(r.Power.Percent()-10) > 0.1 {
			t.Errorf("%.0f rpm: energy %+v, power %+v", r.RPMA, r.Energy, r.Power)
		}
	}
	text, html, table := forms(t, c)
	for _, form := range []string{text, html, table} {
		if strings.Contains(form, "L/h") || strings.Contains(form, "nm/L") || strings.Contains(form, "fuel_l") {
			t.Errorf("fuel of a boat without it in\n%s", form)
		}
	}
	if !strings.Contains(text, "Wh/nm A") || !strings.Contains(text, "+10.0 ±") || !strings.Contains(html, "Energy per mile, Wh/nm, against speed") || strings.Count(html, "<svg") != 3 ||
		!strings.Contains(table, "battery_energy_wh_per_nm difference_lo95") {
		t.Errorf("%s\n%s", text, table)
	}
}

// A hybrid has both, at the steps that the one or the other drove; with a boat on
// fuel it is compared by what both have.
func TestHybridDays(t *testing.T) {
	hybrid := onBatteriesToo(day("H", 1, 1000, 1600, 2200, 2800), results.HybridDrive, 1000)
	for _, r := range sides(hybrid, hybrid).Rows {
		if r.Fuel.Known() == r.Energy.Known() || r.Energy.Known() != (r.RPMA < 2000) {
			t.Errorf("%.0f rpm: burn %+v, energy %+v", r.RPMA, r.Fuel, r.Energy)
		}
	}
	c := sides(day("H", 1, 1000, 1600, 2200, 2800), hybrid)
	for _, r := range c.Rows {
		if r.Energy.Known() || r.Fuel.Known() != (r.RPMA > 2000) || r.Fuel.Known() && r.Fuel.Diff.Significant() {
			t.Errorf("%.0f rpm: burn %+v, energy %+v", r.RPMA, r.Fuel, r.Energy)
		}
	}
	text, _, _ := forms(t, c)
	for _, want := range []string{"A driven by fuel, B by battery", "A is driven by fuel, B by fuel and batteries", "L/h A", "Wh/nm A"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}

func TestNothingInCommon(t *testing.T) {
	c := sides(day("A", 1, 1000), &results.Results{Schema: results.Schema})
	var text, html bytes.Buffer
	if err := c.WriteText(&text); err != nil || !strings.Contains(text.String(), "no step of A has its like") {
		t.Errorf("%v\n%s", err, text.String())
	}
	if err := c.WriteHTML(&html); err != nil {
		t.Error(err)
	}
}
