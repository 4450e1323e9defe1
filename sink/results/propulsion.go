package results

import (
	"fmt"
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results/units"
)

// Propulsion tells how engines, propellers and boat fit each other.
type Propulsion struct {
	// Assumptions say what power, slip and law rest on.
	Assumptions []string        `json:"assumptions"`
	Steps       []StepDrive     `json:"steps"`
	Engines     []EngineLoading `json:"engines"`
}

// StepDrive is one step's share.
type StepDrive struct {
	Step int `json:"step"` // id
	// SyncRPM is the mean lead of the fastest driving engine over the slowest.
	SyncRPM *float64      `json:"sync_rpm"`
	Engines []EngineDrive `json:"engines"` // those that drive
}

// EngineDrive is one engine at one step; null where a sensor or a key is
// missing.
type EngineDrive struct {
	Engine   string    `json:"engine"`
	RPM      float64   `json:"rpm"`
	SlipPct  *Interval `json:"slip_pct"` // apparent
	LoadPct  *float64  `json:"load_pct"`
	PowerKW  *float64  `json:"power_kw"`
	FuelLPH  *Interval `json:"fuel_lph"`
	BoostKPa *float64  `json:"boost_kpa"`
	// PowerPct is the power as part of that at the top step, LawPct the same
	// by the propeller law, power ~ rpm³.
	PowerPct *float64 `json:"power_pct_of_top"`
	LawPct   *float64 `json:"propeller_law_pct_of_top"`
}

// EngineLoading is how an engine's load rises to full throttle.
type EngineLoading struct {
	Engine       string    `json:"engine"`
	LoadExponent *Interval `json:"load_exponent"` // k in power ~ rpm^k, by the load
	FuelExponent *Interval `json:"fuel_exponent"` // the same by the fuel rate
	TopStep      *int      `json:"top_step"`      // the step with the highest rpm
	TopRPM       *float64  `json:"top_rpm"`
	TopLoadPct   *float64  `json:"top_load_pct"`
	RatedRPM     *float64  `json:"rated_rpm"`
	ShortfallPct *float64  `json:"shortfall_pct"` // of top_rpm below rated_rpm, % of it; negative above
	// Match is matched, over_propped, under_propped, load_not_heard,
	// part_throttle or unknown; Statement says it in words.
	Match     string `json:"match"`
	Statement string `json:"statement"`
}

// propulsion fills in what the report says, and what is to be told of it.
func (r *Results) propulsion(rep *calc.Report, e Edge) {
	p := &rep.Propulsion
	r.Propulsion.Assumptions = []string{
		"slip is apparent: by the boat's speed through water and the nominal pitch; the wake is not known",
		"power is load times rated power times rpm over rated rpm: load is taken as torque in per cent of the greatest at that rpm, " +
			"and that greatest torque as the same at all rpm; an engine's torque curve would put it right, in the middle by 10 to 20 %",
		"the propeller law is power ~ rpm³ through the top step; planing boats have a lower exponent, about 2 to 2.7",
	}
	for i := range p.Steps {
		r.Propulsion.Steps = append(r.Propulsion.Steps, e.stepDrive(&rep.Steps[i], &p.Steps[i]))
	}
	for i, name := range e.Engines {
		l := e.loading(i, &p.Engines[i])
		r.Propulsion.Engines = append(r.Propulsion.Engines, l)
		switch m := p.Engines[i].Match; m {
		case calc.OverPropped, calc.UnderPropped:
			r.Findings = append(r.Findings, Finding{What: name + ": " + l.Statement, Meaning: matchMeaning[m], Remedy: matchRemedy[m]})
		}
	}
	if len(rep.Steps) > 0 {
		r.missingPropulsion(p)
	}
}

func (r *Results) missingPropulsion(p *calc.Propulsion) {
	slip, power := false, false
	for i := range p.Steps {
		for _, d := range p.Steps[i].Engines {
			slip = slip || !math.IsNaN(d.Slip.Mean)
			power = power || !math.IsNaN(d.Power)
		}
	}
	if !slip {
		r.Missing = append(r.Missing, MissingFigure{"propeller slip",
			"needs engines[].gear_ratio, engines[].prop_pitch_m and a step corrected for current"})
	}
	if !power {
		r.Missing = append(r.Missing, MissingFigure{"engine power",
			"needs engines[].rated_power_kw, engines[].rated_rpm and the engine load (" + pgn.EngineLoad.Ways() + ")"})
	}
}

