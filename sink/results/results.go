// Package results is the one form in which figures leave the pipeline: the
// structure of results.json. Units are display units and stand in the key
// names; everything before this package is SI.
//
// Invariant: the document is a pure function of the frames, the configuration,
// the hand readings and the amendments. It holds no wall-clock time, host name or path, so that two
// replays of one journal are equal byte for byte.
package results

import (
	"slices"

	"trialday.example/logd/sink/timeline"
)

// Schema names this document's layout. It changes when a key is renamed or
// removed or its meaning moves, never when a key is added.
const Schema = "trialday-results/1"

// Results is the whole document.
type Results struct {
	Schema  string   `json:"schema"`
	Version string   `json:"version"` // of the program that derived the figures
	Trial   Trial    `json:"trial"`
	Vessel  Vessel   `json:"vessel"`
	Clock   Clock    `json:"clock"`
	Best    Best     `json:"best"`
	Steady  Steady   `json:"steady"`
	Steps   []Step   `json:"steps"`
	Windows []Window `json:"windows"`
	// Amendments are what people changed about how windows count, by rising id.
	Amendments []Amendment `json:"amendments"`
	// OriginalSteps are the steps without any amendment; [] unless one is
	// applied.
	OriginalSteps []Step `json:"original_steps"`
	// OriginalBest points into OriginalSteps; null unless one is applied.
	OriginalBest *Best `json:"original_best"`
	// OriginalElectric is Electric for OriginalSteps; not there unless batteries drive
	// the boat and an amendment is applied.
	OriginalElectric *Electric `json:"original_electric,omitempty"`

	Current Current `json:"current"`
	Paddle  Paddle  `json:"paddle_wheel"`
	// FuelCheck to Readings: see the types.
	FuelCheck     FuelCheck      `json:"fuel_check"`
	DayBurn       *DayBurn       `json:"day_burn"` // null where fuel rates tell it
	Propulsion    Propulsion     `json:"propulsion"`
	MassReference *MassReference `json:"mass_reference"` // null unless mass.reference_kg is configured
	PerNM         PerNM          `json:"per_nm"`
	Electric      *Electric      `json:"electric,omitempty"` // not there unless batteries drive the boat
	Readings      []Reading      `json:"readings"`
	Runs          []Run          `json:"runs"`
	Manoeuvres                   // accelerations, turns, stops, gears: manoeuvre.go
	Devices       []Device       `json:"devices"`
	// Sources tells which device gave each quantity, and when that changed.
	Sources []SourceUse `json:"sources"`
	// Findings are plain statements on the installation and the data.
	Findings []Finding `json:"findings"`
	// Missing names each figure that could not be derived and why.
	Missing []MissingFigure `json:"missing"`
	Quality Quality         `json:"quality"`
}

// Trial identifies the day.
type Trial struct {
	Name  string `json:"name"`
	Place string `json:"place"`
	Start string `json:"start"` // RFC 3339 UTC; the recorder's own time where clock.known is false; "" for an empty day
	End   string `json:"end"`
	Units string `json:"units"` // metric, us: which stand first on the sheet
}

// Steady repeats the configured limits of a steady window; calc says what each
// means.
type Steady struct {
	MinS          float64 `json:"min_s"`
	SettlePct     float64 `json:"settle_pct"`      // of the speed
	RPMHuntingPct float64 `json:"rpm_hunting_pct"` // of the rpm, standard deviation
	CourseDeg     float64 `json:"course_deg"`
	StepPct       float64 `json:"step_pct"` // of the rpm, spread inside one step
}

// Vessel repeats what the configuration says of the boat, so that the sheet
// needs nothing else. Null means not configured.
type Vessel struct {
	Name    string   `json:"name"`
	LengthM *float64 `json:"length_m"`
	BeamM   *float64 `json:"beam_m"`
	Hull    string   `json:"hull"`
	Engines []Engine `json:"engines"`
	// EngineSides says whether the day confirms which engine is on which side; "" for one engine.
	EngineSides string   `json:"engine_sides"`
	FuelKind    string   `json:"fuel_kind"`
	TankL       *float64 `json:"tank_l"`
	ReservePct  float64  `json:"reserve_pct"`
	UsableL     *float64 `json:"usable_l"`
	// TestMassKg is dry mass, fuel, water, people and gear together.
	TestMassKg *float64   `json:"test_mass_kg"`
	Mass       []MassItem `json:"mass"`
}

// MassItem is one line of the test weight.
type MassItem struct {
	Name string  `json:"name"`
	Kg   float64 `json:"kg"`
}

// Engine is one engine position, port to starboard.
type Engine struct {
	Name         string   `json:"name"`
	Instance     int      `json:"instance"`
	RatedPowerKW *float64 `json:"rated_power_kw"`
	RatedRPM     *float64 `json:"rated_rpm"`
}

