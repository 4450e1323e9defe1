package pgn

import "slices"

// instance says which payload byte tells one of several of a kind from another.
func instance(at int) *Field {
	return &Field{Name: "instance", Offset: at * 8, Bits: 8, Resolution: 1, Unit: One, Kind: Bits}
}

// table is every message known here, by rising PGN.
var table = byNumber(backbone, engineBus)

func byNumber(lists ...[]Message) []Message {
	all := slices.Concat(lists...)
	slices.SortFunc(all, func(a, b Message) int { return int(a.PGN) - int(b.PGN) })
	return all
}

// backbone is the messages of the boat's network, one row a field. Resolution is
// 1 and Unit One where a row has none.
//
// The layouts are from memory, except for PGN 59904 and 60928, which ISO 11783-3
// and ISO 11783-5 define. Messages of one frame are filled to 8 bytes with spare
// bits.
var backbone = []Message{
	{PGN: 59904, Name: "ISO request", Priority: 6, Length: 3, Fields: []Field{
		{Name: "pgn", Offset: 0, Bits: 24, Kind: Bits},
	}},
	{PGN: 60928, Name: "ISO address claim", Priority: 6, Length: 8, Fields: []Field{
		{Name: "unique_number", Offset: 0, Bits: 21, Kind: Bits},
		{Name: "manufacturer_code", Offset: 21, Bits: 11, Kind: Bits},
		{Name: "device_instance_lower", Offset: 32, Bits: 3, Kind: Bits},
		{Name: "device_instance_upper", Offset: 35, Bits: 5, Kind: Bits},
		{Name: "function", Offset: 40, Bits: 8, Kind: Bits},
		{Offset: 48, Bits: 1, Kind: Spare},
		{Name: "class", Offset: 49, Bits: 7, Kind: Bits},
		{Name: "system_instance", Offset: 56, Bits: 4, Kind: Bits},
		{Name: "industry_group", Offset: 60, Bits: 3, Kind: Bits},
		{Name: "arbitrary_address", Offset: 63, Bits: 1, Kind: Bits},
	}},
	// Source: 0 GNSS, 1 other satellites, 2 radio, 3 and 4 crystal clocks (from memory).
	{PGN: 126992, Name: "system time", Type: "SystemTime", Priority: 3, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "source", Offset: 8, Bits: 4, Kind: Choice},
		{Offset: 12, Bits: 4, Kind: Spare},
		{Name: "date", Offset: 16, Bits: 16, Unit: Day},
		{Name: "time", Offset: 32, Bits: 32, Resolution: 1e-4, Unit: Second},
	}},
	{PGN: 126993, Name: "heartbeat", Priority: 7, Length: 8, Fields: []Field{
		{Name: "interval", Offset: 0, Bits: 16, Unit: Millisecond},
		{Name: "sequence", Offset: 16, Bits: 8},
		{Name: "controller_1", Offset: 24, Bits: 2, Kind: Choice},
		{Name: "controller_2", Offset: 26, Bits: 2, Kind: Choice},
		{Name: "equipment", Offset: 28, Bits: 2, Kind: Choice},
		{Offset: 30, Bits: 34, Kind: Spare},
	}},
	{PGN: 126996, Name: "product information", Priority: 6, Fast: true, Length: 134, Fields: []Field{
		{Name: "database_version", Offset: 0, Bits: 16},
		{Name: "product_code", Offset: 16, Bits: 16},
		{Name: "model", Offset: 32, Bits: 256, Kind: Text},
		{Name: "software_version", Offset: 288, Bits: 256, Kind: Text},
		{Name: "model_version", Offset: 544, Bits: 256, Kind: Text},
		{Name: "serial_number", Offset: 800, Bits: 256, Kind: Text},
		{Name: "certification", Offset: 1056, Bits: 8, Kind: Choice},
		{Name: "load_equivalency", Offset: 1064, Bits: 8},
	}},
	{PGN: 127245, Name: "rudder", Type: "RudderStatus", Priority: 2, Length: 8, Instance: instance(0), Fields: []Field{
		{Name: "instance", Offset: 0, Bits: 8},
		{Name: "direction_order", Offset: 8, Bits: 3, Kind: Choice},
		{Offset: 11, Bits: 5, Kind: Spare},
		{Name: "angle_order", Offset: 16, Bits: 16, Resolution: 1e-4, Signed: true, Unit: Radian},
		{Name: "position", Offset: 32, Bits: 16, Resolution: 1e-4, Signed: true, Unit: Radian, Quantity: RudderAngle},
		{Offset: 48, Bits: 16, Kind: Spare},
	}},
	// Reference: 0 true, 1 magnetic.
	{PGN: 127250, Name: "vessel heading", Type: "VesselHeading", Priority: 2, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "heading", Offset: 8, Bits: 16, Resolution: 1e-4, Unit: Radian, By: "reference", Variants: []Quantity{Heading, HeadingMagnetic}},
		{Name: "deviation", Offset: 24, Bits: 16, Resolution: 1e-4, Signed: true, Unit: Radian},
		{Name: "variation", Offset: 40, Bits: 16, Resolution: 1e-4, Signed: true, Unit: Radian, Quantity: Variation},
		{Name: "reference", Offset: 56, Bits: 2, Kind: Choice},
		{Offset: 58, Bits: 6, Kind: Spare},
	}},
	{PGN: 127251, Name: "rate of turn", Type: "TurnRate", Priority: 2, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "rate", Offset: 8, Bits: 32, Resolution: 3.125e-8, Signed: true, Unit: RadianPerSecond, Quantity: RateOfTurn},
		{Offset: 40, Bits: 24, Kind: Spare},
	}},
	{PGN: 127257, Name: "attitude", Type: "Attitude", Priority: 3, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "yaw", Offset: 8, Bits: 16, Resolution: 1e-4, Signed: true, Unit: Radian, Quantity: Yaw},
		{Name: "pitch", Offset: 24, Bits: 16, Resolution: 1e-4, Signed: true, Unit: Radian, Quantity: Pitch},
		{Name: "roll", Offset: 40, Bits: 16, Resolution: 1e-4, Signed: true, Unit: Radian, Quantity: Roll},
		{Offset: 56, Bits: 8, Kind: Spare},
	}},
	{PGN: 127258, Name: "magnetic variation", Priority: 7, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "source", Offset: 8, Bits: 4, Kind: Choice},
		{Offset: 12, Bits: 4, Kind: Spare},
		{Name: "age", Offset: 16, Bits: 16, Unit: Day},
		{Name: "variation", Offset: 32, Bits: 16, Resolution: 1e-4, Signed: true, Unit: Radian, Quantity: Variation},
		{Offset: 48, Bits: 16, Kind: Spare},
	}},
	{PGN: 127488, Name: "engine parameters, rapid", Type: "EngineRapid", Priority: 2, Length: 8, Instance: instance(0), Fields: []Field{
		{Name: "instance", Offset: 0, Bits: 8},
		{Name: "speed", Offset: 8, Bits: 16, Resolution: 0.25, Unit: RPM, Quantity: EngineSpeed},
		{Name: "boost", Offset: 24, Bits: 16, Resolution: 100, Unit: Pascal, Quantity: EngineBoost},
		{Name: "trim", Offset: 40, Bits: 8, Signed: true, Unit: Percent, Quantity: EngineTrim},
		{Offset: 48, Bits: 16, Kind: Spare},
	}},
	{PGN: 127489, Name: "engine parameters, dynamic", Type: "EngineDynamic", Priority: 3, Fast: true, Length: 26, Instance: instance(0), Fields: []Field{
		{Name: "instance", Offset: 0, Bits: 8},
		{Name: "oil_pressure", Offset: 8, Bits: 16, Resolution: 100, Unit: Pascal, Quantity: OilPressure},
		{Name: "oil_temperature", Offset: 24, Bits: 16, Resolution: 0.1, Unit: Kelvin, Quantity: OilTemperature},
		{Name: "temperature", Offset: 40, Bits: 16, Resolution: 0.01, Unit: Kelvin, Quantity: EngineTemperature},
		{Name: "alternator_voltage", Offset: 56, Bits: 16, Resolution: 0.01, Signed: true, Unit: Volt, Quantity: AlternatorVoltage},
		{Name: "fuel_rate", Offset: 72, Bits: 16, Resolution: 0.1, Signed: true, Unit: LitrePerHour, Quantity: FuelRate},
		{Name: "hours", Offset: 88, Bits: 32, Unit: Second, Quantity: EngineHours},
		{Name: "coolant_pressure", Offset: 120, Bits: 16, Resolution: 100, Unit: Pascal, Quantity: CoolantPressure},
		{Name: "fuel_pressure", Offset: 136, Bits: 16, Resolution: 1000, Unit: Pascal, Quantity: FuelPressure},
		{Offset: 152, Bits: 8, Kind: Spare},
		{Name: "status_1", Offset: 160, Bits: 16, Kind: Bits},
		{Name: "status_2", Offset: 176, Bits: 16, Kind: Bits},
		{Name: "load", Offset: 192, Bits: 8, Signed: true, Unit: Percent, Quantity: EngineLoad},
		{Name: "torque", Offset: 200, Bits: 8, Signed: true, Unit: Percent, Quantity: EngineTorque},
	}},
	// Gear: 0 forward, 1 neutral, 2 reverse.
	{PGN: 127493, Name: "transmission", Type: "Transmission", Priority: 2, Length: 8, Instance: instance(0), Fields: []Field{
		{Name: "instance", Offset: 0, Bits: 8},
		{Name: "gear", Offset: 8, Bits: 2, Kind: Choice, Quantity: Gear},
		{Offset: 10, Bits: 6, Kind: Spare},
		{Name: "oil_pressure", Offset: 16, Bits: 16, Resolution: 100, Unit: Pascal, Quantity: GearOilPressure},
		{Name: "oil_temperature", Offset: 32, Bits: 16, Resolution: 0.1, Unit: Kelvin, Quantity: GearOilTemperature},
		{Name: "status", Offset: 48, Bits: 8, Kind: Bits},
		{Offset: 56, Bits: 8, Kind: Spare},
	}},
	// The rates are the sender's own averages and so no FuelRate.
	{PGN: 127497, Name: "trip fuel, engine", Type: "TripFuelEngine", Priority: 2, Fast: true, Length: 9, Instance: instance(0), Fields: []Field{
		{Name: "instance", Offset: 0, Bits: 8},
		{Name: "trip_fuel", Offset: 8, Bits: 16, Unit: Litre, Quantity: TripFuel},
		{Name: "average_rate", Offset: 24, Bits: 16, Resolution: 0.1, Signed: true, Unit: LitrePerHour},
		{Name: "economy_rate", Offset: 40, Bits: 16, Resolution: 0.1, Signed: true, Unit: LitrePerHour},
		{Name: "instantaneous_economy", Offset: 56, Bits: 16, Resolution: 0.1, Signed: true, Unit: LitrePerHour},
	}},
	// The first byte as a whole, type<<4 | instance, tells tanks apart. Type: 0 fuel,
	// 1 fresh water.
	{PGN: 127505, Name: "fluid level", Type: "TankLevel", Priority: 6, Length: 8, Instance: instance(0), Fields: []Field{
		{Name: "instance", Offset: 0, Bits: 4},
		{Name: "type", Offset: 4, Bits: 4, Kind: Choice},
		{Name: "level", Offset: 8, Bits: 16, Resolution: 0.004, Signed: true, Unit: Percent, Quantity: FluidLevel},
		{Name: "capacity", Offset: 24, Bits: 32, Resolution: 0.1, Unit: Litre, Quantity: FluidCapacity},
		{Offset: 56, Bits: 8, Kind: Spare},
	}},
	// Type: 0 battery; others (alternator, converter, solar, wind) make no sample. The
	// capacity is the charge that is left, and of later editions: before, the payload
	// ends ahead of it.
	{PGN: 127506, Name: "DC detailed status", Priority: 6, Fast: true, Length: 11, Instance: instance(1), Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "instance", Offset: 8, Bits: 8},
		{Name: "type", Offset: 16, Bits: 8, Kind: Choice},
		{Name: "state_of_charge", Offset: 24, Bits: 8, Unit: Percent, By: "type", Variants: []Quantity{StateOfCharge}},
		{Name: "state_of_health", Offset: 32, Bits: 8, Unit: Percent},
		{Name: "time_remaining", Offset: 40, Bits: 16, Unit: Minute},
		{Name: "ripple", Offset: 56, Bits: 16, Resolution: 0.001, Unit: Volt},
		{Name: "capacity", Offset: 72, Bits: 16, Unit: AmpereHour},
	}},
	{PGN: 127508, Name: "battery status", Priority: 6, Length: 8, Instance: instance(0), Fields: []Field{
		{Name: "instance", Offset: 0, Bits: 8},
		{Name: "voltage", Offset: 8, Bits: 16, Resolution: 0.01, Signed: true, Unit: Volt, Quantity: BatteryVoltage},
		{Name: "current", Offset: 24, Bits: 16, Resolution: 0.1, Signed: true, Unit: Ampere, Quantity: BatteryCurrent},
		{Name: "temperature", Offset: 40, Bits: 16, Resolution: 0.01, Unit: Kelvin},
		{Name: "sid", Offset: 56, Bits: 8},
	}},
	// Its connection number is taken for the instance of 127508. The voltage is coarser
	// than there but does not end at 327.64 V, the current ten times finer and does not
	// end at 3276.4 A.
	{PGN: 127751, Name: "DC voltage and current", Priority: 6, Length: 8, Instance: instance(1), Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "connection", Offset: 8, Bits: 8},
		{Name: "voltage", Offset: 16, Bits: 16, Resolution: 0.1, Unit: Volt, Quantity: BatteryVoltage},
		{Name: "current", Offset: 32, Bits: 24, Resolution: 0.01, Signed: true, Unit: Ampere, Quantity: BatteryCurrent},
		{Offset: 56, Bits: 8, Kind: Spare},
	}},
	// The ground speed in it is no SpeedOverGround: a log that measures it is rare, and
	// one that copies it from elsewhere would count twice.
	{PGN: 128259, Name: "speed, water referenced", Type: "WaterSpeed", Priority: 2, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "speed", Offset: 8, Bits: 16, Resolution: 0.01, Unit: MetrePerSecond, Quantity: SpeedThroughWater},
		{Name: "ground_speed", Offset: 24, Bits: 16, Resolution: 0.01, Unit: MetrePerSecond},
		{Name: "type", Offset: 40, Bits: 8, Kind: Choice},
		{Offset: 48, Bits: 16, Kind: Spare},
	}},
	{PGN: 128267, Name: "water depth", Priority: 3, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "depth", Offset: 8, Bits: 32, Resolution: 0.01, Unit: Metre, Quantity: Depth},
		{Name: "offset", Offset: 40, Bits: 16, Resolution: 0.001, Signed: true, Unit: Metre},
		{Name: "range", Offset: 56, Bits: 8, Resolution: 10, Unit: Metre},
	}},
	{PGN: 129025, Name: "position, rapid", Type: "PositionRapid", Priority: 2, Length: 8, Fields: []Field{
		{Name: "latitude", Offset: 0, Bits: 32, Resolution: 1e-7, Signed: true, Unit: Degree, Quantity: Latitude},
		{Name: "longitude", Offset: 32, Bits: 32, Resolution: 1e-7, Signed: true, Unit: Degree, Quantity: Longitude},
	}},
	// Reference: 0 true, 1 magnetic.
	{PGN: 129026, Name: "COG and SOG, rapid", Type: "CourseSpeed", Priority: 2, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "reference", Offset: 8, Bits: 2, Kind: Choice},
		{Offset: 10, Bits: 6, Kind: Spare},
		{Name: "course", Offset: 16, Bits: 16, Resolution: 1e-4, Unit: Radian, By: "reference", Variants: []Quantity{CourseOverGround, CourseMagnetic}},
		{Name: "speed", Offset: 32, Bits: 16, Resolution: 0.01, Unit: MetrePerSecond, Quantity: SpeedOverGround},
		{Offset: 48, Bits: 16, Kind: Spare},
	}},
	// Reference stations, 4 bytes each, may follow and are not read.
	{PGN: 129029, Name: "GNSS position", Type: "GNSSPosition", Priority: 3, Fast: true, Length: 43, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "date", Offset: 8, Bits: 16, Unit: Day},
		{Name: "time", Offset: 24, Bits: 32, Resolution: 1e-4, Unit: Second},
		{Name: "latitude", Offset: 56, Bits: 64, Resolution: 1e-16, Signed: true, Unit: Degree, Quantity: Latitude},
		{Name: "longitude", Offset: 120, Bits: 64, Resolution: 1e-16, Signed: true, Unit: Degree, Quantity: Longitude},
		{Name: "altitude", Offset: 184, Bits: 64, Resolution: 1e-6, Signed: true, Unit: Metre, Quantity: Altitude},
		{Name: "type", Offset: 248, Bits: 4, Kind: Choice},
		{Name: "method", Offset: 252, Bits: 4, Kind: Choice},
		{Name: "integrity", Offset: 256, Bits: 2, Kind: Choice},
		{Offset: 258, Bits: 6, Kind: Spare},
		{Name: "satellites", Offset: 264, Bits: 8, Quantity: Satellites},
		{Name: "hdop", Offset: 272, Bits: 16, Resolution: 0.01, Signed: true, Quantity: HDOP},
		{Name: "pdop", Offset: 288, Bits: 16, Resolution: 0.01, Signed: true},
		{Name: "geoidal_separation", Offset: 304, Bits: 32, Resolution: 0.01, Signed: true, Unit: Metre},
		{Name: "reference_stations", Offset: 336, Bits: 8},
	}},
	{PGN: 129033, Name: "time and date", Priority: 3, Length: 8, Fields: []Field{
		{Name: "date", Offset: 0, Bits: 16, Unit: Day},
		{Name: "time", Offset: 16, Bits: 32, Resolution: 1e-4, Unit: Second},
		{Name: "local_offset", Offset: 48, Bits: 16, Signed: true, Unit: Minute},
	}},
	// Reference: 0 over ground from true north, 1 over ground from magnetic north,
	// 2 apparent, 3 true from the bow over ground, 4 true from the bow through water.
	// References 1, 3 and 4 make no sample: their angles count from elsewhere than the
	// quantities say, and a speed is of no use without its angle.
	{PGN: 130306, Name: "wind", Type: "Wind", Priority: 2, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "speed", Offset: 8, Bits: 16, Resolution: 0.01, Unit: MetrePerSecond, By: "reference", Variants: []Quantity{0: WindSpeedTrue, 2: WindSpeedApparent}},
		{Name: "angle", Offset: 24, Bits: 16, Resolution: 1e-4, Unit: Radian, By: "reference", Variants: []Quantity{0: WindAngleTrue, 2: WindAngleApparent}},
		{Name: "reference", Offset: 40, Bits: 3, Kind: Choice},
		{Offset: 43, Bits: 21, Kind: Spare},
	}},
	{PGN: 130310, Name: "environment", Priority: 5, Length: 8, Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "water_temperature", Offset: 8, Bits: 16, Resolution: 0.01, Unit: Kelvin, Quantity: WaterTemperature},
		{Name: "air_temperature", Offset: 24, Bits: 16, Resolution: 0.01, Unit: Kelvin, Quantity: AirTemperature},
		{Name: "air_pressure", Offset: 40, Bits: 16, Resolution: 100, Unit: Pascal, Quantity: AirPressure},
		{Offset: 56, Bits: 8, Kind: Spare},
	}},
	// Source: 0 sea, 1 outside air; others make no sample (from memory).
	{PGN: 130312, Name: "temperature", Priority: 5, Length: 8, Instance: instance(1), Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "instance", Offset: 8, Bits: 8},
		{Name: "source", Offset: 16, Bits: 8, Kind: Choice},
		{Name: "actual", Offset: 24, Bits: 16, Resolution: 0.01, Unit: Kelvin, By: "source", Variants: []Quantity{WaterTemperature, AirTemperature}},
		{Name: "set", Offset: 40, Bits: 16, Resolution: 0.01, Unit: Kelvin},
		{Offset: 56, Bits: 8, Kind: Spare},
	}},
	// Source: 0 atmosphere; others make no sample (from memory).
	{PGN: 130314, Name: "actual pressure", Priority: 5, Length: 8, Instance: instance(1), Fields: []Field{
		{Name: "sid", Offset: 0, Bits: 8},
		{Name: "instance", Offset: 8, Bits: 8},
		{Name: "source", Offset: 16, Bits: 8, Kind: Choice},
		{Name: "pressure", Offset: 24, Bits: 32, Resolution: 0.1, Signed: true, Unit: Pascal, By: "source", Variants: []Quantity{AirPressure}},
		{Offset: 56, Bits: 8, Kind: Spare},
	}},
	{PGN: 130576, Name: "trim tab status", Priority: 2, Length: 8, Fields: []Field{
		{Name: "port", Offset: 0, Bits: 8, Signed: true, Unit: Percent, Quantity: TrimTabPort},
		{Name: "starboard", Offset: 8, Bits: 8, Signed: true, Unit: Percent, Quantity: TrimTabStarboard},
		{Offset: 16, Bits: 48, Kind: Spare},
	}},
}
