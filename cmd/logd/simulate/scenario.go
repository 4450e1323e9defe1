package simulate

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/go-viper/mapstructure/v2"
	"go.yaml.in/yaml/v3"

	"trialday.example/logd/pgn"
)

// Scenario is a day to be simulated, as read from a YAML file. Every key names
// its unit. All names in it are invented.
type Scenario struct {
	Name        string      `mapstructure:"name"`
	StartUTC    time.Time   `mapstructure:"start"`
	Interface   string      `mapstructure:"interface"` // name of the CAN interface
	Place       Place       `mapstructure:"place"`
	Vessel      Vessel      `mapstructure:"vessel"`
	Hull        Hull        `mapstructure:"hull"`
	Engines     Engines     `mapstructure:"engines"`
	EngineBus   *EngineBus  `mapstructure:"engine_bus"` // nil: none
	Electric    *Electric   `mapstructure:"electric"`   // nil: none
	Propeller   Propeller   `mapstructure:"propeller"`
	Environment Environment `mapstructure:"environment"`
	Captain     Captain     `mapstructure:"captain"`
	Sensors     Sensors     `mapstructure:"sensors"`
	Clock       Clock       `mapstructure:"clock"`
	Faults      Faults      `mapstructure:"faults"`
	Script      []Action    `mapstructure:"script"`
}

// Place is where the day begins.
type Place struct {
	LatitudeDeg  float64 `mapstructure:"latitude_deg"`
	LongitudeDeg float64 `mapstructure:"longitude_deg"`
	VariationDeg float64 `mapstructure:"variation_deg"` // east positive
	HarbourM     float64 `mapstructure:"harbour_depth_m"`
	DepthM       float64 `mapstructure:"depth_m"`
}

// Vessel is the boat as weighed, and its tank.
type Vessel struct {
	Name            string  `mapstructure:"name"`
	LengthM         float64 `mapstructure:"length_m"`
	BeamM           float64 `mapstructure:"beam_m"`
	MassKg          float64 `mapstructure:"mass_kg"` // ready for sea, without fuel
	TankL           float64 `mapstructure:"tank_l"`
	FuelL           float64 `mapstructure:"fuel_l"` // in the tank at the start
	FuelDensityKgPL float64 `mapstructure:"fuel_density_kg_per_l"`
	FreshWaterL     float64 `mapstructure:"fresh_water_l"` // tank size, half full; 0 for none
	TrimTabs        bool    `mapstructure:"trim_tabs"`
}

// Hull holds the resistance and attitude coefficients; see hull.
type Hull struct {
	WettedM2       float64 `mapstructure:"wetted_m2"`
	WettedPlaning  float64 `mapstructure:"wetted_planing"` // part of WettedM2 still wet on the plane
	Roughness      float64 `mapstructure:"roughness"`      // added to the friction coefficient, appendages included
	Hump           float64 `mapstructure:"hump"`           // wave resistance at the hump as part of the weight
	HumpFroude     float64 `mapstructure:"hump_froude"`
	HumpWidth      float64 `mapstructure:"hump_width"` // of ln(Froude number)
	Planing        float64 `mapstructure:"planing"`    // pressure resistance on the plane as part of the weight
	PlaningFroude  float64 `mapstructure:"planing_froude"`
	WindageM2      float64 `mapstructure:"windage_m2"` // drag coefficient times frontal area
	WaveResistance float64 `mapstructure:"wave_resistance"`
	PitchRestDeg   float64 `mapstructure:"pitch_rest_deg"`
	PitchHumpDeg   float64 `mapstructure:"pitch_hump_deg"`
	PitchPlaneDeg  float64 `mapstructure:"pitch_plane_deg"`
	HeelPerG       float64 `mapstructure:"heel_per_g"` // inward heel in rad per g of lateral acceleration
	TurnDrag       float64 `mapstructure:"turn_drag"`  // drag in a turn as part of the centripetal force
	ThrustYaw      float64 `mapstructure:"thrust_yaw"` // rad/s by 1 m/s² of thrust on the starboard side alone, at rest; 0: thrust does not turn
	AddedMass      float64 `mapstructure:"added_mass"` // as part of the mass
}

