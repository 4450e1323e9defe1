package results

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"

	"trialday.example/logd/calc"
	"trialday.example/logd/sink/results/units"
)

// Live is how a trial that goes on stands, made about once a second for those
// who look on. It comes from the same pipeline as results.json, in the same
// units. A figure that is not heard now is null.
type Live struct {
	Version    string    `json:"version"`
	Time       string    `json:"time"` // RFC 3339 UTC of the last frame; "" before the first
	ClockKnown bool      `json:"clock_known"`
	Trial      *Session  `json:"trial"` // null before the first frame
	Recording  Recording `json:"recording"`
	Run        *Underway `json:"run"` // null before the first second
	Now        Now       `json:"now"`
	Hold       Hold      `json:"hold"`
	// Drive is that of Electric; not there unless batteries drive the boat.
	Drive string `json:"drive,omitempty"`
	// Steps are those so far, by rising rpm.
	Steps []SoFar `json:"steps"`
	Lamps []Lamp  `json:"lamps"`
	// Archive tells that only trials that are over are shown: nothing is listened
	// to.
	Archive bool `json:"archive"`
}

// Session names the trial that is being recorded.
type Session struct {
	Number int    `json:"number"`
	Name   string `json:"name"`
	Start  string `json:"start"` // RFC 3339 UTC
}

// Recording tells whether frames are being kept.
type Recording struct {
	OK       bool     `json:"ok"`
	Frames   uint64   `json:"frames"` // in the trial's journal
	Lost     uint64   `json:"lost"`   // received and not kept, since the program's start
	Problems []string `json:"problems"`
}

// Underway is the run that has not ended yet. Its kind lags by a few seconds:
// a change counts once it has lasted.
type Underway struct {
	ID      int     `json:"id"`
	Kind    string  `json:"kind"` // as of Run
	Start   string  `json:"start"`
	Seconds float64 `json:"seconds"`
}

// Now is the last whole second.
type Now struct {
	SOGKn         *float64    `json:"sog_kn"`
	STWKn         *float64    `json:"stw_kn"`
	COGDeg        *float64    `json:"cog_deg"`
	HeadingDeg    *float64    `json:"heading_deg"`
	FuelLPH       *float64    `json:"fuel_lph"` // all engines; null unless each that runs gives it
	EconomyLPerNM *float64    `json:"economy_l_per_nm"`
	RollDeg       *float64    `json:"roll_deg"`
	PitchDeg      *float64    `json:"pitch_deg"`
	DepthM        *float64    `json:"depth_m"`
	Engines       []EngineNow `json:"engines"` // port to starboard
	// Electric is not there unless batteries drive the boat.
	Electric *ElectricNow `json:"electric,omitempty"`
}

// ElectricNow is what the batteries that drive the boat gave in the last whole second.
// Where fuel is burnt too it is their part alone.
type ElectricNow struct {
	PowerKW   *float64     `json:"power_kw"`   // out of all; below zero where they are charged; null unless each gives it
	WhPerNM   *float64     `json:"wh_per_nm"`  // over ground
	ChargePct *float64     `json:"charge_pct"` // the least of all; null unless each gives it
	Batteries []BatteryNow `json:"batteries"`
}

// BatteryNow is the state of one battery.
type BatteryNow struct {
	Instance  int      `json:"instance"`
	ChargePct *float64 `json:"charge_pct"`
}

// EngineNow is one engine in the last whole second.
type EngineNow struct {
	Name    string   `json:"name"`
	RPM     *float64 `json:"rpm"`
	FuelLPH *float64 `json:"fuel_lph"`
	LoadPct *float64 `json:"load_pct"`
	Gear    *string  `json:"gear"` // forward, neutral, reverse
	TrimPct *float64 `json:"trim_pct"`
}

// The states of Hold.
const (
	HoldFree     = "free"     // throttle or course not held
	HoldSettling = "settling" // held, not steady yet
	HoldSteady   = "steady"   // steady: hold MoreS more
	HoldEnough   = "enough"   // steady for long enough: the pass may end
)

// Hold guides whoever holds throttle and wheel.
type Hold struct {
	State      string   `json:"state"`
	SteadyS    float64  `json:"steady_s"` // length of the steady stretch that lasts until now
	NeedS      float64  `json:"need_s"`   // how long it should become
	MoreS      float64  `json:"more_s"`   // NeedS less SteadyS, not below 0
	RPM        *float64 `json:"rpm"`      // mean of the driving engines where held
	HeadingDeg *float64 `json:"heading_deg"`
	Why        string   `json:"why"` // why not steady; "" where it is
}

// SoFar is a step as far as the day has come.
type SoFar struct {
	RPM              float64   `json:"rpm"`
	SpeedKn          *Interval `json:"speed_kn"`
	FuelLPH          *Interval `json:"fuel_lph"`
	Passes           int       `json:"passes"`
	HeadingsDeg      []float64 `json:"headings_deg"` // of each pass
	NeedsReciprocal  bool      `json:"needs_reciprocal"`
	ReciprocalDeg    *float64  `json:"reciprocal_deg"` // the heading of the pass that is missing
	CurrentCorrected bool      `json:"current_corrected"`
	// Electric is not there unless batteries drive the boat.
	Electric *ElectricSoFar `json:"electric,omitempty"`
}

