//go:build !race

package day

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/results"
)

// manoeuvreDays is how many days of manoeuvres are simulated; each has another
// sea, tide, wind, noise, load, lag and latency of the receiver, and every
// fourth no rudder sensor.
const manoeuvreDays = 48

func runManoeuvreDay(t *testing.T, seed uint64) simulatedDay {
	t.Helper()
	return runLateDay(t, seed, false)
}

// simulatedLatency is how late the simulated receiver's messages are, ns.
const simulatedLatency = 120e6

// runLateDay runs a day with a receiver of another latency than in the
// simulation, which the calculation is told or not.
func runLateDay(t *testing.T, seed uint64, told bool) simulatedDay {
	t.Helper()
	by := int64(20e6 * (float64(seed/3%9) - 5))
	text, err := scenarios.Load("manoeuvres")
	if err != nil {
		t.Fatal(err)
	}
	base, err := simulate.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	s := base.Variant(seed)
	s.Sensors.GNSSLagS = 0.15 + 0.1*float64(seed%9)
	if seed%4 == 0 {
		s.Faults.Dropouts = append(s.Faults.Dropouts, simulate.Dropout{Device: "rudder", AtS: 1, ForS: 7200})
	}
	cfg := configs.Default()
	length, tank, mass := s.Vessel.LengthM, s.Vessel.TankL, s.Vessel.MassKg
	cfg.Vessel.LengthM, cfg.Fuel.TankL = &length, &tank
	cfg.Vessel.DryMassKg, cfg.Load.FuelL, cfg.Load.People = &mass, &s.Vessel.FuelL, 0
	if told {
		late := float64(simulatedLatency+by) / 1e9
		cfg.Sources.LatencyS = &late
	}
	d := New(cfg, "test", s.Buses)
	sim := s.Start(seed)
	source := &lateSource{Day: sim, by: by}
	var f frame.Frame
	for {
		if err := source.Next(&f); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		d.Frame(&f)
	}
	r, _ := d.Finish(0)
	return simulatedDay{s.Environment.WaveHeightM, r, sim.Truth()}
}

// lateSource lets the satellite receiver's messages come later than all others,
// beside the 0.12 s by which they are late in the simulation; with a negative
// time, the others later. In all they are then late as receivers usually are.
type lateSource struct {
	*simulate.Day
	by     int64 // ns
	frames [2][]frame.Frame
	ended  error
}

// receiver is the address of the first receiver.
const receiver = 32

func (l *lateSource) Next(f *frame.Frame) error {
	// Both queues must have a frame before the earlier one can be told.
	for l.ended == nil && (len(l.frames[0]) == 0 || len(l.frames[1]) == 0) {
		if l.ended = l.Day.Next(f); l.ended != nil {
			break
		}
		which := 0
		if byte(f.ID) == receiver {
			which = 1
			f.Time += max(0, l.by)
		} else {
			f.Time += max(0, -l.by)
		}
		l.frames[which] = append(l.frames[which], *f)
	}
	which := 0
	switch a, b := l.frames[0], l.frames[1]; {
	case len(a) == 0 && len(b) == 0:
		return l.ended
	case len(a) == 0 || len(b) > 0 && b[0].Time < a[0].Time:
		which = 1
	}
	*f = l.frames[which][0]
	l.frames[which] = l.frames[which][1:]
	return nil
}

// errorsOf gathers errors of one figure.
type errorsOf struct {
	n            int
	sum, squares float64
	near         int     // within the limit
	inside       int     // truth in the interval
	width        float64 // sum of half the intervals, in their unit
	parts        float64 // sum of squares of the error as part of that
}

func (e *errorsOf) add(err, limit float64) {
	e.n++
	e.sum += err
	e.squares += err * err
	if math.Abs(err) <= limit {
		e.near++
	}
}

func (e *errorsOf) interval(i *results.Interval, truth float64) {
	if i.Lo95 <= truth && truth <= i.Hi95 {
		e.inside++
	}
}

// judge adds a figure with its interval. Without a limit the error is in per
// cent of the truth, and the aim 3.
func (e *errorsOf) judge(t *testing.T, key string, got *float64, intervals map[string]results.Interval, truth, limit float64) {
	i, ok := intervals[key]
	if got == nil || !ok || i.Mean != *got {
		t.Errorf("%s: %v with the interval %v", key, got, i)
		return
	}
	if limit == 0 {
		e.add(100*(*got/truth-1), 3)
	} else {
		e.add(*got-truth, limit)
	}
	e.interval(&i, truth)
	e.weigh(&i, truth)
}

