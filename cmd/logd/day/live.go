package day

import (
	"fmt"
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/sink/results"
)

// Live tells how the day stands, all but what only the recorder knows: number
// and name of the trial, recording, and the lamps of bus, journal and server. It changes nothing in
// the day; calc.Trial.Live says what it costs.
func (d *Day) Live() *results.Live {
	clock := d.decoder.Clock()
	w := d.samples.settle()
	s, ok := w.trial.Live(d.amended(results.Edge{UTC: clock.UTC}), frozen(w.fitted.Stuck()))
	edge := results.Edge{UTC: clock.UTC, Engines: d.engineNames(s.Heard)}
	l := &results.Live{Version: d.version, ClockKnown: clock.Known()}
	if d.decoder.Stats().Frames > 0 {
		l.Time = edge.Stamp(d.decoder.Now())
		l.Trial = &results.Session{Start: edge.Stamp(0)}
	}
	l.Hold = d.guide(&s, edge.Engines)
	if ok {
		l.Figures(&s, edge)
		d.electricNow(l, &s)
	}
	l.Lamps = d.lamps(edge.Engines)
	return l
}

// amended finds the windows so far that the amendments name.
func (d *Day) amended(edge results.Edge) []calc.Amendment {
	_, windows := d.Closed()
	of := document{&Evidence{Calc: &calc.Evidence{Found: calc.Found{Windows: windows}}}, Given{Amendments: d.amendments}}
	return of.amendments(edge)
}

// guide tells whoever holds the throttle how long still, or what to mend.
func (d *Day) guide(s *calc.Live, names []string) results.Hold {
	need := math.Max(d.cfg.Trial.HoldS, math.Ceil(d.cfg.Steady.MinS))
	h := results.Hold{State: results.HoldFree, NeedS: need, MoreS: need}
	if !s.Hold.Held {
		h.Why = whyFree(s)
		return h
	}
	lasted := s.Hold.Seconds()
	switch {
	case s.Hold.Reason != calc.Accepted:
		h.State, h.Why = results.HoldSettling, d.whyNot(&s.Hold, names)
		if d.briefly(&s.Hold) {
			h.MoreS = math.Max(0, need-lasted) // if it proves to be steady
		}
		return h
	case lasted >= need:
		h.State = results.HoldEnough
	default:
		h.State = results.HoldSteady
	}
	h.SteadyS, h.MoreS = lasted, math.Max(0, need-lasted)
	return h
}

// briefly tells whether throttle and course have stood still, but not for long
// enough to be judged. A longer stretch that is too short is several, parted by
// small changes.
func (d *Day) briefly(h *calc.Hold) bool {
	return h.Reason == calc.TooShort && h.Seconds() < d.cfg.Steady.MinS
}

// whyFree says what the boat does where throttle and course are not held.
func whyFree(s *calc.Live) string {
	if !s.Known {
		return "nothing is known of the boat yet"
	}
	switch s.Run.Kind {
	case calc.AtRest:
		return "the boat is at rest"
	case calc.Accelerating:
		return "the throttle is being opened, or speed is still rising fast"
	case calc.Turning:
		return "the course is being changed"
	case calc.Slowing:
		return "the throttle is being closed, or speed is falling fast"
	}
	return "slower than 2 kn, going astern, or out of gear"
}

// whyNot says why a held stretch is not steady, and what helps. It holds no
// number that changes from second to second: it may be read aloud.
func (d *Day) whyNot(h *calc.Hold, names []string) string {
	switch h.Reason {
	case calc.StillAccelerating:
		switch {
		case h.Trend > slightTrend:
			return "speed is still rising: keep throttle and course as they are"
		case h.Trend < -slightTrend:
			return "speed is still falling: keep throttle and course as they are"
		}
		return "speed has not settled yet: keep throttle and course as they are"
	case calc.RPMHunting:
		return fmt.Sprintf("engine speed goes up and down by more than %g %%: leave the throttle alone", d.cfg.Steady.RPMHuntingPct)
	case calc.CourseChange:
		return fmt.Sprintf("the course wanders by more than %g degrees: steer straight", d.cfg.Steady.CourseDeg)
	case calc.PowerUnsteady:
		return "the electric power is drifting: keep throttle and trim as they are"
	case calc.FuelUnsteady:
		return "the fuel rate is drifting: keep throttle and trim as they are"
	case calc.ShallowWater:
		return "the water is so shallow that it changes the speed: go where it is deeper"
	case calc.DataGap:
		return missingNow(h, names)
	case calc.SourceChange:
		return "another device has taken over: the stretch begins anew"
	}
	if d.briefly(h) {
		return fmt.Sprintf("held too briefly to judge: %g s are the least", math.Ceil(d.cfg.Steady.MinS))
	}
	return "throttle or course keeps changing a little: leave both alone"
}

// slightTrend, m/s² (0.02 kn a second): less is not told as rising or falling.
const slightTrend = 0.01

func missingNow(h *calc.Hold, names []string) string {
	if h.NoSpeed {
		return "speed over ground is not heard"
	}
	if silent := engineList(names, h.NoRPM); silent != "" {
		return "engine speed is not heard: " + silent
	}
	return "speed over ground or an engine speed was not heard for a moment"
}
