package units

import (
	"math"
	"testing"
)

// Values of NIST Special Publication 811 (2008), appendix B.8.
func TestAgainstNISTSP811(t *testing.T) {
	for _, c := range []struct {
		what             string
		got, want, digit float64
	}{
		{"knot, 5.144444 E-01 m/s", 1 / Knots(1), 0.5144444, 1e-7},
		{"mile per hour, 4.4704 E-01 m/s", 1 / Knots(1) / MPH(1), 0.44704, 1e-12},
		{"mile, 1.609344 E+03 m", MetresPerNauticalMile / MilesPerNauticalMile, 1609.344, 1e-9},
		{"foot, 3.048 E-01 m", 1 / Feet(1), 0.3048, 1e-12},
		{"gallon (US), 3.785412 E+00 L", 1 / USGallons(1), 3.785412, 1e-6},
		{"gallon (US), 231 cubic inches", 231 * 2.54 * 2.54 * 2.54 / 1000, LitresPerUSGallon, 1e-12},
		{"mile per gallon (US), 4.251437 E-01 km/L", 1 / MilesPerUSGallon(1) * 1.852, 0.4251437, 1e-7},
		{"pound, 4.535924 E-01 kg", 1 / Pounds(1), 0.4535924, 1e-7},
		{"horsepower (550 ft·lbf/s), 7.456999 E+02 W", 1000 / Horsepower(1), 745.6999, 1e-4},
		{"litre per hour from cubic metre per second", LitresPerHour(1), 3.6e6, 1e-6},
	} {
		if math.Abs(c.got-c.want) > c.digit {
			t.Errorf("%s: got %.9g, want %.9g", c.what, c.got, c.want)
		}
	}
}

// Trade figures (common practice, no source): 31.1 kn at 97.3 US gal/h is 0.320
// nautical miles a gallon, 22.5 kn at 71.7 US gal/h is 0.314.
func TestTradeFigures(t *testing.T) {
	for _, c := range [][3]float64{{31.1, 97.3, 0.320}, {22.5, 71.7, 0.314}} {
		nmPerL := c[0] / (c[1] * LitresPerUSGallon)
		if got := NauticalPerUSGallon(nmPerL); math.Abs(got-c[2]) > 0.0005 {
			t.Errorf("%g kn at %g gal/h: %g nm/gal, want %g", c[0], c[1], got, c[2])
		}
	}
}
