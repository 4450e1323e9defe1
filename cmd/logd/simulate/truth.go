package simulate

import (
	"math"
	"strconv"
	"time"
)

// TruthSchema names the form of Truth.
const TruthSchema = "trialday-truth-1"

// Truth is what a simulated day really was. Times are UTC, not the recorder's.
type Truth struct {
	Schema        string         `json:"schema"`
	Scenario      string         `json:"scenario"`
	Seed          uint64         `json:"seed"`
	Vessel        string         `json:"vessel"`
	Engines       []string       `json:"engines"`
	Start         time.Time      `json:"start"`
	End           time.Time      `json:"end"`
	ClockOffsetS  float64        `json:"clock_offset_s"` // recorder's clock less UTC at the start
	FuelUsedL     float64        `json:"fuel_used_l"`
	EnergyUsedKWh float64        `json:"energy_used_kwh,omitempty"` // of the batteries that drive the boat
	Stretches     []Stretch      `json:"stretches"`
	Phases        []Phase        `json:"phases"`
	Gaps          []Gap          `json:"gaps"`
	Steps         []Step         `json:"steps"`
	Accelerations []Acceleration `json:"accelerations"`
	Turns         []Turn         `json:"turns"`
	Stops         []Stop         `json:"stops"`
	GearEvents    []GearEvent    `json:"gear_events"`
	AddressMoves  []AddressMove  `json:"address_moves"`
	ErrorFrames   int            `json:"error_frames"`
	FramesLost    int            `json:"frames_lost"` // of fast packets, sent but not recorded
}

// Stretch is a time of constant commands, and its means. It is steady if the
// boat has come to the speed and heading that the commands lead to; otherwise
// Why says what kept it.
type Stretch struct {
	ID            int                `json:"id"`
	Start         time.Time          `json:"start"`
	End           time.Time          `json:"end"`
	Steady        bool               `json:"steady"`
	Why           string             `json:"why,omitempty"`
	Step          int                `json:"step,omitempty"` // from 1
	Pass          int                `json:"pass,omitempty"` // from 1
	HeadingDeg    float64            `json:"heading_deg"`
	RPM           map[string]float64 `json:"rpm"`
	STWKn         float64            `json:"stw_kn"`
	FuelLPH       map[string]float64 `json:"fuel_lph"`           // by engine, and total
	PowerKW       float64            `json:"power_kw,omitempty"` // out of the batteries that drive the boat
	LoadPct       map[string]float64 `json:"load_pct"`
	PitchDeg      float64            `json:"pitch_deg"`
	CurrentKn     float64            `json:"current_kn"`
	CurrentSetDeg float64            `json:"current_set_deg"`
	MassKg        float64            `json:"mass_kg"`
}

// Phase is a part of the day by what the boat did.
type Phase struct {
	Kind  string    `json:"kind"`
	Start time.Time `json:"start"`
	End   time.Time `json:"end"`
}

// Gap is a time without data.
type Gap struct {
	Start time.Time `json:"start"`
	End   time.Time `json:"end"`
	What  string    `json:"what"`
}

// Step gathers the passes at one throttle setting. Its figures are the plain
// mean over the passes, each the mean over its steady stretches by duration.
type Step struct {
	Step      int     `json:"step"`
	RPM       float64 `json:"rpm"`
	SpeedKn   float64 `json:"speed_kn"` // through water
	FuelLPH   float64 `json:"fuel_lph"`
	PowerKW   float64 `json:"power_kw,omitempty"`
	LoadPct   float64 `json:"load_pct"`
	PitchDeg  float64 `json:"pitch_deg"`
	Passes    int     `json:"passes"`
	Stretches []int   `json:"stretches"` // IDs
}

// Acceleration is a start from rest. Times count from the moment at which the
// throttles were opened and are of the actual speed through water.
type Acceleration struct {
	Start        time.Time          `json:"start"`
	HeadingDeg   float64            `json:"heading_deg"`
	StartSpeedKn float64            `json:"start_speed_kn"`
	SecondsTo    map[string]float64 `json:"seconds_to"`     // by speed in kn
	SecondsToMPH map[string]float64 `json:"seconds_to_mph"` // by speed in mph
	MetresTo     map[string]float64 `json:"metres_to"`      // through water, by speed in kn
	TimeToHumpS  float64            `json:"time_to_hump_s"` // greatest running trim
	// TimeToPlaneS is when the running trim, its peak passed, has come half way
	// down to that of the settled speed; 0 if it never does.
	TimeToPlaneS   float64 `json:"time_to_plane_s"`
	TimeToFroude3S float64 `json:"time_to_froude_3_s"` // displacement Froude number 3; 0 if never
	PitchPeakDeg   float64 `json:"pitch_peak_deg"`
	PeakMS2        float64 `json:"peak_ms2"` // greatest acceleration over one second
}

