package results

import (
	"math"
	"math/cmplx"
	"strings"
	"time"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/sink/results/units"
)

// Edge turns what calculation gives (SI units, trial time, engine indices)
// into what leaves the program.
type Edge struct {
	// UTC turns trial time in ns into UTC in ns since 1970.
	UTC func(trial int64) int64
	// Engines are the engines' names by index, port to starboard.
	Engines []string
	// Frames finds the frames of a stretch of trial time, nil for none; nil
	// where frames are not counted.
	Frames func(from, to int64) *FrameRange
}

// Stamp writes trial time as RFC 3339 in UTC, to the millisecond.
func (e Edge) Stamp(trial int64) string {
	return time.Unix(0, e.UTC(trial)).UTC().Format("2006-01-02T15:04:05.000Z07:00")
}

// Figures fills in all that comes from the report: trial times, best, steps,
// windows and runs.
func (r *Results) Figures(rep *calc.Report, e Edge) {
	if rep.End > rep.Start {
		r.Trial.Start, r.Trial.End = e.Stamp(rep.Start), e.Stamp(rep.End)
	}
	r.Answers(rep, e)
	for i := range rep.Windows {
		r.Windows = append(r.Windows, e.window(&rep.Windows[i]))
	}
	r.dayFit(rep, e)
	r.Manoeuvres = e.manoeuvres(&rep.Manoeuvres)
	r.fuelCheck(&rep.FuelCheck, e)
	r.propulsion(rep, e)
	r.massReference(rep.AtMass, rep.Steps, rep.Reference)
	for _, run := range rep.Runs {
		r.Runs = append(r.Runs, Run{ID: run.ID, Kind: run.Kind.String(), Start: e.Stamp(run.Start), End: e.Stamp(run.End)})
	}
}

// Answers fills in the steps and the best of them.
func (r *Results) Answers(rep *calc.Report, e Edge) {
	r.Best, r.Steps = best(&rep.Best), e.steps(rep)
}

func (e Edge) window(w *calc.Window) Window {
	out := Window{
		ID: w.ID, Run: w.Run, Start: e.Stamp(w.Start), End: e.Stamp(w.End),
		Accepted: w.Accepted(), Reason: w.Reason.String(), Amended: w.Amended.String(), Step: id(w.Step),
		HeadingDeg: compass(w.Heading.Mean), COGDeg: compass(w.Course.Mean),
		SOGKn: interval(w.SOG, units.Knots(1)), STWKn: interval(w.STW, units.Knots(1)),
		RPM: map[string]Interval{}, FuelLPH: interval(w.Total, units.LitresPerHour(1)), PowerKW: interval(w.Power, 1e-3),
		EngineFuelLPH: map[string]Interval{},
		LoadPct:       scaled(w.Load.Mean, 100), TrimPct: scaled(w.Trim.Mean, 100),
		PitchDeg: degrees(w.Pitch.Mean), RollDeg: degrees(w.Roll.Mean),
		DepthM: scaled(w.Depth.Mean, 1), DepthFroude: scaled(w.DepthFroude(), 1), WavePeriodS: scaled(w.Wave, 1),
		WindKn: scaled(w.Breeze.Mean, units.Knots(1)), WindFromDeg: compass(cmplx.Phase(w.Wind)),
	}
	if e.Frames != nil {
		out.Frames = e.Frames(w.Start, w.End)
	}
	out.Intervals = map[string]Interval{}
	for _, f := range []struct {
		key   string
		value stat.Estimate
		scale float64
	}{
		{"heading_deg", w.Heading, 180 / math.Pi}, {"cog_deg", w.Course, 180 / math.Pi},
		{"load_pct", w.Load, 100}, {"pitch_deg", w.Pitch, 180 / math.Pi}, {"roll_deg", w.Roll, 180 / math.Pi},
		{"trim_pct", w.Trim, 100}, {"depth_m", w.Depth, 1}, {"wind_kn", w.Breeze, units.Knots(1)},
	} {
		if v := interval(f.value, f.scale); v != nil {
			if turn := strings.HasPrefix(f.key, "heading") || strings.HasPrefix(f.key, "cog"); turn && v.Mean < 0 {
				v.Mean, v.Lo95, v.Hi95 = v.Mean+360, v.Lo95+360, v.Hi95+360
			}
			out.Intervals[f.key] = *v
		}
	}
	for i, name := range e.Engines {
		if v := interval(w.RPM[i], 60); v != nil {
			out.RPM[name] = *v
		}
		if v := interval(w.Fuel[i], units.LitresPerHour(1)); v != nil {
			out.EngineFuelLPH[name] = *v
		}
	}
	return out
}

// metresPerCubicMetre in nautical miles a litre.
const economyNMPerL = 1 / units.MetresPerNauticalMile / 1000

func (e Edge) steps(rep *calc.Report) []Step {
	var out []Step
	for i := range rep.Steps {
		s := e.step(&rep.Steps[i])
		s.DayFit = stepDayFit(&rep.Day, i, s.Windows)
		out = append(out, s)
	}
	return out
}

