package results

import (
	"math/cmplx"

	"trialday.example/logd/calc/manoeuvre"
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

func (e Edge) turn(t *manoeuvre.Turn) Turn {
	out := Turn{
		Start: e.Stamp(t.Start), Direction: "port", TurnedDeg: degrees(t.Changed), RPM: scaled(t.RPM, 60),
		EntrySpeedKn: scaled(t.EntrySpeed, units.Knots(1)), SteadySpeedKn: scaled(t.SteadySpeed, units.Knots(1)),
		SpeedLossPct: scaled(t.SpeedLoss, 100),
		Time90S:      scaled(t.Time90, 1), Time180S: scaled(t.Time180, 1), Time360S: scaled(t.Time360, 1),
		AdvanceM: scaled(t.Advance, 1), TransferM: scaled(t.Transfer, 1), TacticalDiameterM: scaled(t.Tactical, 1),
		SteadyDiameterM: scaled(t.Steady, 1), DiameterLengths: scaled(t.Lengths, 1),
		TacticalLengths: scaled(t.Tactical/t.Steady, t.Lengths),
		RateDegPerS:     degrees(t.Rate), HeelPeakDeg: degrees(t.HeelPeak), HeelSettledDeg: degrees(t.HeelSteady),
		RudderDeg: degrees(t.Rudder), OrderFrom: "rudder",
		CurrentKn: scaled(cmplx.Abs(t.Current), units.Knots(1)), CurrentSetDeg: compass(cmplx.Phase(t.Current)),
	}
	if t.Starboard {
		out.Direction = "starboard"
	}
	if t.OrderFromHeading {
		out.OrderFrom = "heading"
	}
	return out
}

func (e Edge) stop(s *manoeuvre.Stop) Stop {
	return Stop{
		Start: e.Stamp(s.Start), RPM: scaled(s.RPM, 60), EntrySpeedKn: scaled(s.EntrySpeed, units.Knots(1)),
		Seconds: interval(s.Time, 1), AsternS: scaled(s.Astern, 1),
		TrackReachM: scaled(s.TrackReach, 1), HeadReachM: scaled(s.HeadReach, 1), GroundPathM: scaled(s.GroundPath, 1),
		CurrentKnown: s.Current, CurrentSEKn: scaled(s.CurrentSE, units.Knots(1)),
	}
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
