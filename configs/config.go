// Package configs holds the configuration: its structure, its defaults and its
// checks. Units stand in the key names. It knows nothing of where the values
// go.
package configs

// Config is the whole configuration. A pointer is nil where the key was not
// given and has no sound default.
type Config struct {
	Vessel  Vessel   `mapstructure:"vessel"`
	Engines []Engine `mapstructure:"engines"`
	Fuel    Fuel     `mapstructure:"fuel"`
	Battery Battery  `mapstructure:"battery"`
	Load    Load     `mapstructure:"load"`
	Mass    Mass     `mapstructure:"mass"`
	Trial   Trial    `mapstructure:"trial"`
	// Corrections are applied to what the sensors say, before all else.
	Corrections Corrections `mapstructure:"corrections"`
	Sources     Sources     `mapstructure:"sources"`
	Steady      Steady      `mapstructure:"steady"`
	Journal     Journal     `mapstructure:"journal"`
	Influx      Influx      `mapstructure:"influx"`
	Page        Page        `mapstructure:"page"`
	Bus         Bus         `mapstructure:"bus"`
}

// Vessel is the boat.
type Vessel struct {
	Name      string   `mapstructure:"name"`
	LengthM   *float64 `mapstructure:"length_m"`
	BeamM     *float64 `mapstructure:"beam_m"`
	DryMassKg *float64 `mapstructure:"dry_mass_kg"`
	Hull      string   `mapstructure:"hull"` // planing, semi_displacement, displacement
}

// Engine is one engine; the list runs from port to starboard.
type Engine struct {
	Name         string   `mapstructure:"name"`
	Instance     *int     `mapstructure:"instance"` // default: position in the list
	Source       string   `mapstructure:"source"`   // NAME in hex, where two engines share an instance
	Bus          string   `mapstructure:"bus"`      // interface of the engines' own bus (SAE J1939), if it has one; "": any
	Address      *int     `mapstructure:"address"`  // its source address there; not given: any
	RatedPowerKW *float64 `mapstructure:"rated_power_kw"`
	RatedRPM     *float64 `mapstructure:"rated_rpm"`
	GearRatio    *float64 `mapstructure:"gear_ratio"`
	PropPitchM   *float64 `mapstructure:"prop_pitch_m"`
	FuelScale    *float64 `mapstructure:"fuel_scale"` // its fuel rate is multiplied by it; not given: 1
	Electric     bool     `mapstructure:"electric"`   // it is a motor that burns nothing
}

// Fuel is the fuel and how much of it counts.
type Fuel struct {
	Kind          string   `mapstructure:"kind"` // diesel, petrol, none
	DensityKgPerL *float64 `mapstructure:"density_kg_per_l"`
	TankL         *float64 `mapstructure:"tank_l"`
	// TankSectionPct is how far the tanks' section at the day's levels may be from
	// its mean over the height, half of a 95 % interval; 0 for even tanks, or
	// senders calibrated for their shape.
	TankSectionPct float64  `mapstructure:"tank_section_pct"`
	ReservePct     float64  `mapstructure:"reserve_pct"`
	CruiseLoadPct  float64  `mapstructure:"cruise_load_pct"`
	PricePerL      *float64 `mapstructure:"price_per_l"`
	Currency       string   `mapstructure:"currency"`
	CO2KgPerL      *float64 `mapstructure:"co2_kg_per_l"`
	TopUpL         *float64 `mapstructure:"top_up_l"`       // pumped at the end of the day to fill to the mark of its start
	TopUpErrorL    *float64 `mapstructure:"top_up_error_l"` // how closely that mark repeats, half of a 95 % interval
}

// Battery is the batteries that drive the boat, all together, if any do.
type Battery struct {
	Instances  []int    `mapstructure:"instances"`   // that messages about them carry; empty: none drives the boat
	UsableKWh  *float64 `mapstructure:"usable_kwh"`  // all together, by the maker
	ReservePct float64  `mapstructure:"reserve_pct"` // kept back for range
	Discharge  string   `mapstructure:"discharge"`   // negative, positive: sign of their current when they give energy
}

// Load is what is aboard at the start of the day.
type Load struct {
	FuelL    *float64 `mapstructure:"fuel_l"`
	WaterL   *float64 `mapstructure:"water_l"`
	People   int      `mapstructure:"people"`
	PersonKg float64  `mapstructure:"person_kg"`
	GearKg   float64  `mapstructure:"gear_kg"`
}

// Mass asks for speeds at another mass than the day's.
type Mass struct {
	ReferenceKg *float64 `mapstructure:"reference_kg"` // not given: no such speeds
}