// weigh compares the error with half the interval.
func (e *errorsOf) weigh(i *results.Interval, truth float64) {
	half := (i.Hi95 - i.Lo95) / 2
	e.width += half
	e.parts += (i.Mean - truth) * (i.Mean - truth) / (half * half)
}

func (e *errorsOf) rms() float64  { return math.Sqrt(e.squares / float64(e.n)) }
func (e *errorsOf) part() float64 { return math.Sqrt(e.parts / float64(e.n)) }
func (e *errorsOf) bias() float64 { return e.sum / float64(e.n) }

// manoeuvreScore is what a set of days adds up to. Relative errors in per cent
// where the name does not say otherwise.
type manoeuvreScore struct {
	days                        int
	accelerations, accelFound   int
	turns, turnsFound           int
	stops, stopsFound           int
	shifts, shiftsFound         int
	seconds, late               errorsOf // s, to speeds below and above 90 % of the end speed
	mean, plane                 errorsOf // s
	time, advance, transfer     errorsOf
	tactical, steady, entry     errorsOf
	loss, heelPeak, heelSettled errorsOf // points, degrees
	time90, time180             errorsOf
	settled, rate               errorsOf
	byRudder, byHeading         errorsOf // advance, by what the order was found
	stopTime, astern            errorsOf // s
	reach, track                errorsOf
	path, stopEntry             errorsOf
}

// nearLimit, s: the aim for times to a speed.
const nearLimit = 0.15

func (sc *manoeuvreScore) judge(t *testing.T, d simulatedDay) {
	sc.days++
	sc.judgeAccelerations(t, d)
	sc.judgeTurns(t, d)
	sc.judgeStops(t, d)
	sc.judgeShifts(t, d)
}

func (sc *manoeuvreScore) judgeAccelerations(t *testing.T, d simulatedDay) {
	type pair struct {
		truth *simulate.Acceleration
		found *results.Acceleration
	}
	combined := map[int][]pair{}
	for i := range d.truth.Accelerations {
		x := &d.truth.Accelerations[i]
		sc.accelerations++
		for k := range d.result.Accelerations {
			a := &d.result.Accelerations[k]
			if math.Abs(stamp(t, a.Start).Sub(x.Start).Seconds()) > 1 {
				continue
			}
			sc.accelFound++
			combined[*a.Combined] = append(combined[*a.Combined], pair{x, a})
			for _, m := range a.ToSpeeds {
				want := x.SecondsTo[fmt.Sprintf("%.0f", m.SpeedKn)]
				if want == 0 {
					continue
				}
				e := &sc.seconds
				if m.SpeedKn > 0.9**a.EndSpeedKn {
					e = &sc.late
				}
				e.add(m.Seconds.Mean-want, nearLimit)
				e.interval(&m.Seconds, want)
			}
			if a.ToPlaneS != nil {
				sc.plane.add(a.ToPlaneS.Mean-x.TimeToPlaneS, 0.5)
				sc.plane.interval(a.ToPlaneS, x.TimeToPlaneS)
			}
		}
	}
	for k, pairs := range combined {
		g := &d.result.AccelerationMeans[k]
		if g.Attempts != len(pairs) {
			continue
		}
		for _, m := range g.ToSpeeds {
			want := 0.0
			for _, p := range pairs {
				want += p.truth.SecondsTo[fmt.Sprintf("%.0f", m.SpeedKn)] / float64(len(pairs))
			}
			if m.SpeedKn <= 0.9**pairs[0].found.EndSpeedKn {
				sc.mean.add(m.Seconds.Mean-want, nearLimit)
				sc.mean.interval(&m.Seconds, want)
			}
		}
	}
}

