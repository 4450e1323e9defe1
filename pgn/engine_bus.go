package pgn

// engineBus is the messages of engines and gearboxes on a network of their own
// (SAE J1939-71; all layouts from memory). The sender's address tells one engine
// from another, and the patterns that are not values are those of TopBytes.
//
// What has no Quantity makes no sample: speed and economy over ground hang on
// the speed that the engine was given, which is measured elsewhere already.
var engineBus = []Message{
	{PGN: 61443, Name: "electronic engine controller 2", Priority: 3, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "pedal_1_low_idle", Offset: 0, Bits: 2, Kind: Choice},
		{Name: "pedal_kickdown", Offset: 2, Bits: 2, Kind: Choice},
		{Name: "speed_limit_status", Offset: 4, Bits: 2, Kind: Choice},
		{Name: "pedal_2_low_idle", Offset: 6, Bits: 2, Kind: Choice},
		{Name: "pedal_1", Offset: 8, Bits: 8, Resolution: 0.4, Unit: Percent},
		{Name: "load", Offset: 16, Bits: 8, Unit: Percent, Quantity: EngineLoad},
		{Name: "remote_pedal", Offset: 24, Bits: 8, Resolution: 0.4, Unit: Percent},
		{Name: "pedal_2", Offset: 32, Bits: 8, Resolution: 0.4, Unit: Percent},
		{Offset: 40, Bits: 8, Kind: Spare},
		{Name: "available_torque", Offset: 48, Bits: 8, Resolution: 0.4, Unit: Percent},
		{Offset: 56, Bits: 8, Kind: Spare},
	}},
	{PGN: 61444, Name: "electronic engine controller 1", Priority: 3, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "torque_mode", Offset: 0, Bits: 4, Kind: Choice},
		{Offset: 4, Bits: 4, Kind: Spare},
		{Name: "demanded_torque", Offset: 8, Bits: 8, Zero: -125, Unit: Percent},
		{Name: "torque", Offset: 16, Bits: 8, Zero: -125, Unit: Percent, Quantity: EngineTorque},
		{Name: "speed", Offset: 24, Bits: 16, Resolution: 0.125, Unit: RPM, Quantity: EngineSpeed},
		{Name: "controlling_address", Offset: 40, Bits: 8, Kind: Bits},
		{Name: "starter_mode", Offset: 48, Bits: 4, Kind: Choice},
		{Offset: 52, Bits: 4, Kind: Spare},
		{Name: "engine_demand_torque", Offset: 56, Bits: 8, Zero: -125, Unit: Percent},
	}},
	// Gears: forward 1 and up, neutral 0, reverse -1 and down; 126, park, is a
	// pattern specific to the parameter and so no value. The ranges are two
	// characters each, as on the selector.
	{PGN: 61445, Name: "electronic transmission controller 2", Priority: 6, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "selected_gear", Offset: 0, Bits: 8, Zero: -125, Unit: GearNumber},
		{Name: "actual_ratio", Offset: 8, Bits: 16, Resolution: 0.001},
		{Name: "current_gear", Offset: 24, Bits: 8, Zero: -125, Unit: GearNumber, Quantity: Gear},
		{Name: "requested_range", Offset: 32, Bits: 16, Kind: Bits},
		{Name: "current_range", Offset: 48, Bits: 16, Kind: Bits},
	}},
	{PGN: 65253, Name: "engine hours, revolutions", Priority: 6, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "hours", Offset: 0, Bits: 32, Resolution: 0.05, Unit: Hour, Quantity: EngineHours},
		{Name: "revolutions", Offset: 32, Bits: 32, Resolution: 1000, Unit: Revolution},
	}},
	{PGN: 65257, Name: "fuel consumption (liquid)", Priority: 6, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "trip_fuel", Offset: 0, Bits: 32, Resolution: 0.5, Unit: Litre, Quantity: TripFuel},
		{Name: "total_fuel", Offset: 32, Bits: 32, Resolution: 0.5, Unit: Litre},
	}},
	{PGN: 65262, Name: "engine temperature 1", Priority: 6, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "coolant_temperature", Offset: 0, Bits: 8, Zero: -40, Unit: Celsius, Quantity: EngineTemperature},
		{Name: "fuel_temperature", Offset: 8, Bits: 8, Zero: -40, Unit: Celsius},
		{Name: "oil_temperature", Offset: 16, Bits: 16, Resolution: 0.03125, Zero: -273, Unit: Celsius, Quantity: OilTemperature},
		{Name: "turbo_oil_temperature", Offset: 32, Bits: 16, Resolution: 0.03125, Zero: -273, Unit: Celsius},
		{Name: "intercooler_temperature", Offset: 48, Bits: 8, Zero: -40, Unit: Celsius},
		{Name: "intercooler_thermostat", Offset: 56, Bits: 8, Resolution: 0.4, Unit: Percent},
	}},
	{PGN: 65263, Name: "engine fluid level, pressure 1", Priority: 6, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "fuel_pressure", Offset: 0, Bits: 8, Resolution: 4, Unit: Kilopascal, Quantity: FuelPressure},
		{Name: "blow_by_pressure", Offset: 8, Bits: 8, Resolution: 0.05, Unit: Kilopascal},
		{Name: "oil_level", Offset: 16, Bits: 8, Resolution: 0.4, Unit: Percent},
		{Name: "oil_pressure", Offset: 24, Bits: 8, Resolution: 4, Unit: Kilopascal, Quantity: OilPressure},
		{Name: "crankcase_pressure", Offset: 32, Bits: 16, Resolution: 1.0 / 128, Zero: -250, Unit: Kilopascal},
		{Name: "coolant_pressure", Offset: 48, Bits: 8, Resolution: 2, Unit: Kilopascal, Quantity: CoolantPressure},
		{Name: "coolant_level", Offset: 56, Bits: 8, Resolution: 0.4, Unit: Percent},
	}},
	{PGN: 65265, Name: "cruise control, vehicle speed", Priority: 6, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Offset: 0, Bits: 8, Kind: Spare},
		{Name: "speed", Offset: 8, Bits: 16, Resolution: 1.0 / 256, Unit: KilometrePerHour},
		{Offset: 24, Bits: 16, Kind: Spare},
		{Name: "set_speed", Offset: 40, Bits: 8, Unit: KilometrePerHour},
		{Offset: 48, Bits: 16, Kind: Spare},
	}},
	{PGN: 65266, Name: "fuel economy (liquid)", Priority: 6, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "fuel_rate", Offset: 0, Bits: 16, Resolution: 0.05, Unit: LitrePerHour, Quantity: FuelRate},
		{Name: "instantaneous_economy", Offset: 16, Bits: 16, Resolution: 1.0 / 512, Unit: KilometrePerLitre},
		{Name: "average_economy", Offset: 32, Bits: 16, Resolution: 1.0 / 512, Unit: KilometrePerLitre},
		{Name: "throttle_1", Offset: 48, Bits: 8, Resolution: 0.4, Unit: Percent},
		{Name: "throttle_2", Offset: 56, Bits: 8, Resolution: 0.4, Unit: Percent},
	}},
	// The pressure after the turbocharger is above that of the air.
	{PGN: 65270, Name: "inlet and exhaust conditions 1", Priority: 6, Length: 8, Ranges: TopBytes, Fields: []Field{
		{Name: "particulate_trap_pressure", Offset: 0, Bits: 8, Resolution: 0.5, Unit: Kilopascal},
		{Name: "boost", Offset: 8, Bits: 8, Resolution: 2, Unit: Kilopascal, Quantity: EngineBoost},
		{Name: "intake_temperature", Offset: 16, Bits: 8, Zero: -40, Unit: Celsius},
		{Name: "air_inlet_pressure", Offset: 24, Bits: 8, Resolution: 2, Unit: Kilopascal},
		{Name: "air_filter_pressure", Offset: 32, Bits: 8, Resolution: 0.05, Unit: Kilopascal},
		{Name: "exhaust_temperature", Offset: 40, Bits: 16, Resolution: 0.03125, Zero: -273, Unit: Celsius},
		{Name: "coolant_filter_pressure", Offset: 56, Bits: 8, Resolution: 0.5, Unit: Kilopascal},
	}},
}
