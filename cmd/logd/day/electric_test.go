//go:build !race

package day

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/sheet"
)

func electricDay(t *testing.T, name string) *simulate.Scenario {
	t.Helper()
	return scenario(t, filepath.Join(incomplete, name+".yaml"))
}

// electricScore adds up how steps that batteries drove compare with the truth.
type electricScore struct {
	steps, energy, ranged int // and how many of them have the truth in their interval
	bias, squares         float64
}

func (sc *electricScore) judge(r *results.Results, truth *simulate.Truth, usableWh float64) {
	for _, want := range truth.Steps {
		for i := range r.Steps {
			s := &r.Steps[i]
			e := r.Electric.Of(s.ID)
			if !s.CurrentCorrected || math.Abs(s.RPM/want.RPM-1) > 0.005 || e.NMPerKWh == nil {
				continue
			}
			whPerNM := 1000 * want.PowerKW / want.SpeedKn
			sc.steps++
			if e.WhPerNM.Lo95 <= whPerNM && whPerNM <= e.WhPerNM.Hi95 {
				sc.energy++
			}
			if nm := usableWh / whPerNM; e.RangeNM.Lo95 <= nm && nm <= e.RangeNM.Hi95 {
				sc.ranged++
			}
			off := e.WhPerNM.Mean/whPerNM - 1
			sc.bias += off
			sc.squares += off * off
		}
	}
}

// Energy per mile and range on batteries hold the simulator's truth in their
// intervals, and the day's energy is what the batteries gave, to what messages every
// 1.5 s miss of a power that jumps. The sea and the wind are another each day.
func TestAccuracyOfEnergyPerMile(t *testing.T) {
	t.Parallel()
	const days = 24
	var sc electricScore
	for _, name := range []string{"electric", "hybrid"} {
		s := electricDay(t, name)
		for seed := range uint64(days) {
			r, truth := simulated(t, s.Variant(seed), configured(s), seed)
			sc.judge(r, truth, 900*s.Electric.UsableKWh)
			if got := kinds(r); slices.Contains(got, "battery_sign") {
				t.Errorf("%s, day %d: findings %v", name, seed, got)
			}
			if e := r.Electric; e.UsedKWh == nil || math.Abs(*e.UsedKWh/truth.EnergyUsedKWh-1) > 0.01 {
				t.Errorf("%s, day %d: %v kWh used, want %.3f", name, seed, e.UsedKWh, truth.EnergyUsedKWh)
			}
		}
	}
	n := float64(sc.steps)
	t.Logf("energy per mile on %d days: truth in its interval %.1f %% of %d, in that of range %.1f %%, bias %+.3f %%, rms error %.2f %%",
		2*days, percent(sc.energy, sc.steps), sc.steps, percent(sc.ranged, sc.steps), 100*sc.bias/n, 100*math.Sqrt(sc.squares/n))
	for what, in := range map[string]int{"energy per mile": sc.energy, "range": sc.ranged} {
		if p := percent(in, sc.steps); p < 90 || p > 99 {
			t.Errorf("the 95 %% interval of %s holds the truth in %.1f %% of %d steps", what, p, sc.steps)
		}
	}
	if b := 100 * sc.bias / n; math.Abs(b) > 0.5 {
		t.Errorf("energy per mile is biased by %+.3f %%", b)
	}
}

