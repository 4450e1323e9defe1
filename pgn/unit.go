package pgn

import "math"

// Unit is the unit in which a field's resolution is given, with its conversion
// to the SI unit of the quantity: SI = wire*Scale + Zero. Percent becomes a
// ratio.
type Unit struct {
	Name  string
	Scale float64
	Zero  float64
}

// The units of the message tables. Conversion factors are exact by definition
// (BIPM SI brochure, 9th edition, tables 4 and 8), to float64 precision.
var (
	One               = &Unit{"1", 1, 0}
	RPM               = &Unit{"1/min", 1.0 / 60, 0}
	Percent           = &Unit{"%", 0.01, 0}
	Litre             = &Unit{"L", 1e-3, 0}
	LitrePerHour      = &Unit{"L/h", 1e-3 / 3600, 0}
	Radian            = &Unit{"rad", 1, 0}
	RadianPerSecond   = &Unit{"rad/s", 1, 0}
	Degree            = &Unit{"deg", math.Pi / 180, 0}
	Kelvin            = &Unit{"K", 1, 0}
	Celsius           = &Unit{"degC", 1, 273.15}
	Pascal            = &Unit{"Pa", 1, 0}
	Kilopascal        = &Unit{"kPa", 1e3, 0}
	Metre             = &Unit{"m", 1, 0}
	MetrePerSecond    = &Unit{"m/s", 1, 0}
	KilometrePerHour  = &Unit{"km/h", 1 / 3.6, 0}
	KilometrePerLitre = &Unit{"km/L", 1e6, 0}
	Revolution        = &Unit{"r", 1, 0}
	Volt              = &Unit{"V", 1, 0}
	Ampere            = &Unit{"A", 1, 0}
	AmpereHour        = &Unit{"Ah", 3600, 0}
	Second            = &Unit{"s", 1, 0}
	Millisecond       = &Unit{"ms", 1e-3, 0}
	Minute            = &Unit{"min", 60, 0}
	Hour              = &Unit{"h", 3600, 0}
	Day               = &Unit{"d", 86400, 0}
	// GearNumber counts forward gears up and reverse gears down from neutral, 0.
	// Its scale gives the quantity Gear for single speed gearboxes: 1 is 0
	// (forward), 0 is 1 (neutral), -1 is 2 (reverse).
	GearNumber = &Unit{"gear", -1, 1}
)
