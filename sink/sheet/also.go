package sheet

import (
	"trialday.example/logd/sink/results"
)

// also is one of the secondary answers, a line under the big figures.
type also struct{ Label, Values string }

// alsoAsked answers what an owner asks next: how quickly, how tightly, how far
// to stop. What was not tried is left out.
func alsoAsked(r *results.Results) []also {
	d := &details{r, systemOf(r)}
	var out []also
	if i := d.fullThrottle(); i >= 0 {
		g := &r.AccelerationMeans[i]
		if g.ToPlaneS != nil {
			out = append(out, also{"To plane", withUnit(interval(g.ToPlaneS, 1), "s")})
		}
		if m := telling(r, g); m != nil {
			from := "0"
			if !g.FromRest {
				from = "Idle"
			}
			out = append(out, also{from + " to " + quantity(fixed(m.SpeedKn, 0), "kn"), withUnit(interval(&m.Seconds, 1), "s")})
		}
	}
	for _, direction := range []string{"port", "starboard"} {
		if t := fastestTurn(r.Turns, direction); t != nil {
			text := quantity(fixed(*t.Time360S, 0), "s")
			if i, ok := t.Intervals["time_360_s"]; ok {
				text = withUnit(interval(&i, 1), "s")
			}
			switch {
			case t.DiameterLengths != nil:
				text += ", " + quantity(fixed(*t.DiameterLengths, 1), "lengths")
			case t.SteadyDiameterM != nil:
				text += ", " + d.sys.distance(t.SteadyDiameterM)
			}
			out = append(out, also{"360° to " + direction + fromSpeed(t.EntrySpeedKn), text})
		}
	}
	if s := fastestStop(r.Stops); s != nil {
		text := withUnit(interval(s.Seconds, 1), "s")
		if s.TrackReachM != nil {
			text += ", " + d.sys.distance(s.TrackReachM)
		}
		out = append(out, also{"Crash stop" + fromSpeed(s.EntrySpeedKn), text})
	}
	return out
}

// telling is the mark in kn that tells most of a start: the highest that is
// not so near to top speed that the boat creeps up to it.
func telling(r *results.Results, g *results.AccelerationMean) *results.ToSpeed {
	var best *results.ToSpeed
	top := stepByID(r, r.Best.TopSpeedStep)
	for i := range g.ToSpeeds {
		m := &g.ToSpeeds[i]
		if best == nil || top == nil || m.SpeedKn <= 0.9*top.SpeedKn.Mean {
			best = m
		}
	}
	return best
}

func fastestTurn(turns []results.Turn, direction string) *results.Turn {
	var best *results.Turn
	for i := range turns {
		t := &turns[i]
		if t.Direction != direction || t.Time360S == nil {
			continue
		}
		if best == nil || orZero(t.EntrySpeedKn) > orZero(best.EntrySpeedKn) {
			best = t
		}
	}
	return best
}

func fastestStop(stops []results.Stop) *results.Stop {
	var best *results.Stop
	for i := range stops {
		s := &stops[i]
		if s.Seconds != nil && (best == nil || orZero(s.EntrySpeedKn) > orZero(best.EntrySpeedKn)) {
			best = s
		}
	}
	return best
}

// orZero is for comparing only.
func orZero(x *float64) float64 {
	if x == nil {
		return 0
	}
	return *x
}

func fromSpeed(kn *float64) string {
	if kn == nil {
		return ""
	}
	return " from " + quantity(fixed(*kn, 0), "kn")
}