// An electric boat finds its most economical speed without any fuel rate, and is
// told of none.
func TestElectricDay(t *testing.T) {
	t.Parallel()
	s := electricDay(t, "electric")
	d, truth := drive(t, s, configured(s), 1)
	r, line := d.Finish(0)
	e := r.Electric
	if e == nil || e.Drive != results.ElectricDrive || len(e.Batteries) != 2 || e.Batteries[0].Instance != 1 {
		t.Fatalf("%+v", e)
	}
	least := slices.MinFunc(truth.Steps, func(a, b simulate.Step) int {
		return int(math.Copysign(1, a.PowerKW/a.SpeedKn-b.PowerKW/b.SpeedKn))
	})
	if best := stepWith(r, e.Best.EnergyStep); best == nil || best.RPM > least.RPM*1.005 {
		t.Errorf("least energy at %+v, want %.0f rpm or slower", best, least.RPM)
	}
	if plane := stepWith(r, e.Best.PlaningStep); plane == nil || math.Abs(plane.RPM-2100) > 20 {
		t.Errorf("least energy on the plane at %+v", plane)
	}
	half := s.Electric.CapacityKWh / 2 // less what is lost inside it, which it never gives
	if c := e.Batteries[0].CapacityKWh; c == nil || c.Lo95 > half || c.Hi95 < 0.95*half {
		t.Errorf("a battery holds %+v kWh, want %.0f", c, half)
	}
	if r.DayBurn != nil || len(r.Findings) != 0 {
		t.Errorf("%+v %+v", r.DayBurn, r.Findings)
	}
	said, _, _ := strings.Cut(page(t, r, line), "How the figures were made")
	for _, never := range []string{"no fuel rate", "no fuel burn", "fuel.tank_l", "top_up", "0 L"} {
		if strings.Contains(said, never) {
			t.Errorf("the sheet of a boat without fuel says %q", never)
		}
	}
	for _, want := range []string{"Wh/nm", "none: driven by batteries", "Best range on the plane", "it needs no fuel meter"} {
		if !strings.Contains(said, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	checkPowerDrawn(t, r, line)
	var csv bytes.Buffer
	if err := sheet.WriteStepsCSV(&csv, r); err != nil || !strings.Contains(csv.String(), "battery_energy_wh_per_nm hi95") {
		t.Errorf("%v %s", err, csv.String())
	}
}

// checkPowerDrawn compares the power that is drawn with that of the windows, and
// finds no burn drawn.
func checkPowerDrawn(t *testing.T, r *results.Results, line *results.Timeline) {
	t.Helper()
	n := 0
	for _, w := range r.Windows {
		v := line.Zoom.View(stampUnix(t, w.Start)+0.5, stampUnix(t, w.End)-0.5, 10000)
		if _, burns := v.Channels["fuel_lph"]; burns {
			t.Fatal("burn is drawn of a boat without fuel")
		}
		if !w.Accepted || w.PowerKW == nil {
			continue
		}
		if got := mean(v.Channels["power_kw"].Mean); math.Abs(got/w.PowerKW.Mean-1) > 0.01 {
			t.Errorf("window %d: %g kW, %g kW in the timeline", w.ID, w.PowerKW.Mean, got)
		}
		n++
	}
	if n == 0 {
		t.Error("no window has a power")
	}
}

func stepWith(r *results.Results, id *int) *results.Step {
	for i := range r.Steps {
		if id != nil && r.Steps[i].ID == *id {
			return &r.Steps[i]
		}
	}
	return nil
}

// page is the sheet as text.
func page(t *testing.T, r *results.Results, line *results.Timeline) string {
	t.Helper()
	var b bytes.Buffer
	if err := sheet.WriteHTML(&b, r, line); err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(b.String(), "\u00a0", " ")
}

// A hybrid has a column for each, and no figure of both.
func TestHybridDay(t *testing.T) {
	t.Parallel()
	s := electricDay(t, "hybrid")
	r, truth := simulated(t, s, configured(s), 1)
	if r.Electric == nil || r.Electric.Drive != results.HybridDrive || r.Electric.WhPerNM != nil {
		t.Fatalf("%+v", r.Electric)
	}
	var sources []string
	for i := range r.Steps {
		step := &r.Steps[i]
		e := r.Electric.Of(step.ID)
		sources = append(sources, fmt.Sprintf("%.0f %s", step.RPM/100, e.Source))
		if fuel, battery := step.RangeNM != nil, e.RangeNM != nil; fuel != (e.Source == "fuel") || battery != (e.Source == "battery") {
			t.Errorf("%s: range on fuel %v, on batteries %v", e.Source, step.RangeNM, e.RangeNM)
		}
		for _, want := range truth.Steps {
			if math.Abs(step.RPM/want.RPM-1) < 0.005 && e.FuelLPerNM != nil {
				near(t, "fuel's part", e.FuelLPerNM.Mean, want.FuelLPH/want.SpeedKn, 0.01)
				near(t, "batteries' part", e.WhPerNM.Mean, 1000*want.PowerKW/want.SpeedKn, 0.01)
			}
		}
	}
	want := []string{"10 battery", "13 battery", "16 battery", "30 fuel, charging", "42 fuel", "48 fuel", "57 fuel and battery"}
	if !slices.Equal(sources, want) {
		t.Errorf("driven by %v, want %v", sources, want)
	}
	if c := r.Best.Cruise; c == nil || c.FuelLPH != nil || c.EconomyNMPerL != nil || c.RangeNM != nil {
		t.Errorf("a cruise between a step on fuel and one on both has %+v", c)
	}
	if best := stepWith(r, r.Best.BestEconomyStep); best == nil || r.Electric.Of(best.ID).Source != "fuel" {
		t.Errorf("best economy by fuel at %+v", best)
	}
}

// A current that reads the wrong way round is told in every sea, and no figure rests
// on it. That it is not told where it reads right is tested on the days of
// TestAccuracyOfEnergyPerMile.
func TestAccuracyOfTheBatterysSign(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"battery_sign", "hybrid_battery_sign"} {
		s := electricDay(t, name)
		for seed := range uint64(4) {
			r, _ := simulated(t, s.Variant(seed), configured(s), seed)
			if got := kinds(r); !slices.Contains(got, "battery_sign") {
				t.Errorf("%s, day %d: findings %v", name, seed, got)
			}
			for i := range r.Electric.Steps {
				if e := &r.Electric.Steps[i]; e.Source == "battery" || e.RangeNM != nil || e.NMPerKWh != nil {
					t.Errorf("%s, day %d: %+v", name, seed, e)
				}
			}
		}
	}
}

// What is configured wrongly of batteries is told: the sign of their current, and
// batteries that are not named.
func TestWrongBatteryConfiguration(t *testing.T) {
	t.Parallel()
	s := electricDay(t, "electric")
	cfg := configured(s)
	cfg.Battery.Discharge = "positive"
	r, _ := simulated(t, s, cfg, 1)
	if got := kinds(r); !slices.Equal(got, []string{"battery_sign"}) {
		t.Errorf("findings %v", got)
	}
	for i := range r.Electric.Steps {
		if e := &r.Electric.Steps[i]; e.RangeNM != nil || e.NMPerKWh != nil {
			t.Errorf("%+v", e)
		}
	}
	for what, c := range map[string]struct {
		change func(*configs.Config)
		why    string
	}{
		"nothing configured": {func(c *configs.Config) { *c = configs.Default() }, "battery.instances"},
		"no such battery":    {func(c *configs.Config) { c.Battery.Instances = []int{1, 7} }, "battery 7"},
		"one of two":         {func(c *configs.Config) { c.Battery.Instances, c.Battery.UsableKWh = []int{1}, nil }, "battery.usable_kwh is not configured"},
	} {
		cfg := configured(s)
		c.change(&cfg)
		r, _ := simulated(t, s, cfg, 1)
		if !slices.ContainsFunc(r.Missing, func(m results.MissingFigure) bool { return strings.Contains(m.Why, c.why) }) {
			t.Errorf("%s: %+v", what, r.Missing)
		}
	}
}

// Not heard, not available and out of range are told apart, with what would give the
// value.
func TestWhyThereIsNoPower(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		instances []int
		why       []string
	}{
		"electric":              {[]int{1, 2, 7}, []string{"no voltage of battery 7 was heard", "a battery monitor gives it"}},
		"electric_no_current":   {[]int{1, 2}, []string{"the current of batteries 1 and 2 is sent as not available", "current sensor"}},
		"electric_out_of_range": {[]int{1, 2}, []string{"the voltage of batteries 1 and 2 is sent as out of range", "ends at 327 V", "127751 gives it"}},
		"electric_400_volts":    {[]int{1}, []string{"the voltage of battery 1 is sent as out of range", "127751 gives it"}},
	} {
		s := electricDay(t, name)
		cfg := configured(s)
		cfg.Battery.Instances = c.instances
		d, _ := drive(t, s, cfg, 1)
		r, _ := d.Finish(0)
		i := slices.IndexFunc(r.Missing, func(m results.MissingFigure) bool { return m.Figure == "energy per mile" })
		lamps := d.Live().Lamps
		k := slices.IndexFunc(lamps, func(l results.Lamp) bool { return l.Name == "battery power" })
		if i < 0 || k < 0 {
			t.Fatalf("%s: %+v %+v", name, r.Missing, lamps)
		}
		for _, why := range c.why {
			if !strings.Contains(r.Missing[i].Why, why) || !strings.Contains(lamps[k].Text, why) {
				t.Errorf("%s: neither %q nor %q says %q", name, r.Missing[i].Why, lamps[k].Text, why)
			}
		}
	}
	s := electricDay(t, "electric_400_volts")
	r, _ := simulated(t, s, configs.Default(), 1)
	if !slices.ContainsFunc(r.Missing, func(m results.MissingFigure) bool {
		return strings.Contains(m.Why, "battery 1 with a voltage out of range") && strings.Contains(m.Why, "battery.instances")
	}) {
		t.Errorf("%+v", r.Missing)
	}
}

