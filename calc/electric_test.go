package calc

import (
	"math"
	"testing"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// The arithmetic by a worked example (by hand, on paper):
//
// Two passes of 60 s on reciprocal courses in a current of 1 m/s along them, at one
// setting of the motor. With the current 7 m/s over ground, against it 5 m/s; so
// 6 m/s through the water. Two batteries give 50 V and 120 A and 50 V and 80 A on
// the first pass, 6000 W + 4000 W = 10000 W, and on the second 50 V and 124 A and
// 50 V and 76 A, 6200 W + 3800 W = 10000 W.
//
//	energy per mile: 10000 W / 6 m/s = 1666.7 J/m = 3 086 667 J/nm = 857.4 Wh/nm
//	usable: 20 kWh less 10 % = 18 kWh = 64.8 MJ
//	range: 64.8 MJ / 1666.7 J/m = 38 880 m = 20.99 nm
func TestEnergyPerMileByHand(t *testing.T) {
	boat := Boat{Mass: math.NaN(), Full: math.NaN(), Usable: math.NaN(), Electric: ElectricDrive{Batteries: 2, Motors: 1, Usable: 0.9 * 20 * 3.6e6}}
	windows := []Window{handWindow(t, 0, 7, [2]float64{120, 80}), handWindow(t, math.Pi, 5, [2]float64{124, 76})}
	windows[0].ID, windows[0].Run = 1, 1
	windows[1].ID, windows[1].Run = 2, 2
	windows[1].Start, windows[1].End = 200e9, 260e9
	steps := Steps(windows, 0.02, boat)
	if len(steps) != 1 || !steps[0].Corrected {
		t.Fatalf("%+v", steps)
	}
	e := steps[0].Electric
	for what, v := range map[string][2]float64{
		"speed, m/s": {steps[0].Speed.Mean, 6}, "power, W": {e.Power.Mean, 10000},
		"energy, Wh/nm": {e.PerMetre.Mean * 1852 / 3600, 857.4}, "range, nm": {e.Range.Mean / 1852, 20.99},
	} {
		if math.Abs(v[0]-v[1]) > 5e-4*v[1] {
			t.Errorf("%s: %.3f, want %.3f", what, v[0], v[1])
		}
	}
	if e.Source != ByBattery || !math.IsNaN(steps[0].Fuel.Mean) || !math.IsNaN(steps[0].Economy.Mean) {
		t.Errorf("driven by %v, fuel %v", e.Source, steps[0].Fuel)
	}
	if !(e.PerMetre.SE > 0) || math.Abs(e.PerMetre.SE/e.PerMetre.Mean-e.Range.SE/e.Range.Mean) > 1e-12 {
		t.Errorf("errors %v and %v", e.PerMetre.SE, e.Range.SE)
	}
}

// handWindow makes a window of 60 ticks through the ticker, the batteries' power
// given as samples.
func handWindow(t *testing.T, heading, ground float64, amps [2]float64) Window {
	t.Helper()
	var ticks []tick
	k := newTicker(func(k *tick) { ticks = append(ticks, *k) })
	k.cells.batteries, k.motors = 2, 1
	for i := range int64(61) {
		at := i * second
		add := func(q pgn.Quantity, instance uint8, v float64) {
			k.add(&sample.Sample{Time: at, Quantity: q, Instance: instance, Value: v})
		}
		add(pgn.EngineSpeed, 0, 20)
		add(pgn.Heading, 0, heading)
		add(pgn.CourseOverGround, 0, heading)
		add(pgn.SpeedOverGround, 0, ground)
		for b, a := range amps {
			add(pgn.BatteryVoltage, uint8(b), 50)
			add(pgn.BatteryPower, uint8(b), 50*a)
		}
	}
	return newWindow(ticks, 1, Accepted)
}

// A battery that falls silent leaves no power of all together, nor does one that
// was never heard; a message may be late by a few ticks.
func TestPowerIsThatOfAllBatteriesOrNone(t *testing.T) {
	m := electricMeter{batteries: 2}
	give := func(instance uint8) {
		m.add(&sample.Sample{Quantity: pgn.BatteryPower, Instance: instance, Value: 1000})
	}
	take := func(want float64) {
		t.Helper()
		if p, _ := m.take(); p != want && !(math.IsNaN(p) && math.IsNaN(want)) {
			t.Errorf("%v W, want %v", p, want)
		}
	}
	take(math.NaN())
	give(1)
	take(math.NaN()) // the other was never heard
	give(1)
	give(4)
	take(2000)
	for range electricHold {
		give(1)
		take(2000)
	}
	give(1)
	take(math.NaN())
	give(7) // is none of the two
	give(4)
	take(2000)
	none := electricMeter{}
	none.add(&sample.Sample{Quantity: pgn.BatteryPower, Value: 1000})
	if p, _ := none.take(); !math.IsNaN(p) {
		t.Errorf("%v W of a boat without batteries", p)
	}
}

// What drives the boat decides which figures there are: fuel and batteries are
// never one figure.
func TestSourcesOfAStep(t *testing.T) {
	certain := func(v float64) stat.Estimate { return stat.Estimate{Mean: v, SE: math.Abs(v) / 1e4, DOF: 100} }
	litres := func(perHour float64) stat.Estimate { return certain(perHour * 1e-3 / 3600) }
	for name, c := range map[string]struct {
		power, fuel stat.Estimate
		engines     EngineSet
		want        Source
	}{
		"motor":                       {certain(5000), unknown, 2, ByBattery},
		"motor beside idle engine":    {certain(5000), litres(0), 2, ByBattery},
		"engine without a fuel rate":  {certain(5000), unknown, 3, UnknownSource},
		"engine and lights":           {certain(300), litres(20), 1, ByFuel},
		"engine and motor":            {certain(10000), litres(20), 3, ByBoth},
		"engine that charges":         {certain(-10000), litres(20), 1, ByFuelCharging},
		"nothing known of batteries":  {unknown, litres(20), 1, UnknownSource},
		"motor that seems to charge":  {certain(-5000), unknown, 2, UnknownSource},
		"motor, power not above zero": {stat.Estimate{Mean: 100, SE: 200, DOF: 10}, unknown, 2, UnknownSource},
	} {
		s := Step{Engines: c.engines, Fuel: c.fuel, Speed: certain(5)}
		s.Economy = Economy(s.Speed, s.Fuel, certain(1e-3))
		s.Range = s.Economy.Scale(0.1)
		b := Boat{Electric: ElectricDrive{Batteries: 1, Motors: 2, Usable: 1e7}}
		w := Window{Power: c.power, PowerRatio: stat.Estimate{SE: 0.01, DOF: 10}, SOG: certain(5)}
		s.electric(func(f func(*Window) stat.Estimate) stat.Estimate { return f(&w) }, 0, b)
		e := &s.Electric
		if e.Source != c.want {
			t.Errorf("%s: %v, want %v", name, e.Source, c.want)
		}
		if ranged := !math.IsNaN(e.Range.Mean); ranged != (c.want == ByBattery) {
			t.Errorf("%s: range on batteries %v", name, e.Range)
		}
		both := c.want == ByBoth || c.want == ByFuelCharging
		if parts := !math.IsNaN(e.Burn.Mean); parts != both && c.want != UnknownSource {
			t.Errorf("%s: fuel's part %v", name, e.Burn)
		}
		if both && (!math.IsNaN(s.Economy.Mean) || !math.IsNaN(s.Range.Mean)) {
			t.Errorf("%s: economy %v and range %v of fuel alone", name, s.Economy, s.Range)
		}
	}
}

// The best by energy is among the steps that batteries drove, and that by fuel is
// not.
func TestBestByEnergy(t *testing.T) {
	step := func(id int, speed, power float64, source Source) Step {
		s := Step{ID: id, Engines: 1, Speed: stat.Estimate{Mean: speed, DOF: 10}, Mass: math.NaN(), Fuel: unknown, Economy: unknown, Range: unknown}
		s.Electric = Electric{Source: source, Power: stat.Estimate{Mean: power, DOF: 10}, Range: unknown,
			PerMetre: EnergyPerMetre(stat.Estimate{Mean: power}, s.Speed, stat.Estimate{SE: 0.001, DOF: 10})}
		return s
	}
	steps := []Step{step(1, 2, 900, ByBattery), step(2, 3, 1200, ByBattery), step(3, 4, 4000, ByBattery), step(4, 5, 10, ByFuel)}
	best := BestByEnergy(steps, Boat{Length: math.NaN(), Cruise: 0.8})
	if best.Economy != 2 || best.TopSpeed != 3 {
		t.Errorf("best %d, fastest %d", best.Economy, best.TopSpeed)
	}
	if Reversed(steps, 1) {
		t.Error("a current of the other sign")
	}
	for i := range steps[:3] {
		steps[i].Electric.Power.Mean *= -1
	}
	if !Reversed(steps[:3], 1) || Reversed(nil, 1) {
		t.Error("a current of the other sign was not seen")
	}
	if Reversed(steps[:3], 0) {
		t.Error("engines without a fuel rate may charge the batteries")
	}
}