// Clock is what was applied to the recorder's clock.
type Clock struct {
	Known        bool    `json:"known"`    // false where no GNSS time was heard: times are then the recorder's own
	OffsetS      float64 `json:"offset_s"` // UTC minus recorder time at the first frame
	UncertaintyS float64 `json:"uncertainty_s"`
	DriftPPM     float64 `json:"drift_ppm"`
	Steps        int     `json:"steps"` // jumps of the recorder's clock that were repaired
}

// Interval is a mean with its 95 % interval.
type Interval struct {
	Mean float64 `json:"mean"`
	Lo95 float64 `json:"lo95"`
	Hi95 float64 `json:"hi95"`
}

// Run is one stretch of the day. Stretches do not overlap; each sample belongs
// to one at the most.
type Run struct {
	ID    int    `json:"id"`
	Kind  string `json:"kind"` // at_rest, manoeuvring, accelerating, held_throttle, turning, slowing
	Start string `json:"start"`
	End   string `json:"end"`
}

// Window is a stretch inside a held-throttle run that was tested for
// steadiness. A pointer is null where the quantity was not heard.
type Window struct {
	ID         int                 `json:"id"`
	Run        int                 `json:"run"`
	Start      string              `json:"start"`
	End        string              `json:"end"`
	Accepted   bool                `json:"accepted"`
	Reason     string              `json:"reason"`  // why not accepted; "" when accepted
	Amended    string              `json:"amended"` // excluded, merged; "" for neither
	Step       *int                `json:"step"`    // id of the step it counts in
	Frames     *FrameRange         `json:"frames"`  // all that were heard from start to end; null where none was
	HeadingDeg *float64            `json:"heading_deg"`
	COGDeg     *float64            `json:"cog_deg"`
	SOGKn      *Interval           `json:"sog_kn"`
	STWKn      *Interval           `json:"stw_kn"`
	RPM        map[string]Interval `json:"rpm"`
	FuelLPH    *Interval           `json:"fuel_lph"`
	PowerKW    *Interval           `json:"power_kw,omitempty"` // of the batteries that drive the boat
	// EngineFuelLPH is the rate of each engine.
	EngineFuelLPH map[string]Interval `json:"engine_fuel_lph"`
	// Intervals gives the 95 % interval of the plain figures, by their key.
	// Those of directions may reach below 0 or above 360 degrees.
	Intervals map[string]Interval `json:"intervals"`
	LoadPct   *float64            `json:"load_pct"`
	PitchDeg  *float64            `json:"pitch_deg"`
	RollDeg   *float64            `json:"roll_deg"`
	TrimPct   *float64            `json:"trim_pct"`
	DepthM    *float64            `json:"depth_m"`
	// DepthFroude is V/sqrt(g*depth); shallow water is felt around 1.
	DepthFroude *float64 `json:"depth_froude"`
	WindKn      *float64 `json:"wind_kn"`       // true wind speed
	WindFromDeg *float64 `json:"wind_from_deg"` // true
	WavePeriodS *float64 `json:"wave_period_s"` // of encounter
}

// FrameRange is a stretch of frames by number, both ends in it. Frames count
// from 1 in the order of reception, so that a frame's number is its line in the
// canlog export.
type FrameRange struct {
	First int64 `json:"first"`
	Last  int64 `json:"last"`
}

// Step is one rpm step: the passes at one throttle setting taken together.
type Step struct {
	ID        int       `json:"id"` // counts from 1 by rising rpm
	RPM       float64   `json:"rpm"`
	SpeedKn   Interval  `json:"speed_kn"`
	SpeedMPH  Interval  `json:"speed_mph"`
	FuelLPH   *Interval `json:"fuel_lph"`
	FuelUSGPH *Interval `json:"fuel_usgal_per_h"`
	// FuelFrom is FromTankLevel where burn, economy and range are by the slope of
	// the tanks' level; not there where they are by the fuel rate, or missing.
	FuelFrom      string    `json:"fuel_from,omitempty"`
	EconomyNMPerL *Interval `json:"economy_nm_per_l"`
	EconomyLPerNM *Interval `json:"economy_l_per_nm"`
	EconomyNMPGal *Interval `json:"economy_nm_per_usgal"`
	EconomyMPG    *Interval `json:"economy_mi_per_usgal"`
	RangeNM       *Interval `json:"range_nm"`
	// RangeBurnOffNM is the range as the boat grows lighter with the fuel.
	RangeBurnOffNM *float64 `json:"range_burn_off_nm"`
	// EngineFuelLPH is the rate of each engine.
	EngineFuelLPH    map[string]Interval `json:"engine_fuel_lph"`
	LoadPct          *float64            `json:"load_pct"`
	PitchDeg         *float64            `json:"pitch_deg"`
	TrimPct          *float64            `json:"trim_pct"`
	Passes           int                 `json:"passes"`
	Windows          []int               `json:"windows"`
	CurrentCorrected bool                `json:"current_corrected"`
	CurrentKn        *float64            `json:"current_kn"`
	CurrentSetDeg    *float64            `json:"current_set_deg"` // the direction it flows to
	// Engines lists the engines in gear, by name.
	Engines []string `json:"engines"`
	MassKg  *float64 `json:"mass_kg"` // mean over the passes, fuel burnt so far taken off
	// Note holds the remarks that were noted by hand at this step.
	Note string `json:"note"`
	// DayFit is the step's speed by the fit of the whole day's current.
	DayFit *StepDayFit `json:"day_fit"`
	// SoundDBA is the energy mean of the hand readings.
	SoundDBA *float64 `json:"sound_dba"`
}