// A boat without batteries that drive it has nothing of all this.
func TestNoElectricFiguresWithoutBatteries(t *testing.T) {
	t.Parallel()
	s := electricDay(t, "single")
	r, _ := simulated(t, s, configured(s), 1)
	var text bytes.Buffer
	if err := r.WriteJSON(&text); err != nil || r.Electric != nil || strings.Contains(text.String(), `"electric"`) {
		t.Errorf("%v %+v", err, r.Electric)
	}
	for i := range r.Windows {
		if r.Windows[i].PowerKW != nil {
			t.Errorf("%+v", r.Windows[i])
		}
	}
}

// The answers of an amended electric day have those before beside them, and what is
// kept of the day gives them as its frames do.
func TestAmendedElectricDay(t *testing.T) {
	t.Parallel()
	s := electricDay(t, "electric")
	x, cfg := recorded(t, s), configured(s)
	r, _, err := Amended(t.Context(), x, cfg, "test")
	if err != nil || r.OriginalElectric != nil {
		t.Fatalf("%v %+v", err, r.OriginalElectric)
	}
	plane := stepWith(r, r.Electric.Best.PlaningStep)
	exclude(t, x, cfg, plane.Windows...)
	r, line, err := Amended(t.Context(), x, cfg, "test")
	if err != nil || r.OriginalElectric == nil {
		t.Fatalf("%v: nothing of before", err)
	}
	was, is := r.OriginalElectric.Of(*r.OriginalElectric.Best.PlaningStep), r.Electric.Of(*r.Electric.Best.PlaningStep)
	if len(r.OriginalElectric.Steps) != len(r.OriginalSteps) || len(r.Electric.Steps) != len(r.Steps) || was.WhPerNM.Mean >= is.WhPerNM.Mean {
		t.Errorf("before %+v, amended %+v", was, is)
	}
	if want := fmt.Sprintf("Without amendments: %.0f", was.WhPerNM.Mean); !strings.Contains(page(t, r, line), want) {
		t.Errorf("the sheet does not say %q", want)
	}
	if recalled(t, x, cfg) != replayed(t, x, cfg) {
		t.Error("what is kept does not give the results of a replay")
	}
}

