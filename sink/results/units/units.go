// Package units converts between SI and what a trial sheet shows. The factors
// are exact by definition and are listed in NIST Special Publication 811
// (2008), appendix B.
package units

// Exact factors.
const (
	MetresPerNauticalMile = 1852.0
	MetresPerMile         = 1609.344
	MetresPerFoot         = 0.3048
	LitresPerUSGallon     = 3.785411784 // 231 in³
	KilogramsPerPound     = 0.45359237
	// WattsPerHorsepower is the mechanical horsepower, 550 ft·lbf/s: exact
	// given standard gravity of 9.80665 m/s².
	WattsPerHorsepower = 550 * MetresPerFoot * KilogramsPerPound * 9.80665

	MilesPerNauticalMile = MetresPerNauticalMile / MetresPerMile
)

// Knots converts from m/s.
func Knots(metresPerSecond float64) float64 { return metresPerSecond * 3600 / MetresPerNauticalMile }

// MPH converts from knots to statute miles an hour.
func MPH(knots float64) float64 { return knots * MilesPerNauticalMile }

// LitresPerHour converts from m³/s.
func LitresPerHour(cubicMetresPerSecond float64) float64 { return cubicMetresPerSecond * 3.6e6 }

// USGallons converts from litres, and so litres an hour to gallons an hour.
func USGallons(litres float64) float64 { return litres / LitresPerUSGallon }

// NauticalPerUSGallon converts from nautical miles a litre.
func NauticalPerUSGallon(nauticalPerLitre float64) float64 {
	return nauticalPerLitre * LitresPerUSGallon
}

// MilesPerUSGallon converts from nautical miles a litre to statute miles a
// gallon.
func MilesPerUSGallon(nauticalPerLitre float64) float64 {
	return nauticalPerLitre * LitresPerUSGallon * MilesPerNauticalMile
}

// Feet converts from metres.
func Feet(metres float64) float64 { return metres / MetresPerFoot }

// Pounds converts from kilograms.
func Pounds(kilograms float64) float64 { return kilograms / KilogramsPerPound }

// Horsepower converts from kilowatts to mechanical horsepower.
func Horsepower(kilowatts float64) float64 { return kilowatts * 1000 / WattsPerHorsepower }
