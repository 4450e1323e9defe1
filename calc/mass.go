package calc

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
