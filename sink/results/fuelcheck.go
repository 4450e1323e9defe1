package results

import (
	"fmt"
	"math"
	"strings"

	"trialday.example/logd/calc"
	"trialday.example/logd/pgn"
)

// FuelCheck holds the integrated fuel rate against every other measurement of
// the day's burn. It is told, never applied: the sheet's figures are those of
// the fuel rate as it was sent.
type FuelCheck struct {
	MeteredL *float64 `json:"metered_l"` // integrated fuel rate, all engines, whole recording
	UnsureL  float64  `json:"unsure_l"`  // how much of it may be wrong by silences of the fuel rate
	// Each reference; null where it was not there or too short.
	Trip  *FuelScale `json:"trip"`   // trip totals (PGN 127497), all engines
	Tank  *FuelScale `json:"tank"`   // fall of the tank level (PGN 127505)
	TopUp *FuelScale `json:"top_up"` // fuel.top_up_l
	// Engines port to starboard.
	Engines []EngineFuelCheck `json:"engines"`
	// BalanceWindows counts the steady windows at equal rpm behind imbalance_pct.
	BalanceWindows int `json:"balance_windows"`
}

// FuelScale is one reference. Scale is what the metered burn must be multiplied
// by to give the reference.
type FuelScale struct {
	MeteredL   float64  `json:"metered_l"` // over the part of the day that was compared
	ReferenceL float64  `json:"reference_l"`
	Scale      Interval `json:"scale"`
	Pieces     int      `json:"pieces"`  // of the day, behind the interval; 1 for a single measurement
	Differs    bool     `json:"differs"` // from 1, by more than 1 % and outside the interval
}

// EngineFuelCheck is one engine's share.
type EngineFuelCheck struct {
	Engine     string     `json:"engine"`
	MeteredL   *float64   `json:"metered_l"`
	Trip       *FuelScale `json:"trip"`
	TripResets int        `json:"trip_resets"`
	// ImbalancePct is the burn at equal rpm above the engines' mean.
	ImbalancePct *Interval `json:"imbalance_pct"`
}

const litres = 1000 // in a cubic metre

// fuelCheck fills in the check and what it finds.
func (r *Results) fuelCheck(c *calc.FuelCheck, e Edge) {
	f := &r.FuelCheck
	*f = FuelCheck{MeteredL: scaled(c.Volume, litres), UnsureL: c.Unsure * litres,
		Trip: fuelScale(&c.Trip), Tank: fuelScale(&c.Tank), TopUp: fuelScale(&c.TopUp), BalanceWindows: c.Balanced}
	for i, name := range e.Engines {
		in := &c.Engines[i]
		f.Engines = append(f.Engines, EngineFuelCheck{Engine: name, MeteredL: scaled(in.Volume, litres),
			Trip: fuelScale(&in.Trip), TripResets: in.Resets, ImbalancePct: interval(c.Imbalance[i], 100)})
	}
	if r.Vessel.FuelKind != "none" && f.MeteredL != nil && f.Trip == nil && f.Tank == nil && f.TopUp == nil {
		r.Missing = append(r.Missing, MissingFigure{"fuel meter check",
			"needs trip totals (" + pgn.TripFuel.Ways() + "), a tank level (PGN 127505) over enough burn, or fuel.top_up_l"})
	}
	r.fuelFindings(c, e)
}

func fuelScale(s *calc.FuelScale) *FuelScale {
	if !s.Known() {
		return nil
	}
	return &FuelScale{MeteredL: s.Metered * litres, ReferenceL: s.Reference * litres,
		Scale: *interval(s.Scale, 1), Pieces: s.N, Differs: s.Differs()}
}

// fuelFindings says where meters disagree. Trip totals come from the engines'
// own controllers and are told engine by engine.
func (r *Results) fuelFindings(c *calc.FuelCheck, e Edge) {
	for i, name := range e.Engines {
		if s := &c.Engines[i].Trip; s.Differs() {
			r.disagree("fuel_rate_scale", s, "trip total of "+name, "rate and total come from one controller and should agree: one of them is scaled wrongly or messages are lost",
				"compare both with a measured filling; check the engine gateway's settings")
		}
	}
	const meaning = "burn, economy and range on this sheet are those of the fuel rate as sent; "
	if c.Tank.Differs() {
		r.disagree("fuel_rate_tank", &c.Tank, "fall of the tank level", meaning+"a level sender is linear only where the tank's sides are upright",
			"fill to a mark before and after a trial and set fuel.top_up_l; calibrate the sender or the meters")
	}
	if c.TopUp.Differs() {
		r.disagree("fuel_rate_top_up", &c.TopUp, "measured top-up", meaning+"they are off by the factor given",
			"have the fuel meters calibrated, or state the factor beside the figures")
	}
	if c.Tank.Contradicts(&c.TopUp) {
		r.Findings = append(r.Findings, Finding{
			Kind: "fuel_references", Sure: outside,
			What:    fmt.Sprintf("tank level and top-up contradict each other: factors %.3f and %.3f", c.Tank.Scale.Mean, c.TopUp.Scale.Mean),
			Meaning: "one of the two is wrong; the pump's meter is usually the better",
			Remedy:  "check fuel.top_up_l, the capacity that the level sender gives, and that both marks were the same",
		})
	}
	var uneven []string
	for i, name := range e.Engines {
		if d := c.Imbalance[i]; math.Abs(d.Mean) > imbalance && math.Abs(d.Mean) > d.HalfWidth() {
			uneven = append(uneven, fmt.Sprintf("%s %+.1f %%", name, 100*d.Mean))
		}
	}
	if len(uneven) > 0 {
		r.Findings = append(r.Findings, Finding{
			Kind: "engines_uneven", Sure: outside,
			What:    "at equal rpm the engines burn unequally: " + strings.Join(uneven, ", ") + " against their mean",
			Meaning: "propellers, rudders or drives differ, an engine is out of order, or a fuel rate is scaled wrongly",
			Remedy:  "compare the engines' loads and trip totals, then the propellers",
		})
	}
}

// imbalance: engines of one boat that burn within 5 % of their mean are even
// (common practice, no source); propellers alone differ by a few per cent.
const imbalance = 0.05

// outside is how sure a comparison of meters is.
const outside = "significant: outside the 95 % interval"

func (r *Results) disagree(kind string, s *calc.FuelScale, what, meaning, remedy string) {
	lo, hi := s.Scale.Interval()
	r.Findings = append(r.Findings, Finding{
		Kind: kind, Sure: fmt.Sprintf("%s (t = %.0f)", outside, math.Abs(s.Scale.Mean-1)/s.Scale.SE),
		What: fmt.Sprintf("the fuel rate gives %.1f L, the %s %.1f L: factor %.3f (%.3f to %.3f)",
			s.Metered*litres, what, s.Reference*litres, s.Scale.Mean, lo, hi),
		Meaning: meaning, Remedy: remedy,
	})
}