// Trial names the day.
type Trial struct {
	Name  string `mapstructure:"name"`
	Place string `mapstructure:"place"`
	Units string `mapstructure:"units"` // metric, us
	// SpeedsKn and SpeedsMPH are the speeds to which accelerations are timed.
	SpeedsKn  []float64 `mapstructure:"speeds_kn"`
	SpeedsMPH []float64 `mapstructure:"speeds_mph"`
	// HoldS is how long a steady stretch should become before the captain is
	// told that it is long enough; never less than Steady.MinS.
	HoldS float64 `mapstructure:"hold_s"`
}

// Corrections put right what a sensor says wrongly: degrees are added, to roll and
// pitch after their sign was turned.
type Corrections struct {
	HeadingDeg    float64 `mapstructure:"heading_deg"`
	RollDeg       float64 `mapstructure:"roll_deg"`
	PitchDeg      float64 `mapstructure:"pitch_deg"`
	RollReversed  bool    `mapstructure:"roll_reversed"`
	PitchReversed bool    `mapstructure:"pitch_reversed"`
}

// Sources lists, for each quantity group, preferred devices, best first. A
// device is named by its NAME in hex, its model, or bus/address ("can0/35").
// HoldS is how long a better source must be heard before it takes over. LatencyS
// is how late the satellite receiver's messages are on average, from the fix to
// the bus, and LatencyErrorS half of its 95 % interval.
type Sources struct {
	Position      []string `mapstructure:"position"`
	Motion        []string `mapstructure:"motion"` // course and speed over ground
	Heading       []string `mapstructure:"heading"`
	Attitude      []string `mapstructure:"attitude"`
	RateOfTurn    []string `mapstructure:"rate_of_turn"`
	WaterSpeed    []string `mapstructure:"water_speed"`
	Depth         []string `mapstructure:"depth"`
	Wind          []string `mapstructure:"wind"`
	HoldS         float64  `mapstructure:"hold_s"`
	LatencyS      *float64 `mapstructure:"latency_s"`
	LatencyErrorS float64  `mapstructure:"latency_error_s"`
}

// Steady sets the limits of a steady window; calc says what each means.
type Steady struct {
	MinS          float64 `mapstructure:"min_s"`
	SettlePct     float64 `mapstructure:"settle_pct"`      // remaining speed change allowed, % of speed
	RPMHuntingPct float64 `mapstructure:"rpm_hunting_pct"` // standard deviation of rpm allowed, % of rpm
	CourseDeg     float64 `mapstructure:"course_deg"`      // change of heading allowed
	StepPct       float64 `mapstructure:"step_pct"`        // rpm spread inside one step, %
}

// Journal is where the frames are kept, a directory for each trial.
type Journal struct {
	Dir        string  `mapstructure:"dir"`
	SegmentMB  int     `mapstructure:"segment_mb"`
	SyncS      float64 `mapstructure:"sync_s"`
	ResumeH    float64 `mapstructure:"resume_h"`     // longest pause inside one trial
	KeepFreeMB int     `mapstructure:"keep_free_mb"` // left free on the disk
	FreeOldest bool    `mapstructure:"free_oldest"`  // delete old closed trials to make room
}

// Influx is the server for the engineers' samples. Empty URL: not used.
type Influx struct {
	URL        string  `mapstructure:"url"`
	Org        string  `mapstructure:"org"`
	Bucket     string  `mapstructure:"bucket"`
	TokenFile  string  `mapstructure:"token_file"`
	CAFile     string  `mapstructure:"ca_file"`     // authority of the server's certificate, PEM; default: the system's
	AllowPlain bool    `mapstructure:"allow_plain"` // http to other machines than this one
	TimeoutS   float64 `mapstructure:"timeout_s"`   // for one request
	BatchLines int     `mapstructure:"batch_lines"`
	CatchUpHz  float64 `mapstructure:"catch_up_hz"` // points a second while behind; 0: no limit
	RateHz     float64 `mapstructure:"rate_hz"`     // of each quantity at rest and manoeuvring; 0: all samples
	Thin       []Thin  `mapstructure:"thin"`
}

// Thin is another rate than RateHz for one quantity.
type Thin struct {
	Quantity string  `mapstructure:"quantity"`
	RateHz   float64 `mapstructure:"rate_hz"`
}

// Page is the page served aboard. One of the files is needed where others than
// this machine can reach Listen.
type Page struct {
	Listen       string   `mapstructure:"listen"`
	Hosts        []string `mapstructure:"hosts"`         // names it is called by, besides its addresses
	PasswordFile string   `mapstructure:"password_file"` // hash of the password, made by: logd page password
	TokenFile    string   `mapstructure:"token_file"`    // one line that programs send
}

// Bus lists the CAN interfaces to listen to. udp:GROUP:PORT is a multicast group
// that stands for one on a machine without CAN.
type Bus struct {
	Interfaces []string `mapstructure:"interfaces"`
}