// Turn is a circle with the helm held over. Its times count from the helm's
// command.
type Turn struct {
	Start           time.Time `json:"start"`
	Side            string    `json:"side"`
	Time90S         float64   `json:"time_90_s"`
	Time180S        float64   `json:"time_180_s"`
	Time360S        float64   `json:"time_360_s"`
	AdvanceM        float64   `json:"advance_m"` // this and the next three: through water, from the helm's command
	TransferM       float64   `json:"transfer_m"`
	TacticalM       float64   `json:"tactical_diameter_m"`
	GroundTacticalM float64   `json:"ground_tactical_diameter_m"` // the same over ground
	DiameterM       float64   `json:"diameter_m"`                 // through water, at the end
	HeelPeakDeg     float64   `json:"heel_peak_deg"`
	HeelSettledDeg  float64   `json:"heel_settled_deg"`
	EntrySpeedKn    float64   `json:"entry_speed_kn"`
	SettledSpeedKn  float64   `json:"settled_speed_kn"`
	SpeedLossPct    float64   `json:"speed_loss_pct"`
	RateOfTurnDegPS float64   `json:"rate_of_turn_deg_per_s"` // at the end
}

// Stop is a crash stop, from the first throttle movement until the boat has no
// way on through water.
type Stop struct {
	Start          time.Time `json:"start"`
	EntrySpeedKn   float64   `json:"entry_speed_kn"`
	TimeS          float64   `json:"time_s"`
	DistanceM      float64   `json:"distance_m"`        // through water, along the track
	HeadReachM     float64   `json:"head_reach_m"`      // through water, along the heading at the start
	GroundTrackM   float64   `json:"ground_track_m"`    // along the track over ground
	HeadReachEast  float64   `json:"head_reach_east_m"` // over ground
	HeadReachNorth float64   `json:"head_reach_north_m"`
}

// GearEvent is a shift.
type GearEvent struct {
	Time   time.Time `json:"time"`
	Engine string    `json:"engine"`
	From   string    `json:"from"`
	To     string    `json:"to"`
}

// AddressMove is a device's change of address on the bus.
type AddressMove struct {
	Time    time.Time `json:"time"`
	Device  string    `json:"device"`
	From    uint8     `json:"from"`
	To      uint8     `json:"to"`
	TakenBy string    `json:"taken_by"`
}

// minStretch is the shortest stretch listed, s.
const minStretch = 10

// recorder watches the world and writes the truth.
type recorder struct {
	w     *world
	truth Truth

	label string // of the open stretch, "" for none
	epoch int
	open  sums
	phase string
	since float64
	gears []int8

	accel, turn, stop bool // the last of each is still open
	stopX, stopY      float64
	stopHeading       float64
	way               float64 // m through water in the present acceleration
	speeds, trims     []float64
	turnWater         [2]float64 // m north and east through water in the present turn
	turnX, turnY      float64
}

// sums accumulates a stretch.
type sums struct {
	start            float64
	step, pass, n    int
	speed, pitch     float64
	east, north      float64
	sin, cos, mass   float64
	watts            float64
	rpm, fuel, loads [maxEngines]float64
}

func newRecorder(w *world, seed uint64) *recorder {
	s := w.s
	return &recorder{
		w: w, gears: make([]int8, len(w.gears)),
		truth: Truth{
			Schema: TruthSchema, Scenario: s.Name, Seed: seed, Vessel: s.Vessel.Name,
			Engines: s.Engines.Names, Start: s.StartUTC,
			ClockOffsetS:  s.clockOffset(0),
			Accelerations: []Acceleration{}, Turns: []Turn{}, Stops: []Stop{}, Gaps: []Gap{},
			GearEvents: []GearEvent{}, AddressMoves: []AddressMove{},
		},
	}
}

// at is a moment of the day.
func (s *Scenario) at(t float64) time.Time {
	return s.StartUTC.Add(time.Duration(math.Round(t*1e3)) * time.Millisecond)
}

// watch takes note of one tick.
func (r *recorder) watch() {
	r.stretches()
	r.phases()
	r.shifts()
	r.accelerating()
	r.turning()
	r.stopping()
}

