package results

import (
	"math"
	"math/cmplx"

	"trialday.example/logd/calc"
	"trialday.example/logd/sink/results/units"
)

// Current is one current through the whole day, fitted together with the speed
// through water of every step.
type Current struct {
	Known            bool          `json:"known"`
	Why              string        `json:"why"` // where not known
	Knots            []CurrentKnot `json:"knots"`
	CompassOffsetDeg *Interval     `json:"compass_offset_deg"` // to be added to the heading
	// WindLossPct is the loss of speed in 10 kn of head wind, % of speed; null
	// where no wind was heard.
	WindLossPct *Interval `json:"wind_loss_pct_per_10_kn"`
	// Goodness of fit: chi square, its degrees of freedom and the probability
	// of one as large by chance.
	Chi2   *float64 `json:"chi2"`
	DOF    *float64 `json:"dof"`
	PValue *float64 `json:"p_value"`
	Note   string   `json:"note"`
}

// CurrentKnot is the current at one time; between knots it runs in a straight
// line.
type CurrentKnot struct {
	Time   string  `json:"time"`
	Kn     float64 `json:"kn"`
	SetDeg float64 `json:"set_deg"` // the direction it flows to
	SEKn   float64 `json:"se_kn"`   // standard error of each component
}

// StepDayFit is a step's speed through water by the fit of the day.
type StepDayFit struct {
	SpeedKn Interval `json:"speed_kn"`
	// Clear is false where the day's courses cannot tell the step's speed from
	// the current.
	Clear bool `json:"clear"`
	// Leverage is the largest part that one window has in its own fitted
	// value, 0 to 1.
	Leverage float64 `json:"leverage"`
}

// Optimum is the top of a curve of economy over speed.
type Optimum struct {
	Known         bool      `json:"known"`
	Why           string    `json:"why"` // where not known
	SpeedKn       *Interval `json:"speed_kn"`
	EconomyNMPerL *Interval `json:"economy_nm_per_l"`
	Steps         int       `json:"steps"` // that the curve was fitted to
}

// Paddle is the calibration of the paddle wheel: speed through water is offset
// plus factor times what it gives.
type Paddle struct {
	Known    bool      `json:"known"`
	Why      string    `json:"why"`
	Windows  int       `json:"windows"`
	Factor   *Interval `json:"factor"`
	OffsetKn *Interval `json:"offset_kn"`
	SDKn     *float64  `json:"sd_kn"`
	FromKn   *float64  `json:"from_kn"`
	ToKn     *float64  `json:"to_kn"`
}

// windNote says what the fit of the current cannot do.
const windNote = "wind and sea make the boat faster on one course as a current does; they are told from it only by growing with boat speed, and what is left of them is in the current"

// dayFit fills in the day's current and what follows from it.
func (r *Results) dayFit(rep *calc.Report, e Edge) {
	f := &rep.Day
	r.Current = Current{Known: f.OK, Why: f.Why}
	if f.OK {
		r.Current.WindLossPct = interval(f.Wind, 100*10/units.Knots(1))
		offset := *interval(f.Offset, 180/math.Pi)
		r.Current.CompassOffsetDeg, r.Current.Note = &offset, windNote
		r.Current.Chi2, r.Current.DOF, r.Current.PValue = scaled(f.Chi2, 1), scaled(f.DOF, 1), scaled(f.PValue, 1)
		for _, k := range f.Knots {
			r.Current.Knots = append(r.Current.Knots, CurrentKnot{
				Time: e.Stamp(k.Time), Kn: units.Knots(cmplx.Abs(k.Flow)),
				SetDeg: *compass(cmplx.Phase(k.Flow)), SEKn: units.Knots(k.SE),
			})
		}
	}
	p := &rep.Paddle
	r.Paddle = Paddle{Known: p.OK, Why: p.Why, Windows: p.Points}
	if p.OK {
		r.Paddle.Factor, r.Paddle.OffsetKn = interval(p.Factor, 1), interval(p.Offset, units.Knots(1))
		r.Paddle.SDKn = scaled(p.SD, units.Knots(1))
		r.Paddle.FromKn, r.Paddle.ToKn = scaled(p.Lo, units.Knots(1)), scaled(p.Hi, units.Knots(1))
	}
}

// stepDayFit is what the fit of the day gives for step i; nil without a fit.
func stepDayFit(f *calc.DayFit, i int, windows []int) *StepDayFit {
	if !f.OK {
		return nil
	}
	s := &StepDayFit{SpeedKn: *interval(f.Speed[i], units.Knots(1)), Clear: f.Clear[i]}
	for _, id := range windows {
		s.Leverage = math.Max(s.Leverage, f.Leverage[id])
	}
	return s
}

func optimum(o *calc.Optimum) Optimum {
	out := Optimum{Known: o.OK, Why: o.Why, Steps: o.Steps}
	if o.OK {
		out.SpeedKn = interval(o.Speed, units.Knots(1))
		out.EconomyNMPerL = interval(o.Economy, economyNMPerL)
	}
	return out
}