func (sc *manoeuvreScore) judgeTurns(t *testing.T, d simulatedDay) {
	for i := range d.truth.Turns {
		x := &d.truth.Turns[i]
		sc.turns++
		for k := range d.result.Turns {
			a := &d.result.Turns[k]
			if math.Abs(stamp(t, a.Start).Sub(x.Start).Seconds()) > 2 {
				continue
			}
			sc.turnsFound++
			if a.Direction != x.Side {
				t.Errorf("a turn to %s is taken to %s", x.Side, a.Direction)
			}
			for _, f := range []struct {
				key   string
				e     *errorsOf
				got   *float64
				truth float64
				limit float64 // 0: 3 %
			}{
				{"time_90_s", &sc.time90, a.Time90S, x.Time90S, 0}, {"time_180_s", &sc.time180, a.Time180S, x.Time180S, 0},
				{"time_360_s", &sc.time, a.Time360S, x.Time360S, 0}, {"advance_m", &sc.advance, a.AdvanceM, x.AdvanceM, 0},
				{"transfer_m", &sc.transfer, a.TransferM, x.TransferM, 0}, {"tactical_diameter_m", &sc.tactical, a.TacticalDiameterM, x.TacticalM, 0},
				{"steady_diameter_m", &sc.steady, a.SteadyDiameterM, x.DiameterM, 0}, {"entry_speed_kn", &sc.entry, a.EntrySpeedKn, x.EntrySpeedKn, 0},
				{"steady_speed_kn", &sc.settled, a.SteadySpeedKn, x.SettledSpeedKn, 0}, {"rate_of_turn_deg_per_s", &sc.rate, a.RateDegPerS, x.RateOfTurnDegPS, 0},
				{"speed_loss_pct", &sc.loss, a.SpeedLossPct, x.SpeedLossPct, 3}, {"heel_peak_deg", &sc.heelPeak, a.HeelPeakDeg, x.HeelPeakDeg, 1},
				{"heel_settled_deg", &sc.heelSettled, a.HeelSettledDeg, x.HeelSettledDeg, 1},
			} {
				f.e.judge(t, f.key, f.got, a.Intervals, f.truth, f.limit)
			}
			if a.OrderFrom == "rudder" {
				sc.byRudder.judge(t, "advance_m", a.AdvanceM, a.Intervals, x.AdvanceM, 0)
			} else {
				sc.byHeading.judge(t, "advance_m", a.AdvanceM, a.Intervals, x.AdvanceM, 0)
			}
		}
	}
}

func (sc *manoeuvreScore) judgeStops(t *testing.T, d simulatedDay) {
	for i := range d.truth.Stops {
		x := &d.truth.Stops[i]
		sc.stops++
		for k := range d.result.Stops {
			a := &d.result.Stops[k]
			if math.Abs(stamp(t, a.Start).Sub(x.Start).Seconds()) > 1 {
				continue
			}
			sc.stopsFound++
			sc.stopTime.add(a.Seconds.Mean-x.TimeS, nearLimit)
			sc.stopTime.interval(a.Seconds, x.TimeS)
			sc.stopTime.weigh(a.Seconds, x.TimeS)
			sc.reach.judge(t, "head_reach_m", a.HeadReachM, a.Intervals, x.HeadReachM, 0)
			sc.track.judge(t, "track_reach_m", a.TrackReachM, a.Intervals, x.DistanceM, 0)
			sc.path.judge(t, "ground_path_m", a.GroundPathM, a.Intervals, x.GroundTrackM, 0)
			sc.stopEntry.judge(t, "entry_speed_kn", a.EntrySpeedKn, a.Intervals, x.EntrySpeedKn, 0)
			for _, g := range d.truth.GearEvents {
				if since := g.Time.Sub(x.Start).Seconds(); g.To == "reverse" && since > 0 && since < 30 {
					sc.astern.judge(t, "astern_s", a.AsternS, a.Intervals, since, 0.5)
					break
				}
			}
		}
	}
}

// judgeShifts also holds the captain's rule against what was found: on a
// triple the centre engine engages last and disengages first (common practice,
// no source).
func (sc *manoeuvreScore) judgeShifts(t *testing.T, d simulatedDay) {
	for _, x := range d.truth.GearEvents {
		sc.shifts++
		for _, a := range d.result.GearEvents {
			off := stamp(t, a.Time).Sub(x.Time).Seconds()
			if a.Engine == x.Engine && a.From == x.From && a.To == x.To && math.Abs(off) < 0.35 {
				sc.shiftsFound++
				break
			}
		}
	}
	for _, e := range d.result.Engagement {
		centre := slices.Index(e.Engines, "centre")
		if e.Gear != "forward" || len(e.Engines) != 3 {
			continue
		}
		if want := map[string]int{"engaged": 2, "disengaged": 0}[e.What]; centre != want {
			t.Errorf("%s: %s in the order %v", e.Time, e.What, e.Engines)
		}
	}
	out := 0
	for _, o := range d.result.EngineOut {
		if slices.Equal(o.Neutral, []string{"centre"}) && slices.Equal(o.Driving, []string{"port", "starboard"}) {
			out++
		}
	}
	if out != 2 {
		t.Errorf("%d stretches on the outer engines alone, want 2", out)
	}
}