func (r *recorder) stretches() {
	w := r.w
	label := r.state()
	if label != r.label || w.epoch != r.epoch {
		r.closeStretch()
		r.label, r.epoch = label, w.epoch
		r.open = sums{start: w.t, step: w.step, pass: w.pass}
	}
	if label == "" {
		return
	}
	o := &r.open
	o.n++
	if w.step != 0 {
		o.step, o.pass = w.step, w.pass
	}
	o.speed += w.speed
	o.pitch += w.pitch
	o.mass += w.conditions.mass
	o.watts += w.cells.watts
	o.east += w.currentEast
	o.north += w.currentNorth
	sin, cos := math.Sincos(w.heading)
	o.sin += sin
	o.cos += cos
	for i := range w.rpm {
		o.rpm[i] += w.rpm[i]
		o.fuel[i] += w.fuel[i]
		o.loads[i] += w.load[i]
	}
}

const steady = "steady"

// state is steady, the reason why not, or empty where none is to be recorded.
func (r *recorder) state() string {
	w := r.w
	switch {
	case !w.inGear() || w.harbour || w.moored || w.speed < 0:
		return ""
	case w.settled:
		return steady
	case w.hunt.amplitude != 0:
		return "hunting"
	case w.shoal:
		return "shallow"
	case w.spin != 0 || math.Abs(w.heading-w.course) > 1*degree:
		return "turning"
	case w.speed < w.goal:
		return "accelerating"
	}
	return "slowing"
}

func (r *recorder) closeStretch() {
	w, o := r.w, &r.open
	aborted := w.aborted
	w.aborted = false
	if r.label == "" || o.n == 0 || w.t-o.start < minStretch {
		return
	}
	n := float64(o.n)
	s := Stretch{
		ID: len(r.truth.Stretches) + 1, Start: w.s.at(o.start), End: w.s.at(w.t),
		Steady: r.label == steady, Step: o.step, Pass: o.pass,
		HeadingDeg: compass(math.Atan2(o.sin, o.cos)),
		RPM:        map[string]float64{}, FuelLPH: map[string]float64{}, LoadPct: map[string]float64{},
		STWKn: o.speed / n / knot, PowerKW: o.watts / n / 1000, PitchDeg: o.pitch / n / degree, MassKg: o.mass / n,
		CurrentKn:     math.Hypot(o.east, o.north) / n / knot,
		CurrentSetDeg: compass(math.Atan2(o.east, o.north)),
	}
	if !s.Steady {
		s.Why = r.label
		if aborted {
			s.Why = "aborted"
		}
	}
	var total float64
	for i, name := range w.s.Engines.Names {
		s.RPM[name] = o.rpm[i] / n
		s.FuelLPH[name] = o.fuel[i] / n
		s.LoadPct[name] = 100 * o.loads[i] / n
		total += o.fuel[i] / n
	}
	s.FuelLPH["total"] = total
	r.truth.Stretches = append(r.truth.Stretches, s)
}

// compass is an angle in degrees, 0 to 360.
func compass(rad float64) float64 {
	deg := math.Mod(rad/degree, 360)
	if deg < 0 {
		deg += 360
	}
	return deg
}

func (r *recorder) phases() {
	w := r.w
	kind := "held throttle"
	switch v := math.Abs(w.speed); {
	case w.harbour:
		kind = "manoeuvring"
	case w.moored, !w.inGear() && v < 1: // wind and waves may move it a little
		kind = "at rest"
	case !w.inGear():
		kind = "slowing"
	case w.spin != 0 || math.Abs(w.heading-w.course) > 3*degree:
		kind = "turning"
	case w.hunt.amplitude != 0:
	case w.speed < 0.98*w.goal-0.1:
		kind = "accelerating"
	case w.speed > 1.02*w.goal+0.1:
		kind = "slowing"
	}
	if kind != r.phase {
		r.closePhase()
		r.phase, r.since = kind, w.t
	}
}

// closePhase lists the phase that ends; one of less than a second belongs to
// the one before.
func (r *recorder) closePhase() {
	s, list := r.w.s, r.truth.Phases
	if n := len(list); n > 0 && (r.w.t-r.since < 1 || list[n-1].Kind == r.phase) {
		list[n-1].End = s.at(r.w.t)
	} else if r.phase != "" {
		r.truth.Phases = append(list, Phase{r.phase, s.at(r.since), s.at(r.w.t)})
	}
}

var gearNames = map[int8]string{1: "forward", 0: "neutral", -1: "reverse"}

func (r *recorder) shifts() {
	w := r.w
	for i, g := range w.gears {
		if g != r.gears[i] {
			r.truth.GearEvents = append(r.truth.GearEvents, GearEvent{
				w.s.at(w.t), w.s.Engines.Names[i], gearNames[r.gears[i]], gearNames[g],
			})
			r.gears[i] = g
		}
	}
}

