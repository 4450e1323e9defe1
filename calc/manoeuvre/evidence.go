package manoeuvre

// Evidence is what a day leaves of its manoeuvres once its samples are gone. All
// that hangs on the current, which is known only when the day is over and may
// be judged anew, is still to be derived from it.
//
// Evidence does not change when the day goes on, and deriving does not change
// it.
type Evidence struct {
	found  Report // what does not hang on the current: the rest of it is empty
	lag    Lag
	starts []accelClip
	stops  []stopClip
	slow   []stretch
	flows  []Flow
	adrift []Flow
}

// Evidence is what was found so far. What is still going on is not in it before
// Close.
func (w *Watch) Evidence() *Evidence {
	// All of these only ever grow at their ends.
	return &Evidence{
		found: w.report, lag: w.lag.lag(w.grid.lines[chGroundN].period, w.set.Latency),
		starts: w.accel.clips, stops: w.stop.clips, slow: w.slow.all, flows: w.flows, adrift: w.adrift,
	}
}

// Derive measures what the evidence shows. Current gives what else is known of
// the current at a time (SE NaN where nothing is).
func (e *Evidence) Derive(set Settings, current func(t int64) Flow) *Report {
	r := e.found
	r.Lag = e.lag
	at := func(t int64) (Flow, bool) { return e.flowAt(t, current(t)) }
	var runs []*run
	for i := range e.starts {
		if a, one := e.starts[i].measure(&set, &r.Lag, at); one != nil {
			r.Accelerations, runs = append(r.Accelerations, a), append(runs, one)
		}
	}
	r.Together = combine(r.Accelerations, runs, set.Mass)
	for i := range e.stops {
		if s, ok := e.stops[i].measure(&r.Lag, at); ok {
			r.Stops = append(r.Stops, s)
		}
	}
	r.Slow = sumUp(e.slow, at)
	return &r
}

// flowAt combines the current from all there is at a time. Of the times adrift
// only the nearest counts: they share one error, the wind's.
func (e *Evidence) flowAt(t int64, more Flow) (Flow, bool) {
	all := append([]Flow{more}, e.flows...)
	if n := nearest(e.adrift, t); n >= 0 {
		all = append(all, e.adrift[n])
	}
	return flowAt(all, t)
}
