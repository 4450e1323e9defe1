package calc

import (
	"math"

	"trialday.example/logd/calc/stat"
)

// Shaft is what one engine drives; NaN where not known.
type Shaft struct {
	Power float64 // W, rated
	Speed float64 // 1/s of the crankshaft, rated
	Gear  float64 // turns of the crankshaft for one of the propeller
	Pitch float64 // m
}

// Drive is what the engines do in a steady window, or in a step, by engine.
type Drive struct {
	RPM   [MaxEngines]float64 // 1/s
	Load  [MaxEngines]float64 // ratio of the greatest torque at the present speed
	Boost [MaxEngines]float64 // Pa
	// Spread is how far the fastest driving engine is ahead of the slowest,
	// second by second, 1/s: 0 for one engine. Engines in step are within a
	// few rpm; a beat is heard at the difference times the number of blades.
	Spread float64
}

func newDrive(w []tick, set EngineSet) Drive {
	d := Drive{Spread: math.NaN()}
	for e := range d.RPM {
		d.RPM[e] = meanOf(w, chRPM+channel(e))
		d.Load[e] = meanOf(w, chLoad+channel(e))
		d.Boost[e] = meanOf(w, chBoost+channel(e))
	}
	d.Spread = stat.Mean(unwrappedScalar(w, func(k *tick) float64 { return k.spread(set) }))
	return d
}

// spread returns the highest less the lowest speed of a set of engines, 1/s;
// NaN if one of them is not heard.
func (k *tick) spread(set EngineSet) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for e := 0; e < MaxEngines; e++ {
		if !set.Has(e) {
			continue
		}
		v := k.scalar[chRPM+channel(e)]
		if math.IsNaN(v) {
			return v
		}
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	return hi - lo
}

// driveOf averages the drives of a step's windows with the step's weights.
func driveOf(weigh func(func(*Window) float64) float64) Drive {
	d := Drive{Spread: weigh(func(w *Window) float64 { return w.Drive.Spread })}
	for e := range d.RPM {
		d.RPM[e] = weigh(func(w *Window) float64 { return w.Drive.RPM[e] })
		d.Load[e] = weigh(func(w *Window) float64 { return w.Drive.Load[e] })
		d.Boost[e] = weigh(func(w *Window) float64 { return w.Drive.Boost[e] })
	}
	return d
}

// Propulsion tells how engines, propellers and boat fit each other.
type Propulsion struct {
	Steps   []StepDrive
	Engines [MaxEngines]Loading
}

// StepDrive is one step's share.
type StepDrive struct {
	Step    int
	Engines [MaxEngines]EngineDrive // of those that drive; NaN otherwise
}

// EngineDrive is one engine at one step.
type EngineDrive struct {
	Slip  stat.Estimate // apparent, ratio
	Power float64       // W; see BrakePower
	// Part is the power over that at the top step, Law the same by the
	// propeller law, (n/n_top)³.
	Part, Law float64
}

// Loading is how an engine's load rises to full throttle.
type Loading struct {
	// LoadExponent is k in power ~ n^k over the steps, with power taken as
	// load times speed; FuelExponent the same of the fuel rate.
	LoadExponent, FuelExponent stat.Estimate
	Top                        int     // id of the step with the highest rpm; 0 for none
	RPM, Load                  float64 // there
	Rated                      float64 // 1/s
	Shortfall                  float64 // of RPM below rated speed, ratio of rated
	Match                      Match
}

// Match says how the propeller fits the engine.
type Match uint8

// How a propeller fits: at full throttle an engine should just reach its rated
// speed, and there its full load.
const (
	MatchUnknown  Match = iota // full throttle was not seen, or rated speed is not known
	Matched                    // rated speed reached at full load
	OverPropped                // full load, but rated speed not reached: too much pitch or diameter, or too heavy a boat
	UnderPropped               // rated speed reached with load to spare: too little pitch or diameter
	LoadNotHeard               // rated speed not reached, and no load tells whether the throttle was open
	PartThrottle               // neither rated speed nor full load were reached: the throttle was not open, or power is lacking
	numberMatches = iota
)

var matchNames = [numberMatches]string{"unknown", "matched", "over_propped", "under_propped", "load_not_heard", "part_throttle"}

func (m Match) String() string { return matchNames[m] }

// speedMatch: rated speed counts as reached within 2 %, and fullLoad: load as
// full from 95 %. Makers' rules ask for rated speed or up to a few per cent
// above it in the loaded boat (common practice, no source).
const (
	speedMatch = 0.02
	fullLoad   = 0.95
)

// Propel derives the propulsion figures of the steps. Steps on fewer engines
// than the most that drove together have slip and power, but no part in the
// loading.
func Propel(steps []Step, shafts []Shaft) Propulsion {
	var p Propulsion
	all := fullSets(steps)
	for e := range p.Engines {
		p.Engines[e] = loading(all, e, shaftOf(shafts, e))
	}
	for i := range steps {
		s := &steps[i]
		d := StepDrive{Step: s.ID}
		for e := range d.Engines {
			d.Engines[e] = engineDrive(s, e, shaftOf(shafts, e), &p.Engines[e])
		}
		p.Steps = append(p.Steps, d)
	}
	return p
}