// ElectricSoFar is the electric side of a step, as in ElectricStep.
type ElectricSoFar struct {
	Source  string    `json:"source"`
	PowerKW *Interval `json:"power_kw"`
	WhPerNM *Interval `json:"wh_per_nm"`
}

// Lamp tells of one thing that figures hang on whether it is well.
type Lamp struct {
	Name  string `json:"name"`
	State string `json:"state"` // good, warn, bad, off
	Text  string `json:"text"`  // what is wrong, and what to do
}

// The states of a Lamp. Off: nothing of the kind was ever heard, or it is not
// wanted.
const (
	LampGood = "good"
	LampWarn = "warn"
	LampBad  = "bad"
	LampOff  = "off"
)

// MarshalJSON rounds as WriteJSON does, and writes what is no number as null
// and a list without entries as [].
func (l Live) MarshalJSON() ([]byte, error) {
	type plain Live
	tidied, err := tidy(reflect.ValueOf(plain(l)), "")
	if err != nil {
		return nil, fmt.Errorf("results: live: %w", err)
	}
	return json.Marshal(tidied.Interface())
}

// AddElectric fills in the electric side, after Figures. Charges are the states of
// charge, ratios, of the batteries of these instances; NaN where not known.
func (l *Live) AddElectric(drive string, s *calc.Live, instances []int, charges []float64) {
	l.Drive = drive
	now := &ElectricNow{PowerKW: scaled(s.Now.Power, 1e-3)}
	if s.Now.SOG > crawl {
		now.WhPerNM = scaled(s.Now.Power/s.Now.SOG, whPerNM)
	}
	least := math.Inf(1)
	for i, instance := range instances {
		now.Batteries = append(now.Batteries, BatteryNow{instance, scaled(charges[i], 100)})
		least = min(least, charges[i]) // NaN where one is
	}
	now.ChargePct = scaled(least, 100)
	l.Now.Electric = now
	for i := range l.Steps {
		e := &s.Steps[i].Electric
		l.Steps[i].Electric = &ElectricSoFar{Source: e.Source.String(), PowerKW: interval(e.Power, 1e-3), WhPerNM: interval(e.PerMetre, whPerNM)}
	}
}

// Figures fills in the figures that come from calculation: run, last second,
// what is held, and steps.
func (l *Live) Figures(s *calc.Live, e Edge) {
	l.Now = e.now(&s.Now)
	if s.Known {
		l.Run = &Underway{ID: s.Run.ID, Kind: s.Run.Kind.String(), Start: e.Stamp(s.Run.Start),
			Seconds: float64(s.Run.End-s.Run.Start) / 1e9}
	}
	if s.Hold.Held {
		l.Hold.RPM, l.Hold.HeadingDeg = scaled(s.Hold.RPM, 60), compass(s.Hold.Heading)
	}
	for i := range s.Steps {
		l.Steps = append(l.Steps, soFar(&s.Steps[i]))
	}
}

func (e Edge) now(m *calc.Moment) Now {
	out := Now{
		SOGKn: scaled(m.SOG, units.Knots(1)), STWKn: scaled(m.STW, units.Knots(1)),
		COGDeg: compass(m.Course), HeadingDeg: compass(m.Heading),
		FuelLPH: scaled(m.Fuel, units.LitresPerHour(1)),
		RollDeg: degrees(m.Roll), PitchDeg: degrees(m.Pitch), DepthM: scaled(m.Depth, 1),
	}
	if m.SOG > crawl {
		out.EconomyLPerNM = scaled(m.Fuel/m.SOG, 1/economyNMPerL)
	}
	for i, name := range e.Engines {
		out.Engines = append(out.Engines, EngineNow{
			Name: name, RPM: scaled(m.RPM[i], 60), FuelLPH: scaled(m.Rate[i], units.LitresPerHour(1)),
			LoadPct: scaled(m.Load[i], 100), Gear: orNull(gearName(m.Gear[i])), TrimPct: scaled(m.Trim[i], 100),
		})
	}
	return out
}

// crawl, m/s (1 kn): below it burn a mile says nothing.
const crawl = 0.514

// orNull returns nil for "".
func orNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func soFar(s *calc.StepSoFar) SoFar {
	out := SoFar{
		RPM: s.RPM * 60, SpeedKn: interval(s.Speed, units.Knots(1)), FuelLPH: interval(s.Fuel, units.LitresPerHour(1)),
		Passes: s.Passes, ReciprocalDeg: compass(s.Reciprocal), CurrentCorrected: s.Corrected,
	}
	if s.FromTank {
		out.FuelLPH = nil // it would need its source beside it
	}
	out.NeedsReciprocal = out.ReciprocalDeg != nil
	for _, a := range s.Directions {
		if d := compass(a); d != nil {
			out.HeadingsDeg = append(out.HeadingsDeg, *d)
		}
	}
	return out
}
