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
	NumQuantities
)

var quantityNames = [NumQuantities]string{
	None: "none", EngineSpeed: "engine_speed", EngineBoost: "engine_boost", EngineTrim: "engine_trim",
	OilPressure: "oil_pressure", OilTemperature: "oil_temperature", EngineTemperature: "engine_temperature",
	AlternatorVoltage: "alternator_voltage", FuelRate: "fuel_rate", EngineHours: "engine_hours",
	CoolantPressure: "coolant_pressure", FuelPressure: "fuel_pressure", EngineLoad: "engine_load",
	EngineTorque: "engine_torque", Gear: "gear", GearOilPressure: "gear_oil_pressure",
	GearOilTemperature: "gear_oil_temperature", TripFuel: "trip_fuel", FluidLevel: "fluid_level",
	FluidCapacity: "fluid_capacity", BatteryVoltage: "battery_voltage", BatteryCurrent: "battery_current",
	RudderAngle: "rudder_angle", Heading: "heading", HeadingMagnetic: "heading_magnetic",
	RateOfTurn: "rate_of_turn", Yaw: "yaw", Pitch: "pitch", Roll: "roll", Variation: "variation",
	SpeedThroughWater: "speed_through_water", Depth: "depth", Latitude: "latitude", Longitude: "longitude",
	Altitude: "altitude", CourseOverGround: "course_over_ground", CourseMagnetic: "course_magnetic",
	SpeedOverGround: "speed_over_ground", HDOP: "hdop", Satellites: "satellites",
	WindSpeedApparent: "wind_speed_apparent", WindAngleApparent: "wind_angle_apparent",
	WindSpeedTrue: "wind_speed_true", WindAngleTrue: "wind_angle_true",
	WaterTemperature: "water_temperature", AirTemperature: "air_temperature", AirPressure: "air_pressure",
	TrimTabPort: "trim_tab_port", TrimTabStarboard: "trim_tab_starboard",
}

func (q Quantity) String() string {
	if q < NumQuantities {
		return quantityNames[q]
	}
	return "unknown"
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
