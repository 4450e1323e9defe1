package simulate

import (
	"math"
	"math/rand/v2"
)

// drift is an Ornstein-Uhlenbeck process of standard deviation 1: random, with
// no mean, and forgetting itself over tau. Scale what it returns.
type drift struct {
	keep, kick, x float64
}

func newDrift(r *rand.Rand, tau, dt float64) drift {
	keep := math.Exp(-dt / tau)
	return drift{keep: keep, kick: math.Sqrt(1 - keep*keep), x: r.NormFloat64()}
}

func (d *drift) next(r *rand.Rand) float64 {
	d.x = d.keep*d.x + d.kick*r.NormFloat64()
	return d.x
}

const waveCount = 12

// wave is one component of the sea, with the boat's present response to it.
type wave struct {
	amp, number, omega, dir float64 // m, rad/m, rad/s, rad (where it goes)
	phase                   float64
	encounter               float64
	surge, pitch, roll, yaw float64 // amplitudes in m/s and rad
}

// motion is what the waves add to the slow motion; each part has no mean.
type motion struct {
	surge, pitch, roll, yaw, heave float64
}

// sheltered is the motion behind a breakwater.
func (m motion) sheltered() motion {
	const left = 0.15
	return motion{left * m.surge, left * m.pitch, left * m.roll, left * m.yaw, left * m.heave}
}

// sea is a random sea of a JONSWAP spectrum (peak enhancement 3.3, from memory)
// in deep water.
type sea struct {
	waves        [waveCount]wave
	length, beam float64
}

func newSea(s *Scenario, r *rand.Rand) *sea {
	e := &s.Environment
	w := &sea{length: s.Vessel.LengthM, beam: s.Vessel.BeamM}
	peak := 2 * math.Pi / e.WavePeriodS
	var variance float64
	for i := range w.waves {
		c := &w.waves[i]
		x := 0.7 + 1.6*(float64(i)+r.Float64())/waveCount
		c.omega = x * peak
		c.number = c.omega * c.omega / gravity
		c.dir = (e.WaveFromDeg+180)*degree + 0.35*r.NormFloat64()
		c.phase = 2 * math.Pi * r.Float64()
		c.amp = math.Sqrt(jonswap(x))
		variance += c.amp * c.amp / 2
	}
	// The variance of the surface is (Hs/4)².
	scale := e.WaveHeightM / 4 / math.Sqrt(variance)
	for i := range w.waves {
		w.waves[i].amp *= scale
	}
	return w
}

func jonswap(x float64) float64 {
	width := 0.07
	if x > 1 {
		width = 0.09
	}
	y := (x - 1) / width
	return math.Pow(x, -5) * math.Exp(-1.25*math.Pow(x, -4)) * math.Pow(3.3, math.Exp(-y*y/2))
}

// respond sets the boat's response to every component for its present speed
// and heading. Waves shorter than the boat move it less; pitch and roll are
// damped oscillators. Surge slower than about 15 s is left out: the slow speed
// is the truth, and a captain takes out what is slower by hand.
func (w *sea) respond(v, heading float64) {
	for i := range w.waves {
		c := &w.waves[i]
		along, across := math.Cos(c.dir-heading), math.Sin(c.dir-heading)
		c.encounter = c.omega - c.number*v*along
		e2 := c.encounter * c.encounter
		slope := c.amp * c.number
		fore := along * sinc(c.number*w.length*along/2)
		side := across * sinc(c.number*w.beam*across/2)
		c.surge = gravity * slope * fore / math.Sqrt(e2+0.25) * e2 / (e2 + 0.18)
		c.pitch = slope * fore * resonance(c.encounter, 4, 0.5)
		c.roll = slope * side * resonance(c.encounter, 2.4, 0.25)
		c.yaw = 0.15 * slope * side * resonance(c.encounter, 1.5, 0.7)
	}
}

func sinc(x float64) float64 {
	if math.Abs(x) < 1e-6 {
		return 1
	}
	return math.Sin(x) / x
}

func resonance(omega, natural, damping float64) float64 {
	x := omega / natural
	a, b := 1-x*x, 2*damping*x
	return 1 / math.Sqrt(a*a+b*b)
}

func (w *sea) step(dt float64) (m motion) {
	for i := range w.waves {
		c := &w.waves[i]
		c.phase += c.encounter * dt
		if c.phase > 2*math.Pi {
			c.phase -= 2 * math.Pi
		}
		sin, cos := math.Sincos(c.phase)
		m.surge += c.surge * cos
		m.pitch += c.pitch * sin
		m.roll += c.roll * sin
		m.yaw += c.yaw * cos
		m.heave += c.amp * cos
	}
	return m
}

// waveDrag is the mean added resistance in N at full speed, more in head seas.
// The form rho·g·Hs²·B²/L is usual for added resistance; the factors are
// invented.
func (s *Scenario) waveDrag(heading float64) float64 {
	e := &s.Environment
	head := (1 + math.Cos(heading-e.WaveFromDeg*degree)) / 2
	return s.Hull.WaveResistance * seaWater * gravity / 16 *
		e.WaveHeightM * e.WaveHeightM * s.Vessel.BeamM * s.Vessel.BeamM / s.Vessel.LengthM *
		(0.15 + 0.85*head)
}

// headwind is the mean wind against the bow in m/s.
func (s *Scenario) headwind(heading float64) float64 {
	e := &s.Environment
	return e.WindKn * knot * math.Cos(heading-e.WindFromDeg*degree)
}

// current is the water's velocity over ground in m/s, t seconds into the day:
// a mean and the ellipse of the principal lunar tide (period 12.4206 h, from
// memory).
func (s *Scenario) current(t float64) (east, north float64) {
	e := &s.Environment
	phase := 2*math.Pi*t/(12.4206*3600) + e.TidePhaseDeg*degree
	sin, cos := math.Sincos(phase)
	major, minor := e.TideKn*cos, e.TideMinorKn*sin
	es, en := math.Sincos(e.CurrentSetDeg * degree)
	ts, tn := math.Sincos(e.TideSetDeg * degree)
	east = knot * (e.CurrentKn*es + major*ts + minor*tn)
	north = knot * (e.CurrentKn*en + major*tn - minor*ts)
	return east, north
}

// bank is a shoal: as deep as depth at its middle, which lies at x, y.
type bank struct {
	x, y, depth, radius float64 // m
}

// bottom is the depth of the water.
type bottom struct {
	deep, harbour float64
	banks         []bank
}

// at is the depth in m at a place; beyond 600 m from the start the harbour is
// left behind.
func (b *bottom) at(x, y float64) float64 {
	away := smooth(math.Hypot(x, y) / 600)
	depth := b.harbour + (b.deep-b.harbour)*away
	if away == 1 {
		depth += 0.15 * b.deep * math.Sin(x/700) * math.Cos(y/900)
	}
	for i := range b.banks {
		k := &b.banks[i]
		d := math.Hypot(x-k.x, y-k.y) / k.radius
		if d < 3 {
			depth -= (depth - k.depth) * math.Exp(-d*d*d*d)
		}
	}
	return depth
}
