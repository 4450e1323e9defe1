package choose

import (
	"time"

	"trialday.example/logd/pgn"
)

// Group is a set of quantities that are taken from one device together.
type Group uint8

// The groups. EngineSpeed is not chosen here: which device speaks for an
// engine follows from the engine's instance.
const (
	Free Group = iota // not chosen: every device's samples are used
	Position
	Motion // course and speed over ground
	Heading
	Attitude
	RateOfTurn
	WaterSpeed
	Depth
	Wind
	EngineSpeed
	EngineState // what 127489 carries, by engine
	Gearbox     // by engine
	Trip        // by engine
	Tank        // by tank
	Battery     // by battery
	Charge      // by battery: how full it is
	Rudder      // by rudder
	TrimTabs
	WaterTemperature
	AirTemperature
	AirPressure
	Variation
	numGroups
)

var groupNames = [numGroups]string{
	"free", "position", "motion", "heading", "attitude", "rate_of_turn", "water_speed", "depth", "wind",
	"engine_speed", "engine_state", "gearbox", "trip", "tank", "battery", "charge", "rudder", "trim_tabs",
	"water_temperature", "air_temperature", "air_pressure", "variation",
}

func (g Group) String() string {
	if g < numGroups {
		return groupNames[g]
	}
	return "unknown"
}

// instanced groups have one choice for each engine, tank, battery or rudder.
func (g Group) instanced() bool { return g >= EngineState && g <= Rudder }

// explained groups are those of which it is told why no device gives a value: that
// of a battery may be out of the range of the one message that is sent.
func (g Group) explained() bool { return g == Battery || g == Charge }

// Patience, ns, is how long a device may be without a value before another takes
// over: three periods of the group's slowest usual rate, 1 Hz for the quick
// ones; tanks come every 2.5 s and are allowed six (common practice, no
// source).
func (g Group) Patience() int64 {
	switch {
	case g <= Gearbox:
		return int64(3 * time.Second)
	default:
		return int64(15 * time.Second)
	}
}

// role says what a quantity tells of its device.
type role uint8

const (
	extra role = iota // nothing: a device may have it and yet no fix
	alive             // that it has a value
	first             // the same, and it is a main quantity of the group
	second
)

type member struct {
	group Group
	role  role
}

// members is roles with what follows from the group, as it is looked up for
// every sample.
var members = func() (all [256]struct {
	member
	instances uint8 // mask of the instances that are chosen for apart
	patience  int64
}) {
	for q, r := range roles {
		m := &all[q]
		m.member, m.patience = r, r.group.Patience()
		if r.group.instanced() {
			m.instances = 0xFF
		}
	}
	return all
}()

var roles = [pgn.NumQuantities]member{
	pgn.Latitude:           {Position, first},
	pgn.Longitude:          {Position, second},
	pgn.Altitude:           {Position, extra},
	pgn.HDOP:               {Position, extra},
	pgn.Satellites:         {Position, extra},
	pgn.SpeedOverGround:    {Motion, first},
	pgn.CourseOverGround:   {Motion, second},
	pgn.CourseMagnetic:     {Motion, alive},
	pgn.Heading:            {Heading, first},
	pgn.HeadingMagnetic:    {Heading, alive},
	pgn.Pitch:              {Attitude, first},
	pgn.Roll:               {Attitude, second},
	pgn.Yaw:                {Attitude, extra},
	pgn.RateOfTurn:         {RateOfTurn, first},
	pgn.SpeedThroughWater:  {WaterSpeed, first},
	pgn.Depth:              {Depth, first},
	pgn.WindSpeedApparent:  {Wind, first},
	pgn.WindAngleApparent:  {Wind, second},
	pgn.WindSpeedTrue:      {Wind, alive},
	pgn.WindAngleTrue:      {Wind, alive},
	pgn.FuelRate:           {EngineState, first},
	pgn.EngineLoad:         {EngineState, second},
	pgn.OilPressure:        {EngineState, alive},
	pgn.OilTemperature:     {EngineState, alive},
	pgn.EngineTemperature:  {EngineState, alive},
	pgn.AlternatorVoltage:  {EngineState, alive},
	pgn.EngineHours:        {EngineState, alive},
	pgn.CoolantPressure:    {EngineState, alive},
	pgn.FuelPressure:       {EngineState, alive},
	pgn.EngineTorque:       {EngineState, alive},
	pgn.Gear:               {Gearbox, first},
	pgn.GearOilPressure:    {Gearbox, alive},
	pgn.GearOilTemperature: {Gearbox, alive},
	pgn.TripFuel:           {Trip, first},
	pgn.FluidLevel:         {Tank, first},
	pgn.FluidCapacity:      {Tank, extra},
	pgn.BatteryVoltage:     {Battery, first},
	pgn.BatteryCurrent:     {Battery, second},
	pgn.BatteryPower:       {Battery, extra}, // made of those chosen
	pgn.StateOfCharge:      {Charge, first},
	pgn.RudderAngle:        {Rudder, first},
	pgn.TrimTabPort:        {TrimTabs, first},
	pgn.TrimTabStarboard:   {TrimTabs, second},
	pgn.WaterTemperature:   {WaterTemperature, first},
	pgn.AirTemperature:     {AirTemperature, first},
	pgn.AirPressure:        {AirPressure, first},
	pgn.Variation:          {Variation, first},
}

// Of is the group of a quantity.
func Of(q pgn.Quantity) Group { return members[q].group }