func (e Edge) step(s *calc.Step) Step {
	nmPerL := s.Economy.Scale(economyNMPerL)
	out := Step{
		ID: s.ID, RPM: s.RPM * 60,
		SpeedKn:   *interval(s.Speed, units.Knots(1)),
		SpeedMPH:  *interval(s.Speed, units.MPH(units.Knots(1))),
		FuelLPH:   interval(s.Fuel, units.LitresPerHour(1)),
		FuelUSGPH: interval(s.Fuel, units.USGallons(units.LitresPerHour(1))),

		EconomyNMPerL: interval(nmPerL, 1),
		EconomyLPerNM: inverse(nmPerL),
		EconomyNMPGal: interval(nmPerL, units.NauticalPerUSGallon(1)),
		EconomyMPG:    interval(nmPerL, units.MilesPerUSGallon(1)),
		RangeNM:       interval(s.Range, 1/units.MetresPerNauticalMile),

		RangeBurnOffNM: scaled(s.BurnOff, 1/units.MetresPerNauticalMile),
		EngineFuelLPH:  map[string]Interval{},

		LoadPct: scaled(s.Load, 100), PitchDeg: degrees(s.Pitch), TrimPct: scaled(s.Trim, 100),
		Passes: s.Passes, Windows: s.Windows, CurrentCorrected: s.Corrected,
		CurrentKn: scaled(cmplx.Abs(s.Flow), units.Knots(1)), CurrentSetDeg: compass(cmplx.Phase(s.Flow)),
		MassKg: scaled(s.Mass, 1),
	}
	if s.FromTank {
		out.FuelFrom = FromTankLevel
	}
	for i, name := range e.Engines {
		if s.Engines.Has(i) {
			out.Engines = append(out.Engines, name)
		}
		if v := interval(s.ByEngine[i], units.LitresPerHour(1)); v != nil {
			out.EngineFuelLPH[name] = *v
		}
	}
	return out
}

func best(b *calc.Best) Best {
	out := Best{
		TopSpeedStep: id(b.TopSpeed), BestEconomyStep: id(b.Economy),
		BestPlaningEconomyStep: id(b.PlaningEconomy), LevelEconomySteps: b.Level,
		CruiseStep: id(b.CruiseStep), PlaningOptimum: optimum(&b.PlaningTop), DisplacementOptimum: optimum(&b.DisplacementTop),
	}
	if c := b.Cruise; !math.IsNaN(c.Load) {
		out.Cruise = &Cruise{
			LoadPct: c.Load * 100, RPM: c.RPM * 60, SpeedKn: units.Knots(c.Speed),
			FuelLPH:       scaled(c.Fuel, units.LitresPerHour(1)),
			EconomyNMPerL: scaled(c.Economy, economyNMPerL),
			RangeNM:       scaled(c.Range, 1/units.MetresPerNauticalMile),
		}
	}
	return out
}

// Line turns the report's line into the timeline for drawing.
func (e Edge) Line(l *calc.Line) *Timeline {
	t := &Timeline{StepS: float64(l.Step) / 1e9, RPM: make([][]float64, len(e.Engines))}
	if len(l.Points) == 0 {
		return t
	}
	t.StartUnix = float64(e.UTC(l.Start)) / 1e9
	for _, p := range l.Points {
		t.SpeedKn = append(t.SpeedKn, units.Knots(p.SOG))
		t.FuelLPH = append(t.FuelLPH, units.LitresPerHour(p.Fuel))
		for i := range t.RPM {
			t.RPM[i] = append(t.RPM[i], p.RPM[i]*60)
		}
	}
	return t
}

// id returns nil for 0, which stands for none.
func id(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

// scaled returns v*k, nil where v is not known.
func scaled(v, k float64) *float64 {
	if v *= k; math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func degrees(rad float64) *float64 { return scaled(rad, 180/math.Pi) }

// compass returns an angle as 0 up to 360 degrees.
func compass(rad float64) *float64 {
	d := degrees(rad)
	if d != nil {
		*d = math.Mod(*d+360, 360)
	}
	return d
}

// interval returns the estimate times k, nil where it is not known.
func interval(e stat.Estimate, k float64) *Interval {
	e = e.Scale(k)
	if math.IsNaN(e.Mean) || math.IsInf(e.Mean, 0) {
		return nil
	}
	lo, hi := e.Interval()
	return &Interval{Mean: e.Mean, Lo95: lo, Hi95: hi}
}

// inverse returns 1/e with its interval turned over; a lower bound that is not
// above zero leaves the upper bound of the inverse open.
func inverse(e stat.Estimate) *Interval {
	v := interval(e, 1)
	if v == nil || v.Mean == 0 {
		return nil
	}
	out := &Interval{Mean: 1 / v.Mean, Lo95: 1 / v.Hi95, Hi95: math.NaN()}
	if v.Lo95 > 0 {
		out.Hi95 = 1 / v.Lo95
	}
	return out
}