// FromTankLevel is the FuelFrom of a step whose burn is by the tanks' level.
const FromTankLevel = "tank level"

// FromTank tells whether any burn is by the tanks' level.
func (r *Results) FromTank() bool {
	return slices.ContainsFunc(r.Steps, func(s Step) bool { return s.FuelFrom == FromTankLevel })
}

// Best points into Steps by id; null where it could not be derived.
type Best struct {
	TopSpeedStep           *int    `json:"top_speed_step"`
	BestEconomyStep        *int    `json:"best_economy_step"`
	BestPlaningEconomyStep *int    `json:"best_planing_economy_step"`
	LevelEconomySteps      []int   `json:"level_economy_steps"` // not distinguishable from the best planing step
	CruiseStep             *int    `json:"cruise_step"`
	Cruise                 *Cruise `json:"cruise"`
	// The tops of the curves of economy over speed.
	PlaningOptimum      Optimum `json:"planing_optimum"`
	DisplacementOptimum Optimum `json:"displacement_optimum"`
}

// Cruise is interpolated between steps at the configured load.
type Cruise struct {
	LoadPct       float64  `json:"load_pct"`
	RPM           float64  `json:"rpm"`
	SpeedKn       float64  `json:"speed_kn"`
	FuelLPH       *float64 `json:"fuel_lph"`
	EconomyNMPerL *float64 `json:"economy_nm_per_l"`
	RangeNM       *float64 `json:"range_nm"`
}

// Device is a sender met on the bus.
type Device struct {
	Bus       string `json:"bus"`
	Addresses []int  `json:"addresses"` // in the order it used them
	Name      string `json:"name"`      // 64-bit NAME in hex; "" where it made no claim
	Model     string `json:"model"`
	Software  string `json:"software"`
	Serial    string `json:"serial"`
	Messages  int64  `json:"messages"`
}

// SourceUse is one stretch in which one device gave one quantity.
type SourceUse struct {
	Quantity string `json:"quantity"`
	Device   int    `json:"device"` // index in devices
	Start    string `json:"start"`
	Why      string `json:"why"` // only source, preferred, better rate, failover, return
}

// Finding is one plain statement.
type Finding struct {
	Kind    string `json:"kind"`    // what it is called in a list; the kinds stand in the package documentation
	What    string `json:"what"`    // what was seen
	Meaning string `json:"meaning"` // what it changes in the figures
	Remedy  string `json:"remedy"`  // what a person can do
	Sure    string `json:"sure"`    // how sure it is, in words
	// Probability is that of the finding being right, where it was worked out.
	Probability *float64 `json:"probability"`
}

// MissingFigure names a figure that could not be derived.
type MissingFigure struct {
	Figure string `json:"figure"`
	Why    string `json:"why"`
}

// Quality counts what was read and lost.
type Quality struct {
	Frames           int64            `json:"frames"`
	BadLines         int64            `json:"bad_lines"`
	ErrorFrames      int64            `json:"error_frames"`
	UnknownPGNFrames int64            `json:"unknown_pgn_frames"`
	Messages         int64            `json:"messages"`
	FastPacketLost   int64            `json:"fast_packet_lost"`
	Losses           map[string]int64 `json:"losses"` // each kind of loss by name
	Gaps             []Gap            `json:"gaps"`
	// FramesHash is the SHA-256 of all frames in the order of reception, in
	// lower-case hex; what of each frame stands in the package documentation.
	FramesHash string `json:"frames_hash"`
}

// Gap is a stretch without a quantity that had been arriving.
type Gap struct {
	What  string `json:"what"` // "all" for a gap in all traffic
	Start string `json:"start"`
	End   string `json:"end"`
}

// Timeline is the day thinned for drawing. It is not part of results.json.
// All slices have one length; NaN where there was no value.
type Timeline struct {
	StartUnix float64     // UTC of the first point, s since 1970
	StepS     float64     // spacing of the points
	SpeedKn   []float64   // speed over ground
	RPM       [][]float64 // per engine
	FuelLPH   []float64
	// Zoom is the day at any scale; nil where the figures were derived again
	// without it.
	Zoom *timeline.Timeline
}