// speedMarks are the speeds in kn and in mph to which an acceleration is timed.
var speedMarks, mileMarks = []float64{5, 10, 15, 20, 25, 30, 35}, []float64{10, 20, 30, 40}

const mph = 1609.344 / 3600

// startAcceleration and the like below are called by the captain.
func (w *world) startAcceleration() { w.begun.acceleration = true }

func (r *recorder) accelerating() {
	w := r.w
	if w.begun.acceleration {
		w.begun.acceleration = false
		r.accel, r.way, r.speeds, r.trims = true, 0, nil, nil
		r.truth.Accelerations = append(r.truth.Accelerations, Acceleration{
			Start: w.s.at(w.t), HeadingDeg: compass(w.heading), StartSpeedKn: w.actual.speed / knot,
			SecondsTo: map[string]float64{}, SecondsToMPH: map[string]float64{}, MetresTo: map[string]float64{},
		})
	}
	if !r.accel {
		return
	}
	a := &r.truth.Accelerations[len(r.truth.Accelerations)-1]
	since := w.s.at(w.t).Sub(a.Start).Seconds()
	r.way += w.actual.speed * tick
	r.speeds, r.trims = append(r.speeds, w.speed), append(r.trims, w.pitch)
	reach(a.SecondsTo, speedMarks, w.actual.speed/knot, since)
	reach(a.MetresTo, speedMarks, w.actual.speed/knot, r.way)
	reach(a.SecondsToMPH, mileMarks, w.actual.speed/mph, since)
	if p := w.pitch / degree; p > a.PitchPeakDeg {
		a.PitchPeakDeg, a.TimeToHumpS = p, since
	}
	if a.TimeToFroude3S == 0 && w.boat.froude(w.actual.speed, w.conditions.mass) >= 3 {
		a.TimeToFroude3S = since
	}
	if w.settled {
		r.accel = false
		a.TimeToPlaneS = bowDown(r.trims)
		for i := range max(0, len(r.speeds)-50) {
			a.PeakMS2 = max(a.PeakMS2, r.speeds[i+50]-r.speeds[i])
		}
	}
}

// reach notes a figure for each mark that the speed has come to.
func reach(to map[string]float64, marks []float64, speed, figure float64) {
	for _, m := range marks {
		name := strconv.Itoa(int(m))
		if _, done := to[name]; !done && speed >= m {
			to[name] = figure
		}
	}
}

// bowDown is the time in s at which trims, one a tick, have come half way down
// from their peak to the last.
func bowDown(trims []float64) float64 {
	peak := 0
	for i, p := range trims {
		if p > trims[peak] {
			peak = i
		}
	}
	half := (trims[peak] + trims[len(trims)-1]) / 2
	for i := peak; i < len(trims); i++ {
		if trims[i] <= half && trims[i] < trims[peak] {
			return float64(i) * tick
		}
	}
	return 0
}

func (w *world) startTurn(side float64) {
	w.turnFrom = w.heading
	w.spin = side * 1 // more than the limit: the boat turns as hard as it can
	w.epoch++
	w.begun.turn = true
}

func (w *world) endTurn() { w.ended.turn = true }

func (r *recorder) turning() {
	w := r.w
	if w.begun.turn {
		w.begun.turn = false
		r.turn = true
		side := "starboard"
		if w.spin < 0 {
			side = "port"
		}
		r.truth.Turns = append(r.truth.Turns, Turn{
			Start: w.s.at(w.t), Side: side, EntrySpeedKn: w.speed / knot,
		})
		r.turnWater, r.turnX, r.turnY = [2]float64{}, w.actual.x, w.actual.y
	}
	if !r.turn {
		return
	}
	t := &r.truth.Turns[len(r.truth.Turns)-1]
	t.HeelPeakDeg = max(t.HeelPeakDeg, math.Abs(w.heel)/degree)
	r.circling(t)
	if !w.ended.turn {
		t.DiameterM = 2 * w.speed / max(1e-3, math.Abs(w.yawRate))
		t.HeelSettledDeg = math.Abs(w.heel) / degree
		t.SettledSpeedKn = w.speed / knot
		t.SpeedLossPct = 100 * (1 - t.SettledSpeedKn/t.EntrySpeedKn)
		t.RateOfTurnDegPS = math.Abs(w.yawRate) / degree
		return
	}
	w.ended.turn, r.turn = false, false
}