func (e Edge) stepDrive(s *calc.Step, d *calc.StepDrive) StepDrive {
	out := StepDrive{Step: d.Step, SyncRPM: scaled(s.Drive.Spread, 60)}
	if s.Engines.Count() < 2 {
		out.SyncRPM = nil
	}
	for i, name := range e.Engines {
		if !s.Engines.Has(i) {
			continue
		}
		in := &d.Engines[i]
		out.Engines = append(out.Engines, EngineDrive{
			Engine: name, RPM: s.Drive.RPM[i] * 60, SlipPct: interval(in.Slip, 100), LoadPct: scaled(s.Drive.Load[i], 100),
			PowerKW: scaled(in.Power, 1e-3), FuelLPH: interval(s.ByEngine[i], units.LitresPerHour(1)),
			BoostKPa: scaled(s.Drive.Boost[i], 1e-3), PowerPct: scaled(in.Part, 100), LawPct: scaled(in.Law, 100),
		})
	}
	return out
}

func (e Edge) loading(i int, l *calc.Loading) EngineLoading {
	out := EngineLoading{
		Engine: e.Engines[i], LoadExponent: interval(l.LoadExponent, 1), FuelExponent: interval(l.FuelExponent, 1),
		TopStep: id(l.Top), TopRPM: scaled(l.RPM, 60), TopLoadPct: scaled(l.Load, 100),
		RatedRPM: scaled(l.Rated, 60), ShortfallPct: scaled(l.Shortfall, 100), Match: l.Match.String(),
	}
	top, rated := l.RPM*60, l.Rated*60
	switch l.Match {
	case calc.Matched:
		out.Statement = fmt.Sprintf("reaches %.0f of %.0f rated rpm at %.0f %% load: engine and propeller match", top, rated, 100*l.Load)
	case calc.OverPropped:
		out.Statement = fmt.Sprintf("over-propped: at full load only %.0f of %.0f rated rpm, %.1f %% short", top, rated, 100*l.Shortfall)
	case calc.UnderPropped:
		out.Statement = fmt.Sprintf("under-propped: %.0f of %.0f rated rpm at only %.0f %% load", top, rated, 100*l.Load)
		if l.Shortfall < 0 && l.Load >= 0.95 {
			out.Statement = fmt.Sprintf("under-propped: %.0f rpm at full load, %.1f %% above the rated %.0f", top, -100*l.Shortfall, rated)
		}
	case calc.LoadNotHeard:
		out.Statement = fmt.Sprintf("%.0f of %.0f rated rpm, %.1f %% short; over-propped if that was full throttle: no engine load was heard to tell", top, rated, 100*l.Shortfall)
	case calc.PartThrottle:
		out.Statement = fmt.Sprintf("%.0f of %.0f rated rpm at %.0f %% load: full throttle was not seen in a steady window, or the engine lacks power", top, rated, 100*l.Load)
	default:
		out.Statement = "how the propeller fits is not known: needs engines[].rated_rpm and the engine load"
	}
	return out
}

var matchMeaning = map[calc.Match]string{
	calc.OverPropped:  "the engine is overloaded at full throttle and below: more pitch or diameter than the boat at this mass can turn, or fouling",
	calc.UnderPropped: "the engine cannot give its full power at its rated speed: top speed is left unused",
}

var matchRemedy = map[calc.Match]string{
	calc.OverPropped:  "check hull and propeller for fouling and damage and the test weight; then less pitch or diameter",
	calc.UnderPropped: "more pitch or diameter, if the boat's full load leaves the room",
}

// MassReference gives speeds at the configured reference mass, beside the
// measured ones and never in their place.
type MassReference struct {
	ReferenceKg float64      `json:"reference_kg"`
	Steps       []StepAtMass `json:"steps"`
}

// StepAtMass is a step measured, and at the reference mass with the same power
// and burn.
type StepAtMass struct {
	Step                 int       `json:"step"`
	MassKg               float64   `json:"mass_kg"`
	SpeedKn              Interval  `json:"speed_kn"` // measured
	SpeedAtReferenceKn   Interval  `json:"speed_at_reference_kn"`
	EconomyAtReferenceNM *Interval `json:"economy_at_reference_nm_per_l"`
	Law                  string    `json:"law"`
}

func (r *Results) massReference(at []calc.AtMass, steps []calc.Step, reference float64) {
	if !(reference > 0) {
		return
	}
	m := &MassReference{ReferenceKg: reference}
	for i := range at {
		a := &at[i]
		m.Steps = append(m.Steps, StepAtMass{Step: a.Step, MassKg: a.Mass, Law: a.Law.Name,
			SpeedKn:              knots(steps[a.Step-1].Speed),
			SpeedAtReferenceKn:   knots(a.Speed),
			EconomyAtReferenceNM: interval(a.Economy.Scale(economyNMPerL), 1)})
	}
	r.MassReference = m
	if len(m.Steps) == 0 {
		r.Missing = append(r.Missing, MissingFigure{"speed at the reference mass",
			"needs the test weight (vessel.dry_mass_kg, load.fuel_l) and a step corrected for current"})
	}
}

func knots(e stat.Estimate) Interval { return *interval(e, units.Knots(1)) }
