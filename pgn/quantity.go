package pgn

// Quantity says what a field measures. A field with a quantity other than None
// becomes a sample; bookkeeping fields (instance, sequence, reference) have
// None.
type Quantity uint8

// The quantities that messages carry, with the SI unit of their samples.
const (
	None               Quantity = iota
	EngineSpeed                 // 1/s (revolutions per second)
	EngineBoost                 // Pa
	EngineTrim                  // ratio, 1 = fully up
	OilPressure                 // Pa
	OilTemperature              // K
	EngineTemperature           // K
	AlternatorVoltage           // V
	FuelRate                    // m³/s
	EngineHours                 // s
	CoolantPressure             // Pa
	FuelPressure                // Pa
	EngineLoad                  // ratio of the maximum at the present speed
	EngineTorque                // ratio
	Gear                        // 0 forward, 1 neutral, 2 reverse
	GearOilPressure             // Pa
	GearOilTemperature          // K
	TripFuel                    // m³ since the trip was reset
	FluidLevel                  // ratio of capacity; instance is the fluid type<<4 | tank
	FluidCapacity               // m³
	BatteryVoltage              // V
	BatteryCurrent              // A
	RudderAngle                 // rad, starboard positive
	Heading                     // rad, true north
	HeadingMagnetic             // rad, magnetic north
	RateOfTurn                  // rad/s, bow to starboard positive
	Yaw                         // rad
	Pitch                       // rad, bow up positive
	Roll                        // rad, starboard down positive
	Variation                   // rad, east positive
	SpeedThroughWater           // m/s
	Depth                       // m below the transducer
	Latitude                    // rad, north positive
	Longitude                   // rad, east positive
	Altitude                    // m
	CourseOverGround            // rad, true north
	CourseMagnetic              // rad, magnetic north
	SpeedOverGround             // m/s
	HDOP                        // 1
	Satellites                  // 1
	WindSpeedApparent           // m/s
	WindAngleApparent           // rad from the bow, starboard positive
	WindSpeedTrue               // m/s over ground or water
	WindAngleTrue               // rad from true north, direction it blows from
	WaterTemperature            // K
	AirTemperature              // K
	AirPressure                 // Pa
	TrimTabPort                 // ratio, 1 = fully down
	TrimTabStarboard            // ratio, 1 = fully down
	StateOfCharge               // ratio of a battery's capacity
	BatteryPower                // W out of a battery that drives the boat; no message carries it, see calc/energy
	NumQuantities
)

// quantities gives each quantity's name and the SI unit of its samples; 1 for
// ratios and counts.
var quantities = [NumQuantities]struct{ name, unit string }{
	None:               {"none", ""},
	EngineSpeed:        {"engine_speed", "1/s"},
	EngineBoost:        {"engine_boost", "Pa"},
	EngineTrim:         {"engine_trim", "1"},
	OilPressure:        {"oil_pressure", "Pa"},
	OilTemperature:     {"oil_temperature", "K"},
	EngineTemperature:  {"engine_temperature", "K"},
	AlternatorVoltage:  {"alternator_voltage", "V"},
	FuelRate:           {"fuel_rate", "m³/s"},
	EngineHours:        {"engine_hours", "s"},
	CoolantPressure:    {"coolant_pressure", "Pa"},
	FuelPressure:       {"fuel_pressure", "Pa"},
	EngineLoad:         {"engine_load", "1"},
	EngineTorque:       {"engine_torque", "1"},
	Gear:               {"gear", "1"},
	GearOilPressure:    {"gear_oil_pressure", "Pa"},
	GearOilTemperature: {"gear_oil_temperature", "K"},
	TripFuel:           {"trip_fuel", "m³"},
	FluidLevel:         {"fluid_level", "1"},
	FluidCapacity:      {"fluid_capacity", "m³"},
	BatteryVoltage:     {"battery_voltage", "V"},
	BatteryCurrent:     {"battery_current", "A"},
	RudderAngle:        {"rudder_angle", "rad"},
	Heading:            {"heading", "rad"},
	HeadingMagnetic:    {"heading_magnetic", "rad"},
	RateOfTurn:         {"rate_of_turn", "rad/s"},
	Yaw:                {"yaw", "rad"},
	Pitch:              {"pitch", "rad"},
	Roll:               {"roll", "rad"},
	Variation:          {"variation", "rad"},
	SpeedThroughWater:  {"speed_through_water", "m/s"},
	Depth:              {"depth", "m"},
	Latitude:           {"latitude", "rad"},
	Longitude:          {"longitude", "rad"},
	Altitude:           {"altitude", "m"},
	CourseOverGround:   {"course_over_ground", "rad"},
	CourseMagnetic:     {"course_magnetic", "rad"},
	SpeedOverGround:    {"speed_over_ground", "m/s"},
	HDOP:               {"hdop", "1"},
	Satellites:         {"satellites", "1"},
	WindSpeedApparent:  {"wind_speed_apparent", "m/s"},
	WindAngleApparent:  {"wind_angle_apparent", "rad"},
	WindSpeedTrue:      {"wind_speed_true", "m/s"},
	WindAngleTrue:      {"wind_angle_true", "rad"},
	WaterTemperature:   {"water_temperature", "K"},
	AirTemperature:     {"air_temperature", "K"},
	AirPressure:        {"air_pressure", "Pa"},
	TrimTabPort:        {"trim_tab_port", "1"},
	TrimTabStarboard:   {"trim_tab_starboard", "1"},
	StateOfCharge:      {"state_of_charge", "1"},
	BatteryPower:       {"battery_power", "W"},
}

func (q Quantity) String() string {
	if q < NumQuantities {
		return quantities[q].name
	}
	return "unknown"
}

// Unit is the SI unit of the quantity's samples.
func (q Quantity) Unit() string {
	if q < NumQuantities {
		return quantities[q].unit
	}
	return ""
}

// State says whether a field carries a value. The absence of a value has
// several distinct causes and none of them is zero.
type State uint8

const (
	// Valid: the value can be used.
	Valid State = iota
	// NotAvailable: the sender says that it has no value, or the payload ends
	// before the field.
	NotAvailable
	// OutOfRange: the sender says that it has a value it cannot express, or a
	// sensor fault.
	OutOfRange
	// Reserved: a bit pattern that the standard keeps for later use.
	Reserved
)

func (s State) String() string {
	switch s {
	case Valid:
		return "valid"
	case NotAvailable:
		return "not available"
	case OutOfRange:
		return "out of range"
	}
	return "reserved"
}
