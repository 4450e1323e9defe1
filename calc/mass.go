package calc

import (
	"math"
	"slices"

	"trialday.example/logd/calc/stat"
)

// freshWater, kg/m³ at 15 °C is 999.1; a tank aboard is not measured that well.
const freshWater = 1000

// MassItem is one part of the test weight.
type MassItem struct {
	Name string
	Kg   float64
}

// MassItems lists the parts of the test weight: the dry boat, fuel and fresh
// water by volume (m³) and density (kg/m³), people and gear.
func MassItems(dry, fuel, fuelDensity, water float64, people int, person, gear float64) []MassItem {
	return []MassItem{
		{"dry boat", dry},
		{"fuel", fuel * fuelDensity},
		{"fresh water", water * freshWater},
		{"people", float64(people) * person},
		{"gear", gear},
	}
}

// TotalMass adds the parts up.
func TotalMass(items []MassItem) float64 {
	sum := 0.0
	for _, i := range items {
		sum += i.Kg
	}
	return sum
}

// MassLaw is how speed at constant power goes with mass, V ~ m^-Exponent.
type MassLaw struct {
	Name     string
	Exponent float64
}

// The laws, both from memory. On the plane: Crouch's formula, V = C*sqrt(P/m).
// Afloat: the Admiralty coefficient, m^(2/3)*V³/P = constant.
var (
	planingLaw      = MassLaw{"Crouch's formula, V ~ m^-1/2 at constant power", 1. / 2}
	displacementLaw = MassLaw{"Admiralty coefficient, V ~ m^-2/9 at constant power", 2. / 9}
)

// massLawError is the standard error taken for an exponent: the two laws are
// more than that apart, and boats between them follow neither (our own
// judgement, no source).
const massLawError = 0.1

// AtMass is a step's speed and economy as they would be at another mass with
// the same power and so the same burn.
type AtMass struct {
	Step    int
	Mass    float64 // kg, of the step as measured
	Law     MassLaw
	Speed   stat.Estimate // m/s
	Economy stat.Estimate // m/m³
}

// AtReferenceMass corrects the steps that are corrected for current, and whose
// mass is known, to a reference mass in kg. It is meant for differences of some
// ten per cent.
func AtReferenceMass(steps []Step, reference float64, b Boat) []AtMass {
	if !(reference > 0) {
		return nil
	}
	all := make([]*Step, len(steps))
	for i := range steps {
		all[i] = &steps[i]
	}
	planing, _ := onPlane(all, b)
	var out []AtMass
	for _, s := range all {
		if !s.Corrected || !(s.Mass > 0) {
			continue
		}
		law := displacementLaw
		if slices.Contains(planing, s) {
			law = planingLaw
		}
		log := math.Log(s.Mass / reference)
		k, doubt := math.Exp(law.Exponent*log), massLawError*math.Abs(log)
		scale := func(e stat.Estimate) stat.Estimate { return e.Scale(k).WithFloor(doubt * k * e.Mean) }
		out = append(out, AtMass{Step: s.ID, Mass: s.Mass, Law: law, Speed: scale(s.Speed), Economy: scale(s.Economy)})
	}
	return out
}