// Engines describes the engines, which are all alike.
type Engines struct {
	Names         []string     `mapstructure:"names"` // port first
	RatedKW       float64      `mapstructure:"rated_power_kw"`
	RatedRPM      float64      `mapstructure:"rated_rpm"`
	IdleRPM       float64      `mapstructure:"idle_rpm"`
	TopRPM        float64      `mapstructure:"top_rpm"`      // where the governor holds the engine
	Torque        [][2]float64 `mapstructure:"torque_curve"` // rpm, maximum torque as part of that at rated power
	LagS          float64      `mapstructure:"lag_s"`
	InertiaKgM2   float64      `mapstructure:"inertia_kg_m2"`
	FuelGPerKWh   float64      `mapstructure:"fuel_g_per_kwh"`   // per kWh of brake and friction work
	FrictionKW    float64      `mapstructure:"friction_kw"`      // at rated speed
	FrictionMinKW float64      `mapstructure:"friction_idle_kw"` // at no speed
	GearRatio     float64      `mapstructure:"gear_ratio"`
	GearLoss      float64      `mapstructure:"gear_loss"`
	Trim          bool         `mapstructure:"trim"` // outboards tilt
	Hours         float64      `mapstructure:"hours"`
	Instances     []int        `mapstructure:"instances"` // that the gateways send, port first; none: 0, 1, 2 ...
}

// Propeller describes the propellers, which are all alike; see propeller.
type Propeller struct {
	DiameterM       float64 `mapstructure:"diameter_m"`
	PitchM          float64 `mapstructure:"pitch_m"`
	KT0             float64 `mapstructure:"kt0"`
	KQ0             float64 `mapstructure:"kq0"`
	KQSlope         float64 `mapstructure:"kq_slope"`
	Wake            float64 `mapstructure:"wake"`
	ThrustDeduction float64 `mapstructure:"thrust_deduction"`
}

// Environment is the sea, the tide and the air.
type Environment struct {
	WaveHeightM     float64 `mapstructure:"wave_height_m"` // significant
	WavePeriodS     float64 `mapstructure:"wave_period_s"` // of the spectrum's peak
	WaveFromDeg     float64 `mapstructure:"wave_from_deg"`
	WindKn          float64 `mapstructure:"wind_kn"`
	WindFromDeg     float64 `mapstructure:"wind_from_deg"`
	CurrentKn       float64 `mapstructure:"current_kn"` // mean over the tide
	CurrentSetDeg   float64 `mapstructure:"current_set_deg"`
	TideKn          float64 `mapstructure:"tide_kn"` // amplitude along the major axis
	TideSetDeg      float64 `mapstructure:"tide_set_deg"`
	TideMinorKn     float64 `mapstructure:"tide_minor_kn"` // amplitude across it
	TidePhaseDeg    float64 `mapstructure:"tide_phase_deg"`
	WaterC          float64 `mapstructure:"water_c"`
	AirC            float64 `mapstructure:"air_c"`
	PressureHPa     float64 `mapstructure:"pressure_hpa"`
	SpeedWanderPct  float64 `mapstructure:"speed_wander_pct"` // standard deviation, helm and gusts
	SpeedWanderTauS float64 `mapstructure:"speed_wander_tau_s"`
}

// Captain says how well the throttles are set and held by eye.
type Captain struct {
	ThrottleErrorPct float64 `mapstructure:"throttle_error_pct"` // standard deviation
	EngineSpreadRPM  float64 `mapstructure:"engine_spread_rpm"`  // standard deviation between engines
	HoldS            float64 `mapstructure:"hold_s"`             // usual length of a pass once settled
	HoldSpreadS      float64 `mapstructure:"hold_spread_s"`      // drawn evenly within plus or minus
	HeadingDeg       float64 `mapstructure:"heading_deg"`        // of the first pass
}

