package results

import (
	"fmt"
	"math"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results/units"
)

// DayBurn is what was burnt over the whole day, on a boat without fuel rates of
// all its engines. Null where it could not be told; why_not says why.
type DayBurn struct {
	TankL      *Interval `json:"tank_l"`   // fall of the tank level (PGN 127505) from rest to rest
	TopUpL     *Interval `json:"top_up_l"` // fuel.top_up_l
	DistanceNM *float64  `json:"distance_nm"`
	UnderwayH  *float64  `json:"underway_h"` // at more than 0.6 kn
	// The mean over the day, by the better of the two.
	LPerNM *Interval `json:"l_per_nm"`
	LPH    *Interval `json:"l_per_h"` // of being under way
	WhyNot string    `json:"why_not"`
}

// Burnt is what DayBurn is made of, in SI.
type Burnt struct {
	Tank              stat.Estimate // m³
	Why               string        // where Tank is not known
	TopUp, TopUpError float64       // m³; NaN for none, the error half of a 95 % interval
	Distance, Moving  float64       // m, s
}

// AddDayBurn fills in the day's burn, and tells it as a finding.
func (r *Results) AddDayBurn(b Burnt) {
	d := &DayBurn{TankL: interval(b.Tank, litres), WhyNot: b.Why,
		DistanceNM: scaled(b.Distance, 1/units.MetresPerNauticalMile), UnderwayH: scaled(b.Moving, 1/3600.0)}
	best, by := b.Tank, "fall of the tank level"
	if b.TopUp > 0 {
		const exact = 1e6 // degrees of freedom of a limit that is known
		topUp := stat.Estimate{Mean: b.TopUp, SE: math.Sqrt2 * b.TopUpError / stat.StudentT975(exact), DOF: exact}
		d.TopUpL, d.WhyNot = interval(topUp, litres), ""
		if math.IsNaN(best.Mean) || topUp.SE < best.SE {
			best, by = topUp, "measured top-up"
		}
	}
	if b.Distance > 0 && b.Moving > 0 {
		d.LPerNM = interval(best, litres*units.MetresPerNauticalMile/b.Distance)
		d.LPH = interval(best, litres*3600/b.Moving)
	}
	r.DayBurn = d
	meaning := "it is all there is without fuel rates of all engines; burn, economy and range by rpm step cannot be derived from it"
	if r.FromTank() {
		meaning = "a mean over the whole day; that of single steps stands with them, from the tank level"
	}
	if v := interval(best, litres); v != nil && d.LPerNM != nil {
		r.Findings = append(r.Findings, Finding{
			Kind: "day_burn", Sure: "95 % interval",
			What: fmt.Sprintf("the day's burn is %.0f L (%.0f to %.0f) by the %s: %.2f L per nautical mile (%.2f to %.2f) over %.1f nm",
				v.Mean, v.Lo95, v.Hi95, by, d.LPerNM.Mean, d.LPerNM.Lo95, d.LPerNM.Hi95, *d.DistanceNM),
			Meaning: meaning,
			Remedy:  "let the engine gateways send the fuel rate (" + pgn.FuelRate.Ways() + "), or fill to a mark before and after and set fuel.top_up_l",
		})
		return
	}
	r.Missing = append(r.Missing, MissingFigure{"burn of the day", b.Why + "; fill to a mark before and after the day and set fuel.top_up_l"})
}