const accelerationHead = "| sea | days | accelerations found | times to speeds: mean error | rms | within 0.15 s | truth in interval | mean of attempts: rms | near top speed: rms | to plane: rms | truth in interval |"

func (sc *manoeuvreScore) accelerationRow(name string) string {
	in := func(e *errorsOf) string { return fmt.Sprintf("%.1f %%", percent(e.inside, e.n)) }
	return fmt.Sprintf("| %s | %d | %d of %d | %+.3f s | %.3f s | %.1f %% of %d | %s | %.3f s | %.2f s | %.2f s | %s |",
		name, sc.days, sc.accelFound, sc.accelerations, sc.seconds.bias(), sc.seconds.rms(),
		percent(sc.seconds.near, sc.seconds.n), sc.seconds.n, in(&sc.seconds), sc.mean.rms(), sc.late.rms(), sc.plane.rms(), in(&sc.plane))
}

const turnHead = "| sea | circles found | rms error: time for 360 | advance | transfer | tactical diameter | steady diameter | entry speed | speed loss | first heel | settled heel | stops found | rms error: time | track reach | head reach |"

func (sc *manoeuvreScore) turnRow(name string) string {
	return fmt.Sprintf("| %s | %d of %d | %.1f %% | %.1f %% | %.1f %% | %.1f %% | %.1f %% | %.1f %% | %.1f points | %.1f° | %.1f° | %d of %d | %.2f s | %.1f %% | %.1f %% |",
		name, sc.turnsFound, sc.turns, sc.time.rms(), sc.advance.rms(), sc.transfer.rms(), sc.tactical.rms(), sc.steady.rms(),
		sc.entry.rms(), sc.loss.rms(), sc.heelPeak.rms(), sc.heelSettled.rms(),
		sc.stopsFound, sc.stops, sc.stopTime.rms(), sc.track.rms(), sc.reach.rms())
}

func TestManoeuvreAccuracyOverManyDays(t *testing.T) {
	days := simulatedDays(t, manoeuvreDays, runManoeuvreDay)
	var all manoeuvreScore
	first, second := []string{accelerationHead}, []string{turnHead}
	for i := range 3 {
		part, name := third(days, i)
		var sc manoeuvreScore
		for _, d := range part {
			sc.judge(t, d)
		}
		first, second = append(first, sc.accelerationRow(name)), append(second, sc.turnRow(name))
	}
	for _, d := range days {
		all.judge(t, d)
	}
	first, second = append(first, all.accelerationRow("all")), append(second, all.turnRow("all"))
	t.Logf("shifts found within 0.35 s: %d of %d\n%s\n%s", all.shiftsFound, all.shifts, strings.Join(first, "\n"), strings.Join(second, "\n"))
	for _, c := range all.plain() {
		t.Logf("%s: mean error %+.2f, rms %.2f, %.0f %% within the aim, truth in interval %.1f %% of %d, half of it %.2f, error %.2f of that",
			c.name, c.e.bias(), c.e.rms(), percent(c.e.near, c.e.n), percent(c.e.inside, c.e.n), c.e.n, c.e.width/float64(c.e.n), c.e.part())
	}
	all.check(t)
}

// With a receiver whose latency is told, single circles are within 3 % of the
// truth in 95 of 100 cases: what keeps them from it in
// TestManoeuvreAccuracyOverManyDays is the latency, and without a rudder sensor
// the onset of the turn.
func TestManoeuvreAccuracyWithToldLatency(t *testing.T) {
	var sc manoeuvreScore
	for _, d := range simulatedDays(t, manoeuvreDays, func(t *testing.T, seed uint64) simulatedDay { return runLateDay(t, seed, true) }) {
		sc.judge(t, d)
	}
	for _, c := range []named{{"advance, rudder heard", &sc.byRudder}, {"advance, no rudder", &sc.byHeading}, {"transfer", &sc.transfer}, {"tactical diameter", &sc.tactical}, {"track reach", &sc.track}} {
		p := percent(c.e.near, c.e.n)
		t.Logf("%s: rms error %.1f %%, %.0f %% of %d within 3 %%", c.name, c.e.rms(), p, c.e.n)
		if p < 95 && c.e != &sc.byHeading {
			t.Errorf("%s: %.0f %% within 3 %%", c.name, p)
		}
	}
}

type named struct {
	name string
	e    *errorsOf
}

