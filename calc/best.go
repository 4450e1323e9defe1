package calc

import (
	"math"

	"trialday.example/logd/calc/stat"
)

// Best names the steps that answer the captain's questions, by id; 0 for none.
type Best struct {
	TopSpeed       int
	Economy        int // most way per fuel of all steps
	PlaningEconomy int // the same among the steps on the plane
	Level          []int
	CruiseStep     int // the step nearest to the cruise load
	Cruise         Cruise
	// The tops of the fitted curves of economy over speed.
	PlaningTop, DisplacementTop Optimum
}

// Cruise is interpolated between steps at the cruise load; Load is NaN where
// the steps do not reach it.
type Cruise struct {
	Load, RPM, Speed, Fuel, Economy, Range float64
}

// levelRatio: economies within 2 % are level to anyone who buys fuel (common
// practice, no source).
const levelRatio = 0.02

// FindBest picks among steps, which rise in rpm. Steps on fewer engines than
// the most that were driven together, and steps not corrected for current
// where corrected ones exist, are not candidates.
func FindBest(steps []Step, b Boat) Best {
	var out Best
	c := candidates(steps)
	top := pick(c, func(s *Step) float64 { return s.Speed.Mean })
	economy := pick(c, func(s *Step) float64 { return s.Economy.Mean })
	out.TopSpeed, out.Economy = idOf(top), idOf(economy)
	planing, floating := onPlane(c, b)
	if best := pick(planing, func(s *Step) float64 { return s.Economy.Mean }); best != nil {
		out.PlaningEconomy = best.ID
		for _, s := range planing {
			if s.ID != best.ID && Level(s.Economy, best.Economy) {
				out.Level = append(out.Level, s.ID)
			}
		}
	}
	out.PlaningTop, out.DisplacementTop = BestEconomy(planing), BestEconomy(floating)
	out.CruiseStep, out.Cruise = cruise(c, b.Cruise)
	return out
}

func idOf(s *Step) int {
	if s == nil {
		return 0
	}
	return s.ID
}

func candidates(steps []Step) []*Step {
	most, corrected := 0, false
	for i := range steps {
		most = max(most, steps[i].Engines.Count())
		corrected = corrected || steps[i].Corrected
	}
	var out []*Step
	for i := range steps {
		s := &steps[i]
		if s.Engines.Count() == most && (s.Corrected || !corrected) {
			out = append(out, s)
		}
	}
	return out
}

// pick returns the step with the highest value, nil if none has one.
func pick(steps []*Step, f func(*Step) float64) *Step {
	var best *Step
	for _, s := range steps {
		if v := f(s); !math.IsNaN(v) && (best == nil || v > f(best)) {
			best = s
		}
	}
	return best
}

// planingFroude is the volume Froude number V/sqrt(g*vol^(1/3)) from which the
// hull is on the plane: 2.5, between the hump near 1.5 and full planing above
// 3 (Savitsky 1964 and planing-hull literature, from memory).
const planingFroude = 2.5

// onPlane tells the steps on the plane from those that are not. Without the
// mass it takes the length Froude number 1.0 (the same sources), and without
// the length no step is on the plane.
func onPlane(steps []*Step, b Boat) (planing, floating []*Step) {
	for _, s := range steps {
		fast := VolumeFroude(s.Speed.Mean, s.Mass) >= planingFroude
		if math.IsNaN(s.Mass) {
			fast = s.Speed.Mean/math.Sqrt(gravity*b.Length) >= 1
		}
		if b.Planes && fast {
			planing = append(planing, s)
		} else {
			floating = append(floating, s)
		}
	}
	return planing, floating
}

// VolumeFroude returns V/sqrt(g*vol^(1/3)) for a boat of mass kg in sea water
// of 1025 kg/m³ (ITTC dictionary: displacement Froude number).
func VolumeFroude(speed, mass float64) float64 {
	return speed / math.Sqrt(gravity*math.Cbrt(mass/1025))
}

// Level tells whether two economies are level: within levelRatio of each
// other, or not told apart at 95 %.
func Level(a, b stat.Estimate) bool {
	if math.Abs(a.Mean-b.Mean) <= levelRatio*math.Max(a.Mean, b.Mean) {
		return true
	}
	d := stat.Sum([]stat.Estimate{a, b}, []float64{1, -1})
	return math.Abs(d.Mean) < d.HalfWidth()
}

// cruiseReach: a step whose load is within 5 points of the cruise load stands
// for it.
const cruiseReach = 0.05

// cruise interpolates all figures in load between the two neighbouring steps
// where load rises through the wanted one, at the highest rpm where it does so:
// over the hump the load can pass it more than once.
func cruise(steps []*Step, load float64) (int, Cruise) {
	out := Cruise{Load: math.NaN()}
	near, dist := 0, cruiseReach
	for i, s := range steps {
		if d := math.Abs(s.Load - load); d <= dist {
			near, dist = s.ID, d
		}
		if i == 0 {
			continue
		}
		p := steps[i-1]
		if p.Load <= load && load <= s.Load && s.Load > p.Load {
			out = interpolate(p, s, load)
		}
	}
	return near, out
}

func interpolate(p, s *Step, load float64) Cruise {
	x := (load - p.Load) / (s.Load - p.Load)
	mix := func(a, b float64) float64 { return a + x*(b-a) }
	c := Cruise{
		Load:  load,
		RPM:   mix(p.RPM, s.RPM),
		Speed: mix(p.Speed.Mean, s.Speed.Mean),
		Fuel:  mix(p.Fuel.Mean, s.Fuel.Mean),
	}
	if p.Electric.Shared() || s.Electric.Shared() {
		c.Fuel = math.NaN() // batteries gave or took a part of it
	}
	c.Economy = c.Speed / c.Fuel
	// Both steps use the same fuel, so the ratio of range to economy is it.
	c.Range = c.Economy * s.Range.Mean / s.Economy.Mean
	return c
}
