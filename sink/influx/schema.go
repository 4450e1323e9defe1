package influx

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"trialday.example/logd/calc"
	"trialday.example/logd/pgn"
)

// layout is the version of the schema; a change of it makes cursors start anew.
const layout = 1

// Bounds of the tags, see Cardinality.
const (
	MaxRuns      = 1000
	MaxSources   = 32
	maxTanks     = 16 // also of batteries
	maxTagBytes  = 64
	RunSeries    = 64
	MaxRunSeries = RunSeries + calc.MaxEngines + 1 + 3 + 2*(maxTanks+1) // the rest with source "other"
	// MaxSeries bounds the series of a trial: samples, and of the intervals
	// runs, quality and one windows an engine and for all, by run; steps and
	// trials.
	MaxSeries = (MaxRuns+1)*(MaxRunSeries+2+calc.MaxEngines+1) + calc.MaxEngines + 1 + 1

	other = "other"
	whole = "all" // engine tag of figures of the boat as a whole
)

// The measurements.
const (
	engine      = "engine"
	motion      = "motion"
	position    = "position"
	environment = "environment"
	tank        = "tank"
	battery     = "battery"

	runs    = "runs"
	windows = "windows"
	steps   = "steps"
	trials  = "trials"
	quality = "quality"
)

// measurementOf gives the measurement that a quantity's samples go to.
var measurementOf = [pgn.NumQuantities]string{
	pgn.EngineSpeed:        engine,
	pgn.EngineBoost:        engine,
	pgn.EngineTrim:         engine,
	pgn.OilPressure:        engine,
	pgn.OilTemperature:     engine,
	pgn.EngineTemperature:  engine,
	pgn.AlternatorVoltage:  engine,
	pgn.FuelRate:           engine,
	pgn.EngineHours:        engine,
	pgn.CoolantPressure:    engine,
	pgn.FuelPressure:       engine,
	pgn.EngineLoad:         engine,
	pgn.EngineTorque:       engine,
	pgn.Gear:               engine,
	pgn.GearOilPressure:    engine,
	pgn.GearOilTemperature: engine,
	pgn.TripFuel:           engine,
	pgn.FluidLevel:         tank,
	pgn.FluidCapacity:      tank,
	pgn.BatteryVoltage:     battery,
	pgn.BatteryCurrent:     battery,
	pgn.RudderAngle:        motion,
	pgn.Heading:            motion,
	pgn.HeadingMagnetic:    motion,
	pgn.RateOfTurn:         motion,
	pgn.Yaw:                motion,
	pgn.Pitch:              motion,
	pgn.Roll:               motion,
	pgn.Variation:          environment,
	pgn.SpeedThroughWater:  motion,
	pgn.Depth:              environment,
	pgn.Latitude:           position,
	pgn.Longitude:          position,
	pgn.Altitude:           position,
	pgn.CourseOverGround:   motion,
	pgn.CourseMagnetic:     motion,
	pgn.SpeedOverGround:    motion,
	pgn.HDOP:               position,
	pgn.Satellites:         position,
	pgn.WindSpeedApparent:  environment,
	pgn.WindAngleApparent:  environment,
	pgn.WindSpeedTrue:      environment,
	pgn.WindAngleTrue:      environment,
	pgn.WaterTemperature:   environment,
	pgn.AirTemperature:     environment,
	pgn.AirPressure:        environment,
	pgn.TrimTabPort:        motion,
	pgn.TrimTabStarboard:   motion,
	pgn.StateOfCharge:      battery,
	pgn.BatteryPower:       battery,
}

// fluids names the fluid types of PGN 127505 (from memory).
var fluids = [...]string{"fuel", "water", "grey water", "live well", "oil", "black water"}

func tankName(instance uint8) string {
	if kind := int(instance >> 4); kind < len(fluids) {
		return fmt.Sprintf("%s %d", fluids[kind], instance&0xF)
	}
	return fmt.Sprintf("fluid %d %d", instance>>4, instance&0xF)
}

// clean makes a text fit for a tag: on one line, not empty, not too long, and
// without a backslash, which at its end would escape what follows.
func clean(text, otherwise string) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case r == '\\':
			return '/'
		case unicode.IsControl(r), r == unicode.ReplacementChar:
			return ' '
		}
		return r
	}, text)
	for len(text) > maxTagBytes {
		r := []rune(text)
		text = string(r[:len(r)-1])
	}
	if text = strings.TrimSpace(text); text == "" {
		return otherwise
	}
	return text
}

// labels gives values to a tag, a bounded number of them.
type labels struct {
	max  int
	used map[string]bool
}

func (l *labels) of(value string) string {
	if l.used[value] {
		return value
	}
	if len(l.used) >= l.max {
		return other
	}
	if l.used == nil {
		l.used = make(map[string]bool)
	}
	l.used[value] = true
	return value
}

// runTag is the value of the tag run.
func runTag(id int) string {
	if id > MaxRuns {
		return other
	}
	return strconv.Itoa(id)
}
