package configs

import "fmt"

// Densities taken where fuel.density_kg_per_l is not given, kg/L at 15 °C:
// inside the ranges of EN 590 (diesel 0.820 to 0.845) and EN 228 (petrol 0.720
// to 0.775); the ranges are from memory.
const (
	DieselDensityKgPerL = 0.84
	PetrolDensityKgPerL = 0.745
)

// Carbon dioxide taken where fuel.co2_kg_per_l is not given, kg of CO2
// equivalent a litre burnt (tank to wheel): EN 16258:2012, annex A, from
// memory.
const (
	DieselCO2KgPerL = 2.67
	PetrolCO2KgPerL = 2.42
)

// Default returns the configuration of a boat of which nothing is known. It is
// valid: speed and burn tables can be made with it, but nothing that needs the
// boat's length, its engines' ratings or its tank.
func Default() Config {
	diesel, carbon := DieselDensityKgPerL, DieselCO2KgPerL
	return Config{
		Vessel: Vessel{Hull: "planing"},
		// 10 % kept back and cruise at 80 % load: common practice, no source. The
		// section of a tank between keel and sole: our own judgement, no source.
		Fuel: Fuel{Kind: "diesel", DensityKgPerL: &diesel, CO2KgPerL: &carbon, TankSectionPct: 20, ReservePct: 10, CruiseLoadPct: 80},
		// A negative current discharges: common practice, no source.
		Battery: Battery{ReservePct: 10, Discharge: "negative"},
		// 75 kg a person is the figure of small-craft load standards such as
		// ISO 14946 (from memory); a trial crew of two is common practice.
		Load: Load{People: 2, PersonKg: 75},
		Trial: Trial{
			// Passes of a minute are common practice, no source.
			HoldS:    60,
			Units:    "metric",
			SpeedsKn: []float64{5, 10, 15, 20, 25, 30, 35}, SpeedsMPH: []float64{10, 20, 30, 40},
		},
		Sources: Sources{HoldS: 30, LatencyErrorS: 0.04},
		Steady:  Steady{MinS: 20, SettlePct: 0.5, RPMHuntingPct: 1.5, CourseDeg: 4, StepPct: 2},
		Journal: Journal{Dir: "journal", SegmentMB: 64, SyncS: 1, ResumeH: 6, KeepFreeMB: 50},
		Influx:  Influx{TimeoutS: 20, BatchLines: 5000, CatchUpHz: 5000, RateHz: 1},
		Page:    Page{Listen: "127.0.0.1:8642"},
		Bus:     Bus{Interfaces: []string{"can0"}},
	}
}

// EngineNames returns the names of n engines from port to starboard, as used
// where the configuration gives none.
func EngineNames(n int) []string {
	switch n {
	case 1:
		return []string{"engine"}
	case 2:
		return []string{"port", "starboard"}
	case 3:
		return []string{"port", "centre", "starboard"}
	case 4:
		return []string{"port outer", "port inner", "starboard inner", "starboard outer"}
	}
	names := make([]string, max(n, 0))
	for i := range names {
		names[i] = fmt.Sprintf("engine %d", i+1)
	}
	return names
}

// complete fills what depends on other keys: the density and the carbon dioxide
// on the kind of fuel where given does not have them, an engine's name and
// instance on its place in the list. Without fuel there is none aboard, and all
// engines are motors.
func (c *Config) complete(given func(key string) bool) {
	density, carbon := DieselDensityKgPerL, DieselCO2KgPerL
	if c.Fuel.Kind == "petrol" {
		density, carbon = PetrolDensityKgPerL, PetrolCO2KgPerL
	}
	if !given("fuel.density_kg_per_l") {
		c.Fuel.DensityKgPerL = &density
	}
	if none := 0.0; c.Fuel.Kind == "none" && c.Load.FuelL == nil {
		c.Load.FuelL = &none
	}
	if !given("fuel.co2_kg_per_l") {
		c.Fuel.CO2KgPerL = &carbon
	}
	names := EngineNames(len(c.Engines))
	for i := range c.Engines {
		e := &c.Engines[i]
		if e.Name == "" {
			e.Name = names[i]
		}
		e.Electric = e.Electric || c.Fuel.Kind == "none"
		if e.Instance == nil {
			e.Instance = &[]int{i}[0]
		}
	}
}
