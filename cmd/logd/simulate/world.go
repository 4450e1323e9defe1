package simulate

import (
	"math"
	"math/rand/v2"
)

const (
	tick    = 0.02 // s, the world's step
	perTick = 20_000_000
)

// The random streams of a day. Each use has its own, so that a change in one
// (a further sensor, say) leaves the others as they were.
const (
	streamSea = iota + 1
	streamCaptain
	streamWorld
	streamSensors
	streamBus
	streamVariant
	streamFaults
	streamEngineBus
)

func stream(seed uint64, use uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, use*0x9E3779B97F4A7C15))
}

// world is the boat in its surroundings.
//
// Invariant: the slow state follows from the commands, the mean wind, the
// current and the bottom alone. Waves, gusts and the helm's wandering are added
// to it, have no mean, and never act back on it. So the mean of the slow state
// is the truth.
type world struct {
	s      *Scenario
	boat   *boat
	sea    *sea
	bottom bottom
	rand   *rand.Rand

	ticks int64
	t     float64 // s since the start

	// Commands.
	gears     []int8
	commands  []float64 // rpm
	running   []bool
	course    float64 // rad, not wrapped
	spin      float64 // rad/s, 0 to steer course
	turnG     float64 // lateral acceleration that turns are limited to, g
	hunt      hunt
	harbour   bool // manoeuvring
	moored    bool
	epoch     int // counts changes of command
	lastEpoch int
	step      int // of the script, 0 for none
	pass      int
	aborted   bool    // the present stretch was cut off
	turnFrom  float64 // rad, heading at the start of a circle
	begun     marks
	ended     marks
	muted     [deviceCount]float64 // s, until when a device is silent
	gaps      []Gap

	// Slow state.
	rpm, torque, load, fuel, trip []float64 // 1/min, N·m, ratio, L/h, L
	twist                         float64   // m/s², thrust to starboard less that to port by mass
	speed                         float64   // m/s through water
	heading, yawRate              float64
	heel, heelRate                float64
	pitch                         float64
	fuelL                         float64
	cells                         cells
	conditions                    conditions
	currentEast, currentNorth     float64
	adrift                        float64 // 0 moored, where there is no current, to 1

	// Equilibrium for the present commands.
	goal      float64 // m/s
	goalRPM   []float64
	settled   bool
	settledAt float64
	shoal     bool

	// Present state, waves and wandering included.
	actual present

	wander, helm, gust, veer drift
	governor, burner         []drift
}

// hunt is the captain's hand moving the throttles to and fro.
type hunt struct {
	amplitude, period, from float64 // ratio, s, s; no amplitude, no hunting
	base                    []float64
}

// marks tells the recorder of truth what the captain begins and ends.
type marks struct{ acceleration, turn, stop bool }

// present is the state that sensors see.
type present struct {
	speed, heading, yawRate float64
	pitch, roll, heave      float64
	east, north             float64 // m/s over ground
	x, y                    float64 // m from the start
	depth                   float64
	rudder                  float64
	windEast, windNorth     float64 // m/s, where the air goes
	rpm, fuel               []float64
	watts                   float64 // out of the batteries that drive the boat
}

func newWorld(s *Scenario, seed uint64) *world {
	n := len(s.Engines.Names)
	r := stream(seed, streamWorld)
	w := &world{
		s: s, boat: newBoat(s), sea: newSea(s, stream(seed, streamSea)), rand: r,
		bottom: bottom{deep: s.Place.DepthM, harbour: s.Place.HarbourM},
		gears:  make([]int8, n), commands: make([]float64, n), running: make([]bool, n),
		course: s.Captain.HeadingDeg * degree, heading: s.Captain.HeadingDeg * degree, turnG: 0.2,
		rpm: make([]float64, n), torque: make([]float64, n), load: make([]float64, n),
		fuel: make([]float64, n), trip: make([]float64, n), goalRPM: make([]float64, n),
		fuelL:    s.Vessel.FuelL,
		wander:   newDrift(r, s.Environment.SpeedWanderTauS, tick),
		helm:     newDrift(r, 5, tick),
		gust:     newDrift(r, 8, tick),
		veer:     newDrift(r, 20, tick),
		governor: make([]drift, n), burner: make([]drift, n),
	}
	for i := range n {
		w.commands[i] = s.Engines.IdleRPM
		w.governor[i] = newDrift(r, 2, tick)
		w.burner[i] = newDrift(r, 3, tick)
	}
	w.actual.rpm, w.actual.fuel = make([]float64, n), make([]float64, n)
	w.conditions.depth = s.Place.HarbourM
	if s.Electric != nil {
		w.cells.charge = s.Electric.ChargePct / 100
	}
	return w
}