// circling notes where the boat is at a quarter, half and full circle, in a
// frame along and across the heading at the start.
func (r *recorder) circling(t *Turn) {
	w := r.w
	sin, cos := math.Sincos(w.actual.heading)
	r.turnWater[0] += w.actual.speed * cos * tick
	r.turnWater[1] += w.actual.speed * sin * tick
	since := w.s.at(w.t).Sub(t.Start).Seconds()
	sin, cos = math.Sincos(w.turnFrom)
	along := r.turnWater[0]*cos + r.turnWater[1]*sin
	across := math.Abs(r.turnWater[1]*cos - r.turnWater[0]*sin)
	turned := math.Abs(w.heading - w.turnFrom)
	if t.Time90S == 0 && turned >= math.Pi/2 {
		t.Time90S, t.AdvanceM, t.TransferM = since, along, across
	}
	if t.Time180S == 0 && turned >= math.Pi {
		t.Time180S, t.TacticalM = since, across
		t.GroundTacticalM = math.Abs((w.actual.x-r.turnX)*cos - (w.actual.y-r.turnY)*sin)
	}
	if t.Time360S == 0 && turned >= 2*math.Pi {
		t.Time360S = since
	}
}

func (w *world) startStop() { w.begun.stop = true }

func (r *recorder) stopping() {
	w := r.w
	if w.begun.stop {
		w.begun.stop = false
		r.stop = true
		r.stopX, r.stopY, r.stopHeading = w.actual.x, w.actual.y, w.heading
		r.truth.Stops = append(r.truth.Stops, Stop{Start: w.s.at(w.t), EntrySpeedKn: w.speed / knot})
	}
	if !r.stop {
		return
	}
	s := &r.truth.Stops[len(r.truth.Stops)-1]
	s.TimeS = w.s.at(w.t).Sub(s.Start).Seconds()
	s.DistanceM += w.actual.speed * tick
	s.HeadReachM += w.actual.speed * math.Cos(w.actual.heading-r.stopHeading) * tick
	s.GroundTrackM += math.Hypot(w.actual.east, w.actual.north) * tick
	s.HeadReachEast, s.HeadReachNorth = w.actual.x-r.stopX, w.actual.y-r.stopY
	r.stop = w.actual.speed > 0
}

// finish closes what is open and sums up the steps.
func (r *recorder) finish() {
	w := r.w
	r.closeStretch()
	r.closePhase()
	r.truth.End = w.s.at(w.t)
	r.truth.Gaps = append(r.truth.Gaps, w.gaps...)
	r.truth.FuelUsedL = w.s.Vessel.FuelL - w.fuelL
	r.truth.EnergyUsedKWh = w.cells.used / 3.6e6
	r.truth.Steps = steps(r.truth.Stretches, r.truth.Engines)
}

// steps gathers steady stretches by step and pass.
func steps(all []Stretch, engines []string) []Step {
	list := []Step{}
	for step := 1; ; step++ {
		sum, found := Step{Step: step}, false
		for pass := 1; pass <= 20; pass++ {
			found = sum.add(all, engines, pass) || found
		}
		if !found && !later(all, step) {
			return list
		}
		if n := float64(sum.Passes); n > 0 {
			sum.RPM, sum.SpeedKn, sum.FuelLPH = sum.RPM/n, sum.SpeedKn/n, sum.FuelLPH/n
			sum.LoadPct, sum.PitchDeg, sum.PowerKW = sum.LoadPct/n, sum.PitchDeg/n, sum.PowerKW/n
			list = append(list, sum)
		}
	}
}

func later(all []Stretch, step int) bool {
	for i := range all {
		if all[i].Step > step {
			return true
		}
	}
	return false
}

// add adds the mean of one pass; it reports false if the pass has no steady
// stretch.
func (s *Step) add(all []Stretch, engines []string, pass int) bool {
	var mean Step
	var total float64
	for i := range all {
		st := &all[i]
		if st.Step != s.Step || st.Pass != pass || !st.Steady {
			continue
		}
		d := st.End.Sub(st.Start).Seconds()
		total += d
		n := float64(len(engines))
		for _, name := range engines { // in their order: a map has none
			mean.RPM += d * st.RPM[name] / n
			mean.LoadPct += d * st.LoadPct[name] / n
		}
		mean.SpeedKn += d * st.STWKn
		mean.FuelLPH += d * st.FuelLPH["total"]
		mean.PitchDeg += d * st.PitchDeg
		mean.PowerKW += d * st.PowerKW
		s.Stretches = append(s.Stretches, st.ID)
	}
	if total == 0 {
		return false
	}
	s.Passes++
	s.RPM += mean.RPM / total
	s.SpeedKn += mean.SpeedKn / total
	s.FuelLPH += mean.FuelLPH / total
	s.LoadPct += mean.LoadPct / total
	s.PitchDeg += mean.PitchDeg / total
	s.PowerKW += mean.PowerKW / total
	return true
}