// Sensors scales the sensors' imperfections.
type Sensors struct {
	Noise            float64 `mapstructure:"noise"` // multiplies every sensor noise
	GNSSLagS         float64 `mapstructure:"gnss_lag_s"`
	HeadingOffsetDeg float64 `mapstructure:"heading_offset_deg"`
	PaddleGainPct    float64 `mapstructure:"paddle_gain_pct"`
	PaddleMaxKn      float64 `mapstructure:"paddle_max_kn"` // above it the wheel runs in air; 0 for never
	SounderMaxKn     float64 `mapstructure:"sounder_max_kn"`
	SecondGNSS       bool    `mapstructure:"second_gnss"`
	Slow             bool    `mapstructure:"slow"`         // few messages, for long series of tests
	GNSSHz           float64 `mapstructure:"gnss_hz"`      // of the first receiver; 0 for 10
	WithoutPGNs      []int   `mapstructure:"without_pgns"` // that no device sends
}

// Clock is the recorder's clock against UTC.
type Clock struct {
	OffsetS    float64     `mapstructure:"offset_s"`
	DriftPPM   float64     `mapstructure:"drift_ppm"`
	StartsUnix bool        `mapstructure:"starts_in_1970"`
	Steps      []ClockStep `mapstructure:"steps"`
}

// ClockStep is a sudden change of the recorder's clock, by so much or, if it is
// set right, to so much off UTC.
type ClockStep struct {
	AtS      float64 `mapstructure:"at_s"`
	ByS      float64 `mapstructure:"by_s"`
	SetRight bool    `mapstructure:"set_right"`
}

// Faults lists what goes wrong.
type Faults struct {
	FastPacketLossPct float64        `mapstructure:"fast_packet_loss_pct"`
	ErrorFrameEveryS  float64        `mapstructure:"error_frame_every_s"` // on average; 0 for never
	StandardIDEveryS  float64        `mapstructure:"standard_id_every_s"`
	UnknownPGNEveryS  float64        `mapstructure:"unknown_pgn_every_s"`
	Dropouts          []Dropout      `mapstructure:"dropouts"`
	AddressChange     *AddressChange `mapstructure:"address_change"`
	SameAddress       *SameAddress   `mapstructure:"same_address"`
	BusLoad           *BusLoad       `mapstructure:"bus_load"`
	Fields            []FieldFault   `mapstructure:"fields"`
}

// Dropout silences a device for a while.
type Dropout struct {
	Device string  `mapstructure:"device"`
	AtS    float64 `mapstructure:"at_s"`
	ForS   float64 `mapstructure:"for_s"`
}

// AddressChange lets a newcomer take a device's address; the device then
// claims another.
type AddressChange struct {
	Device string  `mapstructure:"device"`
	AtS    float64 `mapstructure:"at_s"`
	To     int     `mapstructure:"to"`
}

// Action is one entry of the script. Do is one of the keys of actions; which
// of the other keys apply depends on it.
type Action struct {
	Do     string  `mapstructure:"do"`
	ForS   float64 `mapstructure:"for_s"`
	RPM    float64 `mapstructure:"rpm"` // 0 with full: the throttle's end
	Full   bool    `mapstructure:"full"`
	Passes int     `mapstructure:"passes"` // on alternate headings
	Side   string  `mapstructure:"side"`   // of a circle: port or starboard
	About  bool    `mapstructure:"about"`  // accelerate on the opposite course to the last one
	Shifts int     `mapstructure:"shifts"` // of the gears at the dock
	Events []Event `mapstructure:"events"`
}

// Event disturbs one pass of a step.
type Event struct {
	Pass       int     `mapstructure:"pass"`        // from 1
	CorrectPct float64 `mapstructure:"correct_pct"` // of the throttle, once, in mid-pass
	HuntPct    float64 `mapstructure:"hunt_pct"`    // rpm amplitude; the pass is then repeated
	PeriodS    float64 `mapstructure:"period_s"`    // of the hunting
	AbortS     float64 `mapstructure:"abort_s"`     // throttle chopped so long after it was set; the pass is then repeated
	ShoalM     float64 `mapstructure:"shoal_m"`     // depth over a bank that lies ahead
	DropoutS   float64 `mapstructure:"dropout_s"`   // first GNSS receiver silent in mid-pass
}

// errScenario starts every refusal, so that a caller can tell it apart.
var errScenario = errors.New("scenario")