// plain lists the figures of turns and stops.
func (sc *manoeuvreScore) plain() []named {
	return []named{
		{"time for 90, %", &sc.time90}, {"time for 180, %", &sc.time180}, {"time for 360, %", &sc.time},
		{"advance, %", &sc.advance}, {"advance, rudder heard, %", &sc.byRudder}, {"advance, no rudder, %", &sc.byHeading}, {"transfer, %", &sc.transfer}, {"tactical diameter, %", &sc.tactical},
		{"steady diameter, %", &sc.steady}, {"entry speed, %", &sc.entry}, {"steady speed, %", &sc.settled},
		{"rate of turn, %", &sc.rate}, {"speed loss, points", &sc.loss},
		{"first heel, degrees", &sc.heelPeak}, {"settled heel, degrees", &sc.heelSettled},
		{"time of a stop, s", &sc.stopTime}, {"first astern, s", &sc.astern}, {"track reach, %", &sc.track},
		{"head reach, %", &sc.reach}, {"way over ground, %", &sc.path}, {"entry speed of a stop, %", &sc.stopEntry},
	}
}

func (sc *manoeuvreScore) check(t *testing.T) {
	for _, c := range []struct {
		name      string
		found, of int
	}{
		{"accelerations", sc.accelFound, sc.accelerations}, {"turns", sc.turnsFound, sc.turns},
		{"stops", sc.stopsFound, sc.stops}, {"shifts", sc.shiftsFound, sc.shifts},
	} {
		if percent(c.found, c.of) < 99.5 {
			t.Errorf("%d of %d %s were found", c.found, c.of, c.name)
		}
	}
	if p := percent(sc.seconds.near, sc.seconds.n); p < 95 {
		t.Errorf("%.1f %% of the times to a speed are within %g s, want 95 %%", p, nearLimit)
	}
	for _, c := range []struct {
		name string
		e    *errorsOf
		bias float64
		rms  float64
	}{
		{"time to a speed, s", &sc.seconds, 0.05, 0.08},
		{"mean of attempts, s", &sc.mean, 0.05, 0.06},
		{"time to plane, s", &sc.plane, 0.2, 0.6},
		{"time for 360, %", &sc.time, 1, 1.5},
		{"advance, %", &sc.advance, 1.5, 3},
		{"transfer, %", &sc.transfer, 1.5, 3},
		{"tactical diameter, %", &sc.tactical, 1, 3},
		{"steady diameter, %", &sc.steady, 1, 3},
		{"entry speed, %", &sc.entry, 1, 3},
		{"settled heel, degrees", &sc.heelSettled, 0.5, 1},
		{"first heel, degrees", &sc.heelPeak, 0.8, 2},
		{"time of a stop, s", &sc.stopTime, 0.1, 0.15},
		{"track reach, %", &sc.track, 1, 3},
		{"head reach, %", &sc.reach, 1, 3},
	} {
		if math.Abs(c.e.bias()) > c.bias || c.e.rms() > c.rms {
			t.Errorf("%s: mean error %+.3f, rms %.3f, want %g and %g", c.name, c.e.bias(), c.e.rms(), c.bias, c.rms)
		}
	}
	for _, c := range []named{{"times to a speed", &sc.seconds}, {"mean of attempts", &sc.mean}, {"time to plane", &sc.plane}} {
		if p := percent(c.e.inside, c.e.n); p < 92 {
			t.Errorf("the 95 %% interval of %s holds the truth in %.1f %% of cases", c.name, p)
		}
	}
	// Half an interval is about two standard errors: the error is half of it,
	// rms, where it is told right.
	for _, c := range sc.plain() {
		p, part := percent(c.e.inside, c.e.n), c.e.part()
		if p < 90 || part > 0.65 || part < 0.2 {
			t.Errorf("the 95 %% interval of %s holds the truth in %.1f %% of cases; the error is %.2f of half of it", c.name, p, part)
		}
	}
	// Single circles within 3 %. More is not to be had of advance and transfer:
	// see TestLatencyBoundsAdvanceAndTransfer of calc/manoeuvre.
	for _, c := range []struct {
		e    *errorsOf
		name string
		want float64
	}{
		{&sc.time, "time for 360", 99}, {&sc.tactical, "tactical diameter", 97}, {&sc.steady, "steady diameter", 95},
		{&sc.transfer, "transfer", 86}, {&sc.byRudder, "advance, rudder heard", 80}, {&sc.byHeading, "advance, no rudder", 60},
	} {
		if p := percent(c.e.near, c.e.n); p < c.want {
			t.Errorf("%s: %.0f %% of single circles are within 3 %%, want %.0f %%", c.name, p, c.want)
		}
	}
}
