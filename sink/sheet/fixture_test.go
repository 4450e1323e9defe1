package sheet

import (
	"fmt"
	"math"
	"time"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

func ptr[T any](x T) *T { return &x }

var dayStart = time.Date(2026, 5, 12, 8, 2, 11, 0, time.UTC)

func at(s float64) string {
	return dayStart.Add(time.Duration(s * 1e9)).Format("2006-01-02T15:04:05.000Z")
}

func around(mean, ratio float64) results.Interval {
	return results.Interval{Mean: mean, Lo95: mean * (1 - ratio), Hi95: mean * (1 + ratio)}
}

func times(i results.Interval, k float64) *results.Interval {
	return &results.Interval{Mean: i.Mean * k, Lo95: i.Lo95 * k, Hi95: i.Hi95 * k}
}

// inventedDay is a plausible day of an invented boat with n engines: a smooth
// speed curve, a cubic burn, two passes a step and one step in one direction.
func inventedDay(n int) (*results.Results, *results.Timeline) {
	r := &results.Results{
		Schema: results.Schema, Version: "test",
		Trial: results.Trial{Name: "Sea trial 2", Place: "Invented Sound", Start: at(0), End: at(7200)},
		Clock: results.Clock{Known: true, OffsetS: 3.482, UncertaintyS: 0.021, DriftPPM: 1.3, Steps: 1},
	}
	inventBoat(r, n)
	t := &results.Timeline{StartUnix: float64(dayStart.Unix()), StepS: 2, RPM: make([][]float64, n)}
	add := func(seconds, rpm, speed float64) {
		for s := 0.0; s < seconds; s += t.StepS {
			wobble := math.Sin(float64(len(t.SpeedKn)) / 3)
			t.SpeedKn = append(t.SpeedKn, speed+0.15*wobble)
			for e := range t.RPM {
				t.RPM[e] = append(t.RPM[e], rpm*(1+0.004*float64(e))+4*wobble)
			}
			t.FuelLPH = append(t.FuelLPH, math.NaN())
		}
	}
	now := 0.0
	run := func(kind string, seconds, rpm, speed float64) int {
		id := len(r.Runs) + 1
		r.Runs = append(r.Runs, results.Run{ID: id, Kind: kind, Start: at(now), End: at(now + seconds)})
		add(seconds, rpm, speed)
		now += seconds
		return id
	}
	run("at_rest", 420, 620, 0)
	run("manoeuvring", 300, 700, 3)
	for i, rpm := range []float64{650, 1000, 1400, 1800, 2100, 2400, 2700, 2900, 3080} {
		inventStep(r, i+1, rpm, n, func(heading float64, accepted bool) {
			speed := inventedSpeed(rpm)
			run("accelerating", 30, rpm*0.9, speed*0.8)
			begin := now + 15
			id := run("held_throttle", 210, rpm, speed+0.4*math.Cos(heading))
			inventWindow(r, id, i+1, begin, now-5, rpm, heading, accepted, n)
			run("turning", 60, rpm*0.8, speed*0.7)
		})
	}
	run("slowing", 40, 700, 4)
	run("manoeuvring", 200, 700, 3)
	r.Trial.End = at(now)
	r.Best = results.Best{TopSpeedStep: ptr(9), BestEconomyStep: ptr(1), BestPlaningEconomyStep: ptr(5), LevelEconomySteps: []int{5, 6},
		CruiseStep: ptr(7), Cruise: &results.Cruise{LoadPct: 80, RPM: 2655, SpeedKn: 27.3, FuelLPH: ptr(262.0),
			EconomyNMPerL: ptr(27.3 / 262), RangeNM: ptr(27.3 / 262 * 1350)}}
	inventRecord(r)
	inventDetails(r, n)
	return r, t
}

func inventBoat(r *results.Results, n int) {
	v := &r.Vessel
	*v = results.Vessel{Name: "Demo boat A (invented)", LengthM: ptr(13.4), BeamM: ptr(4.1), Hull: "planing", FuelKind: "diesel",
		TankL: ptr(1500.0), ReservePct: 10, UsableL: ptr(1350.0), TestMassKg: ptr(11384.0),
		Mass: []results.MassItem{{Name: "Dry", Kg: 9600}, {Name: "Fuel, 1350 L", Kg: 1134}, {Name: "Water", Kg: 200}, {Name: "4 people", Kg: 300}, {Name: "Gear", Kg: 150}}}
	for i := range n {
		v.Engines = append(v.Engines, results.Engine{Name: inventedNames(n)[i], Instance: i, RatedPowerKW: ptr(330.0), RatedRPM: ptr(3000.0)})
	}
}

func inventedNames(n int) []string {
	if n == 3 {
		return []string{"port", "centre", "starboard"}
	}
	var names []string
	for i := range n {
		names = append(names, fmt.Sprintf("engine %d", i+1))
	}
	return names
}

func inventedSpeed(rpm float64) float64 {
	return 5 + 0.0035*rpm + 18/(1+math.Exp(-(rpm-1950)/260))
}

func inventedBurn(rpm float64) float64 { return 4 + 368*math.Pow(rpm/3080, 2.7) }

// inventStep adds a step; pass is called for each pass over the ground.
func inventStep(r *results.Results, id int, rpm float64, n int, pass func(heading float64, accepted bool)) {
	speed, burn := around(inventedSpeed(rpm), 0.006), around(inventedBurn(rpm), 0.012)
	economy := around(speed.Mean/burn.Mean, 0.014)
	inverse := results.Interval{Mean: 1 / economy.Mean, Lo95: 1 / economy.Hi95, Hi95: 1 / economy.Lo95}
	s := results.Step{ID: id, RPM: rpm, SpeedKn: speed, SpeedMPH: *times(speed, units.MilesPerNauticalMile),
		FuelLPH: &burn, FuelUSGPH: times(burn, 1/units.LitresPerUSGallon), EconomyNMPerL: &economy, EconomyLPerNM: &inverse,
		EconomyNMPGal: times(economy, units.LitresPerUSGallon), EconomyMPG: times(economy, units.MilesPerUSGallon(1)),
		RangeNM: times(economy, 1350), LoadPct: ptr(math.Min(100, 100*math.Pow(rpm/3080, 1.6))), PitchDeg: ptr(5 * math.Exp(-math.Pow((rpm-1750)/500, 2))),
		Passes: 2, CurrentCorrected: true, CurrentKn: ptr(0.6 + 0.05*float64(id)), CurrentSetDeg: ptr(40.0 + float64(id)), Engines: inventedNames(n)}
	pass(0, true)
	if id == 3 {
		s.Passes, s.CurrentCorrected, s.CurrentKn, s.CurrentSetDeg = 1, false, nil, nil
		pass(math.Pi, false)
	} else {
		pass(math.Pi, true)
	}
	for _, w := range r.Windows {
		if w.Step != nil && *w.Step == id {
			s.Windows = append(s.Windows, w.ID)
		}
	}
	r.Steps = append(r.Steps, s)
}

func inventWindow(r *results.Results, run, step int, from, to, rpm, heading float64, accepted bool, n int) {
	w := results.Window{ID: len(r.Windows) + 1, Run: run, Start: at(from), End: at(to), Accepted: accepted,
		HeadingDeg: ptr(heading*180/math.Pi + 44), COGDeg: ptr(heading*180/math.Pi + 46), SOGKn: ptr(around(inventedSpeed(rpm)+0.4*math.Cos(heading), 0.005)),
		STWKn: ptr(around(inventedSpeed(rpm)*0.97, 0.007)), RPM: map[string]results.Interval{}, EngineFuelLPH: map[string]results.Interval{},
		FuelLPH: ptr(around(inventedBurn(rpm), 0.012)), LoadPct: ptr(60.0), PitchDeg: ptr(2.3), RollDeg: ptr(-0.4), TrimPct: ptr(0.0),
		DepthM: ptr(22 + 10*math.Sin(rpm)), WindKn: ptr(8 + 2*math.Sin(from)), WindFromDeg: ptr(229.0), WavePeriodS: ptr(2.4)}
	for i, name := range inventedNames(n) {
		w.RPM[name] = around(rpm*(1+0.004*float64(i)), 0.001)
		w.EngineFuelLPH[name] = around(inventedBurn(rpm)/float64(n), 0.01)
	}
	if accepted {
		w.Step = &step
	} else {
		w.Reason = []string{"rpm hunting", "still accelerating", "course change"}[step%3]
	}
	r.Windows = append(r.Windows, w)
}

func inventRecord(r *results.Results) {
	r.Devices = []results.Device{
		{Bus: "can0", Addresses: []int{0, 7}, Name: "c05a0000123400ab", Model: "Invented gateway", Software: "1.02", Serial: "0001", Messages: 512034},
		{Bus: "can0", Addresses: []int{35}, Name: "c07800001234beef", Model: "Invented receiver", Software: "3.1", Serial: "A-77", Messages: 81234},
		{Bus: "can0", Addresses: []int{90}, Messages: 4012},
	}
	r.Sources = []results.SourceUse{
		{Quantity: "engine_speed", Device: 0, Start: at(0), Why: "only source"},
		{Quantity: "speed_over_ground", Device: 1, Start: at(0), Why: "better rate"},
		{Quantity: "depth", Device: 2, Start: at(2), Why: "only source"},
	}
	r.Findings = []results.Finding{{What: "The paddle wheel reads 3 % low.", Meaning: "Speed by log is not used for the steps.", Remedy: "Calibrate it at 20 kn."}}
	r.Missing = []results.MissingFigure{{Figure: "Planing threshold", Why: "Too few steps between 12 and 18 kn."}}
	r.Quality = results.Quality{Frames: 8412034, Messages: 3120455, BadLines: 3, UnknownPGNFrames: 1204, FastPacketLost: 12,
		Losses: map[string]int64{"stale_fragment": 5, "out_of_order": 7}, Gaps: []results.Gap{{What: "wind_speed_true", Start: at(1200), End: at(1262)}}}
}