// Parse reads a scenario. Unknown keys, wrong types and impossible values are
// refused with the key's path, the value and what is allowed; all of them are
// listed, joined by errors.Join.
func Parse(text []byte) (*Scenario, error) {
	var tree map[string]any
	if err := yaml.Unmarshal(text, &tree); err != nil {
		return nil, fmt.Errorf("%w: not YAML: %w", errScenario, err)
	}
	if path, odd := oddKey("", tree); odd {
		return nil, fmt.Errorf("%w: %s: a key there is no text; quote it or remove it", errScenario, path)
	}
	s := defaults()
	var meta mapstructure.Metadata
	dec, err := mapstructure.NewDecoder(&mapstructure.DecoderConfig{
		Metadata: &meta, Result: s, DecodeHook: convert,
	})
	if err != nil {
		return nil, err
	}
	if err := dec.Decode(tree); err != nil {
		return nil, fmt.Errorf("%w: %s", errScenario, strings.Join(strings.Fields(err.Error()), " "))
	}
	var c checker
	slices.Sort(meta.Unused)
	for _, key := range meta.Unused {
		c.refuse(key, "unknown key")
	}
	s.check(&c)
	return s, errors.Join(c.errs...)
}

// oddKey finds a mapping with keys other than text, on which the decoder would
// fail, and says where it is. Only such a mapping is read as map[any]any.
func oddKey(path string, v any) (string, bool) {
	switch v := v.(type) {
	case map[any]any:
		return path, true
	case map[string]any:
		for key, inner := range v {
			if at, odd := oddKey(strings.TrimPrefix(path+"."+key, "."), inner); odd {
				return at, true
			}
		}
	case []any:
		for i, inner := range v {
			if at, odd := oddKey(fmt.Sprintf("%s[%d]", path, i), inner); odd {
				return at, true
			}
		}
	}
	return "", false
}

// convert reads times in quotes, and refuses to cut a fraction off where a whole
// number is wanted.
func convert(from, to reflect.Value) (any, error) {
	if from.Kind() == reflect.String && to.Type() == reflect.TypeFor[time.Time]() {
		return time.Parse(time.RFC3339, from.String())
	}
	if from.Kind() == reflect.Float64 && to.CanInt() {
		return nil, fmt.Errorf("%v is not a whole number", from.Float())
	}
	return from.Interface(), nil
}

func defaults() *Scenario {
	return &Scenario{
		Interface: "can0",
		Place:     Place{HarbourM: 4, DepthM: 22},
		Vessel:    Vessel{FuelDensityKgPL: 0.84},
		Hull: Hull{
			WettedPlaning: 0.55, HumpFroude: 1.7, HumpWidth: 0.33, PlaningFroude: 2,
			WaveResistance: 1, TurnDrag: 0.2, AddedMass: 0.06, HeelPerG: 0.5,
		},
		Engines:   Engines{LagS: 1.3, InertiaKgM2: 3, GearLoss: 0.03},
		Propeller: Propeller{KQSlope: 0.85, ThrustDeduction: 0.05},
		Environment: Environment{
			WavePeriodS: 3.5, WaterC: 16, AirC: 18, PressureHPa: 1014,
			SpeedWanderPct: 0.25, SpeedWanderTauS: 6,
		},
		Captain: Captain{ThrottleErrorPct: 0.5, EngineSpreadRPM: 4, HoldS: 60, HoldSpreadS: 12},
		Sensors: Sensors{
			Noise: 1, GNSSLagS: 0.6, HeadingOffsetDeg: 1.5, PaddleGainPct: 4, SecondGNSS: true,
		},
	}
}

// checker collects refusals.
type checker struct{ errs []error }

func (c *checker) refuse(path, format string, args ...any) {
	c.errs = append(c.errs, fmt.Errorf("%w: %s: %s", errScenario, path, fmt.Sprintf(format, args...)))
}

// within refuses a value outside lo to hi, and NaN.
func (c *checker) within(path string, v, lo, hi float64) {
	if !(v >= lo && v <= hi) {
		c.refuse(path, "%v is impossible; allowed is %v to %v", v, lo, hi)
	}
}

