package sheet

import (
	"strings"

	"trialday.example/logd/sink/results"
)

func near(mean, half float64) *results.Interval {
	return &results.Interval{Mean: mean, Lo95: mean - half, Hi95: mean + half}
}

// inventDetails adds what a day holds beside its steps: two starts, a turn to
// either side, a stop, shifts, the checks and the hand readings.
func inventDetails(r *results.Results, n int) {
	names := inventedNames(n)
	r.Trial.Units = "metric"
	r.Steady = results.Steady{MinS: 20, SettlePct: 0.5, RPMHuntingPct: 1.5, CourseDeg: 4, StepPct: 2}
	r.Quality.FramesHash = strings.Repeat("0123456789abcdef", 4)
	inventStarts(r, names)
	for i, direction := range []string{"port", "starboard"} {
		r.Turns = append(r.Turns, results.Turn{Start: at(3000 + 60*float64(i)), Direction: direction, TurnedDeg: ptr(400.0), RPM: ptr(2500.0), EntrySpeedKn: ptr(28.2),
			SteadySpeedKn: ptr(23.1), SpeedLossPct: ptr(18.0), Time90S: ptr(6.2), Time180S: ptr(11.3), Time360S: ptr(21.4 + float64(i)), AdvanceM: ptr(58.0), TransferM: ptr(46.0),
			TacticalDiameterM: ptr(86.0), SteadyDiameterM: ptr(76.2), DiameterLengths: ptr(5.7), TacticalLengths: ptr(6.4), RateDegPerS: ptr(18.3), HeelPeakDeg: ptr(21.2), HeelSettledDeg: ptr(17.4),
			RudderDeg: ptr(-20 + 40*float64(i)), OrderFrom: "rudder", CurrentKn: ptr(0.7), CurrentSetDeg: ptr(71.0)})
		t := &r.Turns[i]
		t.Intervals = map[string]results.Interval{"time_360_s": *near(*t.Time360S, 0.2), "steady_diameter_m": *near(76.2, 1.3), "heel_peak_deg": *near(21.2, 0.7)}
	}
	r.Stops = []results.Stop{{Start: at(3300), RPM: ptr(2700.0), EntrySpeedKn: ptr(31.1), Seconds: near(9.4, 0.2), AsternS: ptr(3.7), TrackReachM: ptr(78.6), HeadReachM: ptr(78.4),
		GroundPathM: ptr(82.0), CurrentKnown: true, Intervals: map[string]results.Interval{"track_reach_m": *near(78.6, 1.1), "entry_speed_kn": *near(31.1, 0.1)}}}
	r.SlowSpeed = []results.SlowSpeed{{Engines: names[:1], Gear: "reverse", RPM: ptr(690.0), MaxRateDegPS: ptr(5.1), Seconds: 47, Stretches: 7}}
	if n > 1 {
		order := append(append([]string{}, names[1:]...), names[0])
		for i := range 3 {
			r.Engagement = append(r.Engagement, results.Engagement{Time: at(100 * float64(i)), What: "engaged", Gear: "forward", Engines: append([]string{}, order...), DelaysS: []float64{0, 0.6, 1.2 + 0.1*float64(i)}})
		}
		r.EngineOut = []results.EngineOut{{Start: at(400), End: at(600), Driving: names[:1], Neutral: names[1:], SOGKn: ptr(8.4)}}
	} else {
		r.Engagement = []results.Engagement{{Time: at(1), What: "engaged", Gear: "forward", Engines: []string{names[0]}}}
		r.EngineOut = []results.EngineOut{{Start: at(1), End: at(9), Stopped: []string{names[0]}}}
	}
	r.GearEvents = []results.GearEvent{{Time: at(1), Engine: names[0], From: "neutral", To: "forward"}}
	inventCurrent(r)
	inventFuel(r, names)
	inventDrive(r, names)
	r.Readings = []results.Reading{{Line: 2, Time: at(1000), SoundDBA: ptr(78.4), SeaState: ptr(3), Comment: "wheelhouse", Step: ptr(5)}, {Line: 3, RPM: ptr(1400.0), Comment: "vibration"}}
	r.Steps[4].SoundDBA = ptr(78.4)
}

func inventStarts(r *results.Results, names []string) {
	var knots []results.ToSpeed
	for _, kn := range []float64{5, 10, 20, 30} {
		knots = append(knots, results.ToSpeed{SpeedKn: kn, Seconds: *near(kn/2.5, 0.3), DistanceM: ptr(kn * 4)})
	}
	miles := []results.ToMiles{{SpeedMPH: 20, Seconds: *near(7, 0.3), DistanceM: ptr(60.0)}}
	for i, heading := range []float64{251, 70} {
		r.Accelerations = append(r.Accelerations, results.Acceleration{Start: at(2000 + 600*float64(i)), End: at(2030), HeadingDeg: ptr(heading), FromRest: true,
			StartSpeedKn: ptr(0.1), EndSpeedKn: ptr(33.0), RPM: ptr(3070.0), Engines: names, ToSpeeds: knots, ToSpeedsMPH: miles, ToPlaneS: near(9.1+0.3*float64(i), 0.9),
			PlaneSpeedKn: ptr(22.0), PeakPitchDeg: ptr(5.1), PeakMS2: ptr(2.5), CurrentKnown: true, Combined: ptr(0)})
	}
	r.Accelerations = append(r.Accelerations, results.Acceleration{Start: at(4000), End: at(4020), HeadingDeg: ptr(70.0), RPM: ptr(2400.0), Engines: names, ToSpeeds: knots[1:3], Combined: ptr(1)})
	r.AccelerationMeans = []results.AccelerationMean{
		{Attempts: 2, Reciprocal: true, FromRest: true, Engines: names, RPM: ptr(3070.0), ToSpeeds: knots, ToSpeedsMPH: miles, ToPlaneS: near(9.25, 0.8), PeakMS2: ptr(2.5)},
		{Attempts: 1, Engines: names, RPM: ptr(2400.0), ToSpeeds: knots[1:3]},
	}
}

