package results

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc/manoeuvre"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/sink/results/units"
)

// manoeuvres fills in all that the report says of manoeuvres.
func (e Edge) manoeuvres(r *manoeuvre.Report) Manoeuvres {
	var out Manoeuvres
	out.NotListed = r.More
	if len(r.Accelerations)+len(r.Stops)+len(r.Turns) > 0 {
		out.VelocityLag = &Lag{
			FilterS: interval(r.Lag.Filter, 1), LatencyS: interval(r.Lag.Latency, 1), Measured: r.Lag.Measured,
		}
	}
	for i := range r.Accelerations {
		out.Accelerations = append(out.Accelerations, e.acceleration(&r.Accelerations[i]))
	}
	for k := range r.Together {
		g := &r.Together[k]
		for _, i := range g.Attempts {
			out.Accelerations[i].Combined = &[]int{k}[0]
		}
		out.AccelerationMeans = append(out.AccelerationMeans, e.accelerationMean(g, r.Accelerations))
	}
	for i := range r.Turns {
		out.Turns = append(out.Turns, e.turn(&r.Turns[i]))
	}
	for i := range r.Stops {
		out.Stops = append(out.Stops, e.stop(&r.Stops[i]))
	}
	e.gears(r, &out)
	for _, s := range r.Slow {
		out.SlowSpeed = append(out.SlowSpeed, SlowSpeed{
			Engines: e.names(s.Engines), Gear: slowGear(s.Astern), RPM: scaled(s.RPM, 60),
			SpeedKn: scaled(s.Speed, units.Knots(1)), MaxRateDegPS: degrees(s.Rate),
			Seconds: s.Seconds, Stretches: s.Stretches, CurrentKnown: s.Current,
		})
	}
	return out
}

func (e Edge) acceleration(a *manoeuvre.Acceleration) Acceleration {
	out := Acceleration{
		Start: e.Stamp(a.Start), End: e.Stamp(a.End), HeadingDeg: compass(a.Heading), FromRest: a.FromRest,
		StartSpeedKn: scaled(a.StartSpeed, units.Knots(1)), EndSpeedKn: scaled(a.EndSpeed, units.Knots(1)), RPM: scaled(a.RPM, 60),
		Engines: e.names(a.Engines), ToPlaneS: interval(a.Plane, 1),
		PlaneSpeedKn: scaled(a.PlaneSpeed, units.Knots(1)), PlaneFroude: scaled(a.Froude, 1),
		PeakPitchDeg: degrees(a.PeakPitch), PeakMS2: scaled(a.Peak, 1),
		CurrentKnown: a.Current, CurrentSEKn: scaled(a.CurrentSE, units.Knots(1)),
	}
	out.ToSpeeds, out.ToSpeedsMPH = reached(a.To)
	return out
}

// reached sorts the marks by unit.
func reached(all []manoeuvre.Reached) (knots []ToSpeed, miles []ToMiles) {
	for _, r := range all {
		kn, t := units.Knots(r.Mark.Speed), interval(r.Time, 1)
		switch {
		case t == nil:
		case r.Mark.Miles:
			miles = append(miles, ToMiles{SpeedMPH: units.MPH(kn), Seconds: *t, DistanceM: scaled(r.Distance, 1)})
		default:
			knots = append(knots, ToSpeed{SpeedKn: kn, Seconds: *t, DistanceM: scaled(r.Distance, 1)})
		}
	}
	return knots, miles
}

func (e Edge) accelerationMean(g *manoeuvre.Together, all []manoeuvre.Acceleration) AccelerationMean {
	out := AccelerationMean{
		Attempts: len(g.Attempts), Reciprocal: g.Reciprocal, FromRest: g.FromRest,
		Engines: e.names(g.Engines), ToPlaneS: interval(g.Plane, 1), PeakMS2: scaled(g.Peak, 1),
	}
	rpm := 0.0
	for _, i := range g.Attempts {
		rpm += all[i].RPM * 60 / float64(len(g.Attempts))
	}
	out.RPM = scaled(rpm, 1)
	out.ToSpeeds, out.ToSpeedsMPH = reached(g.To)
	return out
}

// plain is a figure with an interval of its own, in display units.
type plain struct {
	key   string
	at    **float64
	value stat.Estimate
	scale float64
}

// spread puts the means in their places and the intervals in a table.
func spread(all []plain) map[string]Interval {
	out := map[string]Interval{}
	for _, f := range all {
		*f.at = scaled(f.value.Mean, f.scale)
		if v := interval(f.value, f.scale); v != nil {
			out[f.key] = *v
		}
	}
	return out
}