func (c *checker) oneOf(path, v string, allowed ...string) {
	if !slices.Contains(allowed, v) {
		c.refuse(path, "%q is unknown; allowed: %s", v, strings.Join(allowed, ", "))
	}
}

func (s *Scenario) check(c *checker) {
	s.StartUTC = s.StartUTC.UTC()
	if year := s.StartUTC.Year(); year < 1980 || year > 2100 {
		c.refuse("start", "%v is missing or impossible; allowed are times of 1980 to 2100 such as 2031-05-14T08:00:00Z", s.StartUTC)
	}
	if s.Name == "" {
		c.refuse("name", "is missing")
	}
	if s.Interface == "" {
		c.refuse("interface", "is empty; for example can0")
	}
	s.checkBoat(c)
	s.checkWorld(c)
	s.checkFaults(c)
	s.checkEngineBus(c)
	s.checkElectric(c)
	if len(s.Script) == 0 {
		c.refuse("script", "is empty")
	}
	for i := range s.Script {
		s.Script[i].check(c, fmt.Sprintf("script[%d]", i), &s.Engines)
	}
}

func (s *Scenario) checkBoat(c *checker) {
	v, h, e, p := &s.Vessel, &s.Hull, &s.Engines, &s.Propeller
	c.within("vessel.length_m", v.LengthM, 3, 60)
	c.within("vessel.beam_m", v.BeamM, 1, 15)
	c.within("vessel.mass_kg", v.MassKg, 200, 300000)
	if s.Burns() {
		c.within("vessel.tank_l", v.TankL, 1, 100000)
		c.within("vessel.fuel_l", v.FuelL, 1, v.TankL)
		c.within("engines.fuel_g_per_kwh", e.FuelGPerKWh, 100, 600)
	} else {
		c.within("vessel.tank_l", v.TankL, 0, 0)
		c.within("vessel.fuel_l", v.FuelL, 0, 0)
	}
	c.within("vessel.fuel_density_kg_per_l", v.FuelDensityKgPL, 0.6, 1)
	c.within("vessel.fresh_water_l", v.FreshWaterL, 0, 100000)
	c.within("hull.wetted_m2", h.WettedM2, 1, 1000)
	c.within("hull.wetted_planing", h.WettedPlaning, 0.1, 1)
	c.within("hull.roughness", h.Roughness, 0, 0.02)
	c.within("hull.hump", h.Hump, 0, 0.5)
	c.within("hull.hump_froude", h.HumpFroude, 0.5, 4)
	c.within("hull.hump_width", h.HumpWidth, 0.05, 2)
	c.within("hull.planing", h.Planing, 0, 0.5)
	c.within("hull.planing_froude", h.PlaningFroude, 0.5, 4)
	c.within("hull.windage_m2", h.WindageM2, 0, 200)
	c.within("hull.wave_resistance", h.WaveResistance, 0, 10)
	c.within("hull.pitch_rest_deg", h.PitchRestDeg, -5, 5)
	c.within("hull.pitch_hump_deg", h.PitchHumpDeg, 0, 15)
	c.within("hull.pitch_plane_deg", h.PitchPlaneDeg, 0, 15)
	c.within("hull.heel_per_g", h.HeelPerG, -2, 2)
	c.within("hull.turn_drag", h.TurnDrag, 0, 1)
	c.within("hull.thrust_yaw", h.ThrustYaw, 0, 2)
	c.within("hull.added_mass", h.AddedMass, 0, 1)
	c.within("engines.names (their count)", float64(len(e.Names)), 1, maxEngines)
	c.within("engines.rated_power_kw", e.RatedKW, 1, 5000)
	c.within("engines.rated_rpm", e.RatedRPM, 500, 10000)
	c.within("engines.idle_rpm", e.IdleRPM, 300, e.RatedRPM/2)
	c.within("engines.top_rpm", e.TopRPM, e.RatedRPM, 1.2*e.RatedRPM)
	c.within("engines.torque_curve (its points)", float64(len(e.Torque)), 2, 50)
	for i, pt := range e.Torque {
		path := fmt.Sprintf("engines.torque_curve[%d]", i)
		c.within(path+"[1]", pt[1], 0.05, 3)
		if i > 0 && pt[0] <= e.Torque[i-1][0] {
			c.refuse(path+"[0]", "%v rpm does not follow %v; the curve must ascend", pt[0], e.Torque[i-1][0])
		}
	}
	c.within("engines.lag_s", e.LagS, 0.1, 20)
	c.within("engines.inertia_kg_m2", e.InertiaKgM2, 0.01, 1000)
	c.within("engines.friction_kw", e.FrictionKW, 0, e.RatedKW)
	c.within("engines.friction_idle_kw", e.FrictionMinKW, 0, e.RatedKW)
	c.within("engines.gear_ratio", e.GearRatio, 0.5, 10)
	c.within("engines.gear_loss", e.GearLoss, 0, 0.5)
	c.within("engines.hours", e.Hours, 0, 100000)
	e.checkInstances(c)
	c.within("propeller.diameter_m", p.DiameterM, 0.1, 5)
	c.within("propeller.pitch_m", p.PitchM, 0.1, 5)
	c.within("propeller.kt0", p.KT0, 0.05, 1)
	c.within("propeller.kq0", p.KQ0, 0.005, 0.3)
	c.within("propeller.kq_slope", p.KQSlope, 0, 1)
	c.within("propeller.wake", p.Wake, 0, 0.5)
	c.within("propeller.thrust_deduction", p.ThrustDeduction, 0, 0.5)
}