func inventCurrent(r *results.Results) {
	r.Current = results.Current{Known: true, CompassOffsetDeg: near(-1.5, 0.2), Chi2: ptr(37.0), DOF: ptr(40.0), PValue: ptr(0.6), Note: "wind and sea are in it"}
	for i := range 5 {
		r.Current.Knots = append(r.Current.Knots, results.CurrentKnot{Time: at(600 + 1200*float64(i)), Kn: 0.9 - 0.1*float64(i), SetDeg: 70, SEKn: 0.04})
	}
	for i := range r.Steps {
		s := &r.Steps[i]
		s.DayFit = &results.StepDayFit{SpeedKn: *near(s.SpeedKn.Mean+0.1, 0.1), Clear: true, Leverage: 0.5}
		s.MassKg, s.RangeBurnOffNM = ptr(11384-10*float64(i)), ptr(s.RangeNM.Mean*1.04)
		r.PerNM.Steps = append(r.PerNM.Steps, results.StepPerNM{Step: s.ID, Cost: times(*s.EconomyLPerNM, 1.7), CO2Kg: times(*s.EconomyLPerNM, 2.67)})
	}
	r.PerNM.Currency = "EUR"
	r.Paddle = results.Paddle{Known: true, Windows: 16, Factor: near(0.987, 0.004), OffsetKn: near(-0.28, 0.08), SDKn: ptr(0.11), FromKn: ptr(7.8), ToKn: ptr(33.0)}
	r.Best.PlaningOptimum = results.Optimum{Known: true, SpeedKn: near(25.3, 0.5), EconomyNMPerL: near(0.176, 0.002), Steps: 5}
	r.Best.DisplacementOptimum = results.Optimum{Why: "economy is best at the slowest step: the optimum lies at or below it"}
	r.MassReference = &results.MassReference{ReferenceKg: 12000, Steps: []results.StepAtMass{{Step: 9, MassKg: 11300, SpeedKn: r.Steps[8].SpeedKn,
		SpeedAtReferenceKn: *near(32.5, 0.3), EconomyAtReferenceNM: near(0.087, 0.002), Law: "Crouch's formula, V ~ m^-1/2 at constant power"}}}
}

func inventFuel(r *results.Results, names []string) {
	r.FuelCheck = results.FuelCheck{MeteredL: ptr(240.2), UnsureL: 0.4, BalanceWindows: 16,
		Trip:  &results.FuelScale{MeteredL: 239, ReferenceL: 239, Scale: *near(1, 0.002), Pieces: 60},
		TopUp: &results.FuelScale{MeteredL: 240.2, ReferenceL: 252.2, Scale: *near(1.05, 0.01), Pieces: 1, Differs: true}}
	for _, name := range names {
		r.FuelCheck.Engines = append(r.FuelCheck.Engines, results.EngineFuelCheck{Engine: name, MeteredL: ptr(240.2 / float64(len(names))), ImbalancePct: near(0.4, 0.2)})
	}
}

func inventDrive(r *results.Results, names []string) {
	r.Propulsion.Assumptions = []string{"slip is apparent"}
	for _, s := range r.Steps {
		d := results.StepDrive{Step: s.ID}
		if len(names) > 1 {
			d.SyncRPM = ptr(7.0)
		}
		for i, name := range names {
			e := results.EngineDrive{Engine: name, RPM: s.RPM, LoadPct: ptr(41.0 + float64(i)), PowerKW: ptr(100.0 + float64(i)), FuelLPH: near(10+float64(i), 0.1), PowerPct: ptr(44.0), LawPct: ptr(33.0)}
			if s.CurrentCorrected {
				e.SlipPct = near(21.5+float64(i), 0.5)
			}
			d.Engines = append(d.Engines, e)
		}
		r.Propulsion.Steps = append(r.Propulsion.Steps, d)
	}
	for _, name := range names {
		r.Propulsion.Engines = append(r.Propulsion.Engines, results.EngineLoading{Engine: name, LoadExponent: near(2.26, 0.06), FuelExponent: near(2.3, 0.1), Match: "matched",
			Statement: "reaches 2990 of 3000 rated rpm at 100 % load: engine and propeller match"})
	}
}

// bare takes all details away again.
func bare(r *results.Results) {
	r.Manoeuvres, r.Current, r.Paddle, r.FuelCheck, r.Propulsion = results.Manoeuvres{}, results.Current{}, results.Paddle{}, results.FuelCheck{}, results.Propulsion{}
	r.MassReference, r.PerNM, r.Readings, r.Steady, r.Quality.FramesHash = nil, results.PerNM{}, nil, results.Steady{}, ""
	r.Best.PlaningOptimum, r.Best.DisplacementOptimum = results.Optimum{}, results.Optimum{}
	for i := range r.Steps {
		s := &r.Steps[i]
		s.DayFit, s.MassKg, s.RangeBurnOffNM, s.SoundDBA = nil, nil, nil, nil
	}
}
