package results

// Lag is how late the satellite receiver's velocity is taken to be. It is
// taken out of all times of accelerations and stops, and its error is in their
// intervals.
type Lag struct {
	FilterS  *Interval `json:"filter_s"`  // of velocity behind position
	LatencyS *Interval `json:"latency_s"` // of both, from what is usual
	Measured bool      `json:"measured"`  // false: filter_s is what is usual too
}

// Acceleration is one start. Speeds are through water.
type Acceleration struct {
	Start        string    `json:"start"` // first rise of engine speed
	End          string    `json:"end"`
	HeadingDeg   *float64  `json:"heading_deg"` // true course through water
	FromRest     bool      `json:"from_rest"`   // out of gear within ten seconds before; false: idling ahead
	StartSpeedKn *float64  `json:"start_speed_kn"`
	EndSpeedKn   *float64  `json:"end_speed_kn"`
	RPM          *float64  `json:"rpm"` // at the end
	Engines      []string  `json:"engines"`
	ToSpeeds     []ToSpeed `json:"to_speeds"`
	ToSpeedsMPH  []ToMiles `json:"to_speeds_mph"`
	ToPlaneS     *Interval `json:"to_plane_s"` // null where not told or not planing
	PlaneSpeedKn *float64  `json:"plane_speed_kn"`
	PlaneFroude  *float64  `json:"plane_froude"` // volume Froude number then
	PeakPitchDeg *float64  `json:"peak_pitch_deg"`
	PeakMS2      *float64  `json:"peak_m_per_s2"` // over one second
	CurrentKnown bool      `json:"current_corrected"`
	CurrentSEKn  *float64  `json:"current_error_kn"` // standard error, in the intervals
	Combined     *int      `json:"combined"`         // index in acceleration_means
}

// ToSpeed is the time to a speed in kn.
type ToSpeed struct {
	SpeedKn   float64  `json:"speed_kn"`
	Seconds   Interval `json:"seconds"`
	DistanceM *float64 `json:"distance_m"` // through water
}

// ToMiles is the time to a speed in statute miles an hour.
type ToMiles struct {
	SpeedMPH  float64  `json:"speed_mph"`
	Seconds   Interval `json:"seconds"`
	DistanceM *float64 `json:"distance_m"`
}

// AccelerationMean is the mean of attempts alike: same engines, same start,
// same engine speed at the end.
type AccelerationMean struct {
	Attempts    int       `json:"attempts"`
	Reciprocal  bool      `json:"reciprocal"` // both ways: what the wind and an error of the current do cancels
	FromRest    bool      `json:"from_rest"`
	Engines     []string  `json:"engines"`
	RPM         *float64  `json:"rpm"`
	ToSpeeds    []ToSpeed `json:"to_speeds"`
	ToSpeedsMPH []ToMiles `json:"to_speeds_mph"`
	ToPlaneS    *Interval `json:"to_plane_s"`
	PeakMS2     *float64  `json:"peak_m_per_s2"`
}

// Turn is a turning circle through water: definitions of IMO MSC.137(76) and
// ITTC 7.5-04-02-01.
type Turn struct {
	Start             string   `json:"start"`     // rudder order
	Direction         string   `json:"direction"` // port, starboard
	TurnedDeg         *float64 `json:"turned_deg"`
	RPM               *float64 `json:"rpm"` // at the entry
	EntrySpeedKn      *float64 `json:"entry_speed_kn"`
	SteadySpeedKn     *float64 `json:"steady_speed_kn"`
	SpeedLossPct      *float64 `json:"speed_loss_pct"`
	Time90S           *float64 `json:"time_90_s"`
	Time180S          *float64 `json:"time_180_s"`
	Time360S          *float64 `json:"time_360_s"`
	AdvanceM          *float64 `json:"advance_m"`
	TransferM         *float64 `json:"transfer_m"`
	TacticalDiameterM *float64 `json:"tactical_diameter_m"`
	SteadyDiameterM   *float64 `json:"steady_diameter_m"`
	DiameterLengths   *float64 `json:"diameter_lengths"` // steady diameter
	TacticalLengths   *float64 `json:"tactical_lengths"`
	RateDegPerS       *float64 `json:"rate_of_turn_deg_per_s"` // in the steady turn
	HeelPeakDeg       *float64 `json:"heel_peak_deg"`          // first peak; into the turn positive
	HeelSettledDeg    *float64 `json:"heel_settled_deg"`
	RudderDeg         *float64 `json:"rudder_deg"` // rudder or drive in the steady turn, starboard positive
	OrderFrom         string   `json:"order_from"` // rudder, heading: what the start was found by
	CurrentKn         *float64 `json:"current_kn"` // met in the turn
	CurrentSetDeg     *float64 `json:"current_set_deg"`
	// Intervals gives the 95 % interval of the plain figures, by their key.
	Intervals map[string]Interval `json:"intervals"`
}