// While the day goes on a boat with batteries shows their power, energy per mile and
// charge, and its steps so far are in the end those of the results; another boat has
// none of it.
func TestElectricDayWhileItGoesOn(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"electric", "hybrid", "single"} {
		s := electricDay(t, name)
		d := New(configured(s), "test", s.Buses)
		known, charges, burnt := 0, []float64{}, 0
		eachSecond(t, d, s.Start(1).Next, func() {
			l := d.Live()
			e := l.Now.Electric
			if e == nil || e.PowerKW == nil || e.ChargePct == nil {
				return
			}
			known++
			charges = append(charges, *e.ChargePct)
			if l.Now.FuelLPH != nil && *l.Now.FuelLPH > 0 {
				burnt++
			}
			if sog := l.Now.SOGKn; sog != nil && *sog > 2 && math.Abs(*e.WhPerNM - 1000**e.PowerKW / *sog) > 1e-6 {
				t.Errorf("%s: %g kW at %g kn are %g Wh/nm", name, *e.PowerKW, *sog, *e.WhPerNM)
			}
		})
		l := d.Live()
		d.Close()
		r, _ := d.Results(0)
		if name == "single" {
			if known > 0 || l.Drive != "" || l.Now.Electric != nil || len(l.Steps) == 0 || l.Steps[0].Electric != nil {
				t.Errorf("%+v", l)
			}
			continue
		}
		if seconds := int(d.decoder.Now() / 1e9); known < seconds*95/100 || l.Drive != name || charges[0] < charges[len(charges)-1] || (burnt > 0) != (name == "hybrid") {
			t.Errorf("%s: %d of %d s, drive %q, charge from %g to %g, %d s with fuel", name, known, seconds, l.Drive, charges[0], charges[len(charges)-1], burnt)
		}
		if len(l.Steps) != len(r.Steps) {
			t.Fatalf("%s: %d steps so far, %d in the end", name, len(l.Steps), len(r.Steps))
		}
		for i := range l.Steps {
			got, want := l.Steps[i].Electric, r.Electric.Of(r.Steps[i].ID)
			if got.Source != want.Source || got.PowerKW == nil || math.Abs(got.PowerKW.Mean/want.PowerKW.Mean-1) > 0.01 {
				t.Errorf("%s: step so far %+v, in the end %+v", name, got, want)
			}
		}
	}
}