// mass is the boat's with its fuel, kg.
func (w *world) mass() float64 {
	return w.s.Vessel.MassKg + w.fuelL*w.s.Vessel.FuelDensityKgPL
}

// throttle commands an engine's speed.
func (w *world) throttle(engine int, rpm float64) {
	if w.commands[engine] != rpm {
		w.commands[engine] = rpm
		w.epoch++
	}
}

func (w *world) shift(engine int, gear int8) {
	if w.gears[engine] != gear {
		w.gears[engine] = gear
		w.epoch++
	}
}

// steer commands a heading in rad, reached the short way round.
func (w *world) steer(course float64) {
	w.spin = 0
	w.course = w.heading + math.Remainder(course-w.heading, 2*math.Pi)
	w.epoch++
}

// held is for how long the boat has been settled under its present commands, s.
func (w *world) held() float64 {
	if !w.settled || w.epoch != w.lastEpoch {
		return 0
	}
	return w.t - w.settledAt
}

// inGear reports whether any engine drives.
func (w *world) inGear() bool {
	for _, g := range w.gears {
		if g != 0 {
			return true
		}
	}
	return false
}

// advance moves the world by one tick.
func (w *world) advance() {
	w.ticks++
	w.t = float64(w.ticks) * tick
	w.hunting()
	w.surroundings()
	w.engines()
	w.steering()
	w.equilibrium()
	w.disturb()
}

func (w *world) hunting() {
	h := &w.hunt
	if h.amplitude == 0 {
		return
	}
	k := 1 + h.amplitude*math.Sin(2*math.Pi*(w.t-h.from)/h.period)
	for i, base := range h.base {
		w.commands[i] = base * k
	}
}

// surroundings sets what the slow state depends on.
func (w *world) surroundings() {
	c := &w.conditions
	if w.moored {
		w.adrift -= w.adrift / 5 * tick
	} else {
		w.adrift += (1 - w.adrift) / 15 * tick
	}
	c.mass = w.mass()
	c.yawRate = w.yawRate
	if w.ticks%5 == 1 {
		c.headwind = w.s.headwind(w.heading)
		c.waveDrag = w.s.waveDrag(w.heading)
		w.currentEast, w.currentNorth = w.s.current(w.t)
		w.currentEast *= w.adrift
		w.currentNorth *= w.adrift
		c.depth = w.bottom.at(w.actual.x, w.actual.y)
		w.sea.respond(w.speed, w.heading)
	}
}

// engines moves engine speeds, burns fuel and accelerates the boat. An engine
// follows its command with a lag and within its torque.
func (w *world) engines() {
	b := w.boat
	var force float64
	w.twist, w.cells.watts = 0, 0
	for i := range w.rpm {
		if !w.running[i] {
			w.rpm[i] -= w.rpm[i] * tick / 0.4
			w.torque[i], w.load[i], w.fuel[i] = 0, 0, 0
			continue
		}
		thrust, torque := b.propeller(w.gears[i], w.rpm[i], w.speed)
		force += thrust
		w.twist += w.s.side(i) * thrust / w.conditions.mass
		limit := b.maxTorque(w.rpm[i])
		change := min((w.wanted(i)-w.rpm[i])/b.LagS, (limit-torque)/b.InertiaKgM2*30/math.Pi)
		torque += change * math.Pi / 30 * b.InertiaKgM2
		w.rpm[i] += change * tick
		w.torque[i] = max(0, min(limit, torque))
		w.load[i] = w.torque[i] / limit
		w.fuel[i] = w.burnt(i, w.motors(i, w.torque[i]))
		w.trip[i] += w.fuel[i] * tick / 3600
		w.fuelL = max(0, w.fuelL-w.fuel[i]*tick/3600)
	}
	w.discharge()
	force -= b.resistance(w.speed, &w.conditions)
	w.speed += force / (w.conditions.mass * (1 + b.AddedMass)) * tick
	if w.moored {
		w.speed -= w.speed / 0.7 * tick // the lines hold
	}
	w.pitch = b.pitch(w.speed, w.conditions.mass)
}