// Stop is a crash stop.
type Stop struct {
	Start        string    `json:"start"` // first movement of the throttles
	RPM          *float64  `json:"rpm"`
	EntrySpeedKn *float64  `json:"entry_speed_kn"`
	Seconds      *Interval `json:"seconds"`
	AsternS      *float64  `json:"astern_s"`      // from the start to the first engine astern
	TrackReachM  *float64  `json:"track_reach_m"` // through water
	HeadReachM   *float64  `json:"head_reach_m"`
	GroundPathM  *float64  `json:"ground_path_m"`
	CurrentKnown bool      `json:"current_corrected"`
	CurrentSEKn  *float64  `json:"current_error_kn"`
	// Intervals gives the 95 % interval of the plain figures, by their key.
	Intervals map[string]Interval `json:"intervals"`
}

// GearEvent is a shift.
type GearEvent struct {
	Time   string   `json:"time"`
	ErrorS float64  `json:"error_s"` // half the time between the two messages
	Engine string   `json:"engine"`
	From   string   `json:"from"` // forward, neutral, reverse
	To     string   `json:"to"`
	RPM    *float64 `json:"rpm"`
}

// Engagement is the order in which the engines were put in gear together, or
// taken out of it.
type Engagement struct {
	Time    string    `json:"time"`
	What    string    `json:"what"` // engaged, disengaged
	Gear    string    `json:"gear"` // forward, reverse
	Engines []string  `json:"engines"`
	DelaysS []float64 `json:"delays_s"` // after the first
}

// EngineOut is a stretch in which only some of the engines drove.
type EngineOut struct {
	Start   string   `json:"start"`
	End     string   `json:"end"`
	Driving []string `json:"driving"`
	Neutral []string `json:"neutral"`
	Stopped []string `json:"stopped"`
	SOGKn   *float64 `json:"sog_kn"`
}

// SlowSpeed is how the boat handles at idle on some of its engines.
type SlowSpeed struct {
	Engines      []string `json:"engines"`
	Gear         string   `json:"gear"` // forward, reverse
	RPM          *float64 `json:"rpm"`
	SpeedKn      *float64 `json:"speed_kn"` // after ten seconds; null where never held so long
	MaxRateDegPS *float64 `json:"max_rate_of_turn_deg_per_s"`
	Seconds      float64  `json:"seconds"`
	Stretches    int      `json:"stretches"`
	CurrentKnown bool     `json:"current_corrected"`
}

// Manoeuvres is all that was found beside steady runs; its keys stand at the
// top of the document.
type Manoeuvres struct {
	VelocityLag       *Lag               `json:"velocity_lag"`
	Accelerations     []Acceleration     `json:"accelerations"`
	AccelerationMeans []AccelerationMean `json:"acceleration_means"`
	Turns             []Turn             `json:"turns"`
	Stops             []Stop             `json:"stops"`
	GearEvents        []GearEvent        `json:"gear_events"`
	Engagement        []Engagement       `json:"engagement"`
	EngineOut         []EngineOut        `json:"engine_out"`
	SlowSpeed         []SlowSpeed        `json:"slow_speed"`
	NotListed         int                `json:"manoeuvres_not_listed"` // beyond the bound of each list
}