func (e Edge) turn(t *manoeuvre.Turn) Turn {
	const degree = 180 / math.Pi
	out := Turn{
		Start: e.Stamp(t.Start), Direction: "port", TurnedDeg: degrees(t.Changed), RPM: scaled(t.RPM, 60),
		OrderFrom: "rudder", CurrentSetDeg: compass(cmplx.Phase(t.Current)),
	}
	out.Intervals = spread([]plain{
		{"entry_speed_kn", &out.EntrySpeedKn, t.EntrySpeed, units.Knots(1)},
		{"steady_speed_kn", &out.SteadySpeedKn, t.SteadySpeed, units.Knots(1)},
		{"speed_loss_pct", &out.SpeedLossPct, t.SpeedLoss, 100},
		{"time_90_s", &out.Time90S, t.Time90, 1},
		{"time_180_s", &out.Time180S, t.Time180, 1},
		{"time_360_s", &out.Time360S, t.Time360, 1},
		{"advance_m", &out.AdvanceM, t.Advance, 1},
		{"transfer_m", &out.TransferM, t.Transfer, 1},
		{"tactical_diameter_m", &out.TacticalDiameterM, t.Tactical, 1},
		{"steady_diameter_m", &out.SteadyDiameterM, t.Steady, 1},
		{"diameter_lengths", &out.DiameterLengths, t.Lengths, 1},
		{"tactical_lengths", &out.TacticalLengths, t.Tactical, t.Lengths.Mean / t.Steady.Mean},
		{"rate_of_turn_deg_per_s", &out.RateDegPerS, t.Rate, degree},
		{"heel_peak_deg", &out.HeelPeakDeg, t.HeelPeak, degree},
		{"heel_settled_deg", &out.HeelSettledDeg, t.HeelSteady, degree},
		{"rudder_deg", &out.RudderDeg, t.Rudder, degree},
		{"current_kn", &out.CurrentKn, stat.Estimate{Mean: cmplx.Abs(t.Current), SE: t.CurrentSE, DOF: 30}, units.Knots(1)},
	})
	if t.Starboard {
		out.Direction = "starboard"
	}
	if t.OrderFromHeading {
		out.OrderFrom = "heading"
	}
	return out
}

func (e Edge) stop(s *manoeuvre.Stop) Stop {
	out := Stop{
		Start: e.Stamp(s.Start), RPM: scaled(s.RPM, 60), Seconds: interval(s.Time, 1),
		CurrentKnown: s.Current, CurrentSEKn: scaled(s.CurrentSE, units.Knots(1)),
	}
	out.Intervals = spread([]plain{
		{"entry_speed_kn", &out.EntrySpeedKn, s.EntrySpeed, units.Knots(1)},
		{"astern_s", &out.AsternS, s.Astern, 1},
		{"track_reach_m", &out.TrackReachM, s.TrackReach, 1},
		{"head_reach_m", &out.HeadReachM, s.HeadReach, 1},
		{"ground_path_m", &out.GroundPathM, s.GroundPath, 1},
	})
	return out
}

func (e Edge) gears(r *manoeuvre.Report, out *Manoeuvres) {
	for _, g := range r.Gears {
		out.GearEvents = append(out.GearEvents, GearEvent{
			Time: e.Stamp(g.Time), ErrorS: float64(g.Error) / 1e9, Engine: e.name(g.Engine),
			From: gearName(g.From), To: gearName(g.To), RPM: scaled(g.RPM, 60),
		})
	}
	for _, g := range r.Engagements {
		o := Engagement{Time: e.Stamp(g.Time), What: "disengaged", Gear: gearName(g.Gear), DelaysS: g.Delays}
		if g.Engaged {
			o.What = "engaged"
		}
		for _, i := range g.Engines {
			o.Engines = append(o.Engines, e.name(i))
		}
		out.Engagement = append(out.Engagement, o)
	}
	for _, g := range r.EngineOut {
		out.EngineOut = append(out.EngineOut, EngineOut{
			Start: e.Stamp(g.Start), End: e.Stamp(g.End),
			Driving: e.names(g.Driving), Neutral: e.names(g.Idle), Stopped: e.names(g.Stopped),
			SOGKn: scaled(g.Speed, units.Knots(1)),
		})
	}
}

// name returns the name of an engine by index.
func (e Edge) name(i int) string {
	if i < len(e.Engines) {
		return e.Engines[i]
	}
	return ""
}

// names lists the engines of a set.
func (e Edge) names(set uint8) []string {
	var out []string
	for i, name := range e.Engines {
		if set&(1<<i) != 0 {
			out = append(out, name)
		}
	}
	return out
}

var gearNames = [...]string{"forward", "neutral", "reverse"}

func gearName(g int8) string {
	if g < 0 || int(g) >= len(gearNames) {
		return ""
	}
	return gearNames[g]
}

func slowGear(astern bool) string {
	if astern {
		return gearNames[2]
	}
	return gearNames[0]
}