func (s *Scenario) checkWorld(c *checker) {
	p, e, k, n := &s.Place, &s.Environment, &s.Captain, &s.Sensors
	c.within("place.latitude_deg", p.LatitudeDeg, -70, 70)
	c.within("place.longitude_deg", p.LongitudeDeg, -180, 180)
	c.within("place.variation_deg", p.VariationDeg, -40, 40)
	c.within("place.harbour_depth_m", p.HarbourM, 1, 50)
	c.within("place.depth_m", p.DepthM, 8, 500)
	c.within("environment.wave_height_m", e.WaveHeightM, 0, 5)
	c.within("environment.wave_period_s", e.WavePeriodS, 1, 15)
	c.within("environment.wave_from_deg", e.WaveFromDeg, 0, 360)
	c.within("environment.wind_kn", e.WindKn, 0, 60)
	c.within("environment.wind_from_deg", e.WindFromDeg, 0, 360)
	c.within("environment.current_kn", e.CurrentKn, 0, 10)
	c.within("environment.current_set_deg", e.CurrentSetDeg, 0, 360)
	c.within("environment.tide_kn", e.TideKn, 0, 10)
	c.within("environment.tide_set_deg", e.TideSetDeg, 0, 360)
	c.within("environment.tide_minor_kn", e.TideMinorKn, -10, 10)
	c.within("environment.tide_phase_deg", e.TidePhaseDeg, -360, 360)
	c.within("environment.water_c", e.WaterC, -2, 35)
	c.within("environment.air_c", e.AirC, -30, 50)
	c.within("environment.pressure_hpa", e.PressureHPa, 900, 1080)
	c.within("environment.speed_wander_pct", e.SpeedWanderPct, 0, 5)
	c.within("environment.speed_wander_tau_s", e.SpeedWanderTauS, 0.5, 60)
	c.within("captain.throttle_error_pct", k.ThrottleErrorPct, 0, 5)
	c.within("captain.engine_spread_rpm", k.EngineSpreadRPM, 0, 100)
	c.within("captain.hold_s", k.HoldS, 10, 3600)
	c.within("captain.hold_spread_s", k.HoldSpreadS, 0, k.HoldS/2)
	c.within("captain.heading_deg", k.HeadingDeg, 0, 360)
	c.within("sensors.noise", n.Noise, 0, 10)
	c.within("sensors.gnss_lag_s", n.GNSSLagS, 0, 5)
	c.within("sensors.heading_offset_deg", n.HeadingOffsetDeg, -20, 20)
	c.within("sensors.paddle_gain_pct", n.PaddleGainPct, -50, 50)
	c.within("sensors.paddle_max_kn", n.PaddleMaxKn, 0, 100)
	c.within("sensors.sounder_max_kn", n.SounderMaxKn, 0, 100)
	c.within("sensors.gnss_hz", n.GNSSHz, 0, 10)
	for i, number := range n.WithoutPGNs {
		if pgn.Lookup(uint32(number)) == nil {
			c.refuse(fmt.Sprintf("sensors.without_pgns[%d]", i), "%d is not in the table", number)
		}
	}
}