// steering moves heading and heel.
func (w *world) steering() {
	v := math.Abs(w.speed)
	limit := max(0.03, min(w.turnG*gravity/max(v, 1), v/(2*w.s.Vessel.LengthM)))
	want := w.spin
	if want == 0 {
		want = 0.5 * (w.course - w.heading)
	}
	want = max(-limit, min(limit, want)) - w.pushed()*w.unsteered()
	w.yawRate += (want - w.yawRate) / 0.7 * tick
	w.heading += w.yawRate * tick

	const natural, damping = 1.8, 0.35
	lean := w.boat.HeelPerG * math.Atan(v*w.yawRate/gravity)
	w.heelRate += (natural*natural*(lean-w.heel) - 2*damping*natural*w.heelRate) * tick
	w.heel += w.heelRate * tick
}

// equilibrium finds the speed towards which the present commands lead, and
// whether the boat has come to it.
func (w *world) equilibrium() {
	changed := w.epoch != w.lastEpoch
	shoal := w.shoal
	if changed || w.ticks%50 == 0 {
		w.aim()
	}
	if changed || shoal != w.shoal {
		w.settled = false
	}
	w.lastEpoch = w.epoch
	if w.settled || w.shoal || w.hunt.amplitude != 0 || w.spin != 0 || !w.inGear() {
		return
	}
	if math.Abs(w.heading-w.course) > 1*degree || math.Abs(w.speed-w.goal) > settleLimit(w.goal) {
		return
	}
	for i, rpm := range w.rpm {
		if math.Abs(rpm-w.goalRPM[i]) > 0.005*rpm {
			return
		}
	}
	w.settled, w.settledAt = true, w.t
}

// settleLimit is the change of speed still to come in m/s at which the boat
// counts as settled.
func settleLimit(speed float64) float64 { return max(0.005*speed, 0.05) }

// aim finds the goal, and whether the bottom changes it by more than the limit
// of steadiness.
func (w *world) aim() {
	w.goal, w.shoal = 0, false
	copy(w.goalRPM, w.commands)
	if !w.inGear() {
		return
	}
	c := w.conditions
	c.yawRate = 0
	if w.spin == 0 {
		c.headwind, c.waveDrag = w.s.headwind(w.course), w.s.waveDrag(w.course)
	}
	w.goal = w.boat.balance(w.speed, w.gears, w.commands, &c)
	if c.depth < shallowLimit {
		c.depth = shallowLimit
		w.shoal = math.Abs(w.boat.balance(w.speed, w.gears, w.commands, &c)-w.goal) > settleLimit(w.goal)
	}
	for i := range w.goalRPM {
		w.goalRPM[i] = w.boat.heldRPM(w.gears[i], w.commands[i], w.goal)
	}
}

// disturb adds to the slow state what has no mean, and moves the boat.
func (w *world) disturb() {
	a, r := &w.actual, w.rand
	m := w.sea.step(tick)
	if w.moored || w.harbour {
		m = m.sheltered()
	}
	a.speed = w.speed*(1+w.s.Environment.SpeedWanderPct/100*w.wander.next(r)) + m.surge*min(1, math.Abs(w.speed)/2)
	helm := 0.5 * degree * w.helm.next(r)
	heading := w.heading + m.yaw + helm*min(1, math.Abs(w.speed)/2)
	a.yawRate = (heading - a.heading) / tick
	a.heading = heading
	a.pitch = w.pitch + m.pitch
	a.roll = w.heel + m.roll
	a.heave = m.heave
	sin, cos := math.Sincos(heading)
	a.east, a.north = a.speed*sin+w.currentEast, a.speed*cos+w.currentNorth
	a.x += a.east * tick
	a.y += a.north * tick
	a.depth = w.conditions.depth
	a.rudder = math.Atan(1.1*w.s.Vessel.LengthM*(w.yawRate+w.pushed())/max(math.Abs(w.speed), 1)) - 2*helm
	unsteady := m.surge / max(math.Abs(w.speed), 3)
	for i := range a.rpm {
		a.rpm[i] = w.rpm[i] * (1 + 0.001*w.governor[i].next(r) + 0.08*unsteady)
		feed := 1 + 0.005*w.burner[i].next(r) - 0.6*unsteady
		a.fuel[i] = w.fuel[i] * feed
		a.watts = w.cells.watts * feed
	}
	e := &w.s.Environment
	wind := e.WindKn * knot * (1 + 0.1*w.gust.next(r))
	from := e.WindFromDeg*degree + 0.1*w.veer.next(r)
	sin, cos = math.Sincos(from)
	a.windEast, a.windNorth = -wind*sin, -wind*cos
}