func shaftOf(shafts []Shaft, e int) Shaft {
	if e < len(shafts) {
		return shafts[e]
	}
	nan := math.NaN()
	return Shaft{nan, nan, nan, nan}
}

// fullSets returns the steps on as many engines as ever drove together.
func fullSets(steps []Step) []*Step {
	most := 0
	for i := range steps {
		most = max(most, steps[i].Engines.Count())
	}
	var out []*Step
	for i := range steps {
		if steps[i].Engines.Count() == most {
			out = append(out, &steps[i])
		}
	}
	return out
}

func engineDrive(s *Step, e int, shaft Shaft, l *Loading) EngineDrive {
	nan := math.NaN()
	d := EngineDrive{Slip: unknown, Power: nan, Part: nan, Law: nan}
	if !s.Engines.Has(e) {
		return d
	}
	n := s.Drive.RPM[e]
	if s.Corrected {
		d.Slip = Slip(s.Speed, n/shaft.Gear, shaft.Pitch)
	}
	d.Power = BrakePower(s.Drive.Load[e], n, shaft)
	d.Part = s.Drive.Load[e] * n / (l.Load * l.RPM)
	d.Law = math.Pow(n/l.RPM, 3)
	return d
}

// Slip returns the apparent slip ratio 1 - V/(P*n), of a propeller of pitch P
// that turns n times a second at speed V through water (ITTC Dictionary of
// Hydrodynamics and textbooks of naval architecture, from memory). It takes the
// boat's speed for the water's at the propeller: with the wake the real slip is
// higher. The interval is that of the speed alone; a nominal pitch is good to a
// few per cent and shifts all steps alike.
func Slip(speed stat.Estimate, turns, pitch float64) stat.Estimate {
	way := turns * pitch
	if !(way > 0) {
		return unknown
	}
	return stat.Estimate{Mean: 1 - speed.Mean/way, SE: speed.SE / way, DOF: speed.DOF}
}

// BrakePower returns the power in W at engine speed n (1/s). The load that an
// engine sends is its torque over the greatest at the present speed (SAE J1939,
// SPN 92, from memory). The greatest torque is taken to be that at rated speed,
// whatever the speed:
//
//	P = load * P_rated * n/n_rated
//
// An engine's torque curve is 10 to 20 % above that in its middle, and the
// power then is too low by as much; with the maker's curve it would be right.
func BrakePower(load, n float64, shaft Shaft) float64 {
	return load * shaft.Power * n / shaft.Speed
}

// loading describes one engine over the steps, which rise in rpm.
func loading(steps []*Step, e int, shaft Shaft) Loading {
	nan := math.NaN()
	l := Loading{LoadExponent: unknown, FuelExponent: unknown, RPM: nan, Load: nan, Rated: shaft.Speed}
	var n, power, fuel []float64
	for _, s := range steps {
		if !s.Engines.Has(e) {
			continue
		}
		n = append(n, s.Drive.RPM[e])
		power = append(power, s.Drive.Load[e]*s.Drive.RPM[e])
		fuel = append(fuel, s.ByEngine[e].Mean)
		l.Top, l.RPM, l.Load = s.ID, s.Drive.RPM[e], s.Drive.Load[e]
	}
	l.LoadExponent, l.FuelExponent = Exponent(n, power), Exponent(n, fuel)
	l.Shortfall = 1 - l.RPM/l.Rated
	l.Match = match(l.Shortfall, l.Load)
	return l
}

func match(shortfall, load float64) Match {
	reached := shortfall <= speedMatch
	switch {
	case math.IsNaN(shortfall):
		return MatchUnknown
	case math.IsNaN(load) && reached:
		return MatchUnknown // with what load is not known
	case math.IsNaN(load):
		return LoadNotHeard
	case load >= fullLoad && !reached:
		return OverPropped
	case load >= fullLoad && shortfall >= -speedMatch:
		return Matched
	case reached:
		return UnderPropped
	}
	return PartThrottle
}

// Exponent fits y ~ x^k by least squares of the logarithms, each point alike,
// and returns k. A propeller that turns at one advance ratio takes power as n³
// (dimensional analysis: textbooks of naval architecture); a planing boat's
// advance ratio rises with speed, and its exponent is lower, near 2 to 2.7
// (common practice, no source). Where the points follow a curve, as over the
// hump, the interval is that of scatter about the line and no more. Fewer than
// four points give none.
func Exponent(x, y []float64) stat.Estimate {
	var u, v []float64
	for i := range x {
		if x[i] > 0 && y[i] > 0 {
			u, v = append(u, math.Log(x[i])), append(v, math.Log(y[i]))
		}
	}
	n := float64(len(u))
	if n < 4 {
		return unknown
	}
	mu, mv := stat.Mean(u), stat.Mean(v)
	var suu, suv, squares float64
	for i := range u {
		suu += (u[i] - mu) * (u[i] - mu)
		suv += (u[i] - mu) * (v[i] - mv)
	}
	if suu < 1e-6*n { // all at one speed
		return unknown
	}
	k := suv / suu
	for i := range u {
		r := v[i] - mv - k*(u[i]-mu)
		squares += r * r
	}
	return stat.Estimate{Mean: k, SE: math.Sqrt(squares / (n - 2) / suu), DOF: n - 2}
}