func (s *Scenario) checkFaults(c *checker) {
	const day = 24 * 3600
	f := &s.Faults
	c.within("clock.offset_s", s.Clock.OffsetS, -1e9, 1e9)
	c.within("clock.drift_ppm", s.Clock.DriftPPM, -1000, 1000)
	for i, st := range s.Clock.Steps {
		c.within(fmt.Sprintf("clock.steps[%d].at_s", i), st.AtS, 0, day)
		c.within(fmt.Sprintf("clock.steps[%d].by_s", i), st.ByS, -3e9, 3e9)
		if i > 0 && st.AtS < s.Clock.Steps[i-1].AtS {
			c.refuse(fmt.Sprintf("clock.steps[%d].at_s", i), "steps must be in order of time")
		}
	}
	c.within("faults.fast_packet_loss_pct", f.FastPacketLossPct, 0, 100)
	c.within("faults.error_frame_every_s", f.ErrorFrameEveryS, 0, day)
	c.within("faults.standard_id_every_s", f.StandardIDEveryS, 0, day)
	c.within("faults.unknown_pgn_every_s", f.UnknownPGNEveryS, 0, day)
	for i, d := range f.Dropouts {
		path := fmt.Sprintf("faults.dropouts[%d]", i)
		c.oneOf(path+".device", d.Device, deviceKeys...)
		c.within(path+".at_s", d.AtS, 0, day)
		c.within(path+".for_s", d.ForS, 0.1, day)
	}
	if a := f.AddressChange; a != nil {
		c.oneOf("faults.address_change.device", a.Device, deviceKeys...)
		c.within("faults.address_change.at_s", a.AtS, 1, day)
		c.within("faults.address_change.to", float64(a.To), 100, 251)
	}
	s.checkInstallation(c)
}

func (a *Action) check(c *checker, path string, e *Engines) {
	c.oneOf(path+".do", a.Do, actionKeys...)
	c.within(path+".for_s", a.ForS, 0, 24*3600)
	switch a.Do {
	case "dock", "harbour", "drift":
		c.within(path+".for_s", a.ForS, 1, 24*3600)
	case "slow":
		c.within(path+".for_s", a.ForS, 1, 24*3600)
		c.within(path+".rpm", a.RPM, e.IdleRPM, e.TopRPM)
	case "step", "accelerate", "circle", "crash_stop":
		if !a.Full {
			c.within(path+".rpm", a.RPM, e.IdleRPM, e.TopRPM)
		}
	}
	if a.Do == "step" {
		c.within(path+".passes", float64(a.Passes), 1, 20)
	}
	if a.Do == "circle" {
		c.oneOf(path+".side", a.Side, "port", "starboard")
	}
	c.within(path+".shifts", float64(a.Shifts), 0, 50)
	for i, ev := range a.Events {
		ev.check(c, fmt.Sprintf("%s.events[%d]", path, i), a.Passes)
	}
}

func (ev *Event) check(c *checker, path string, passes int) {
	c.within(path+".pass", float64(ev.Pass), 1, float64(passes))
	c.within(path+".correct_pct", math.Abs(ev.CorrectPct), 0, 20)
	c.within(path+".hunt_pct", ev.HuntPct, 0, 20)
	if ev.HuntPct > 0 {
		c.within(path+".period_s", ev.PeriodS, 2, 120)
	}
	c.within(path+".abort_s", ev.AbortS, 0, 600)
	if ev.ShoalM != 0 {
		c.within(path+".shoal_m", ev.ShoalM, 1, 10)
	}
	c.within(path+".dropout_s", ev.DropoutS, 0, 600)
}
