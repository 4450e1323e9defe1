package simulate

import (
	"math"
	"math/rand/v2"
)

// sensing is the interval at which sensors look at the world, s.
const sensing = 0.1

// sensors is what the devices believe: the present state with their lag,
// filters and errors.
type sensors struct {
	scenario *Scenario
	rand     *rand.Rand
	gnss     [2]gnss
	engines  []engineSensor

	headingDrift drift
	headingError float64 // rad, magnetic less true, variation included
	paddle       float64 // m/s
	yawRate      float64 // rad/s
}

// gnss is a satellite receiver.
type gnss struct {
	east, north         float64 // m/s, lagging, with slow errors
	latitude, longitude float64 // rad
	altitude            float64
	hdop, satellites    float64
	white               float64 // m/s, of each velocity
	slow                float64 // m/s
	position            float64 // m
	lagEast, lagNorth   float64
	drifts              [5]drift
	count               int64
}

// engineSensor is what an engine's controller knows.
type engineSensor struct {
	fuel           float64 // L/h, lagging
	oilC, coolantC float64
	hours          float64
}

func newSensors(s *Scenario, seed uint64) sensors {
	r := stream(seed, streamSensors)
	n := sensors{
		scenario: s, rand: r, engines: make([]engineSensor, len(s.Engines.Names)),
		headingDrift: newDrift(r, 1, sensing),
	}
	for i := range n.gnss {
		g := &n.gnss[i]
		g.white, g.slow, g.position = 0.03, 0.02, 0.6
		if i == 1 {
			g.white, g.slow, g.position = 0.1, 0.05, 2
		}
		for k, tau := range []float64{20, 20, 90, 90, 120} {
			g.drifts[k] = newDrift(r, tau, sensing)
		}
	}
	for i := range n.engines {
		n.engines[i].oilC, n.engines[i].coolantC = s.Environment.AirC, s.Environment.AirC
	}
	return n
}

// noise is a normal random number, scaled by the scenario's noise.
func (n *sensors) noise() float64 {
	return n.scenario.Sensors.Noise * n.rand.NormFloat64()
}

// look updates the sensors; silent tells which receivers have no fix.
func (n *sensors) look(w *world, silent [2]bool) {
	s := n.scenario
	a := &w.actual
	for i := range n.gnss {
		n.gnss[i].look(n, a, silent[i])
	}
	n.headingError = (s.Sensors.HeadingOffsetDeg-s.Place.VariationDeg)*degree +
		0.5*degree*s.Sensors.Noise*n.headingDrift.next(n.rand)
	n.paddle += (max(0, a.speed) - n.paddle) * sensing / 1
	n.yawRate += (a.yawRate - n.yawRate) * sensing / 0.4
	for i := range n.engines {
		e := &n.engines[i]
		e.fuel += (a.fuel[i] - e.fuel) * sensing / 1
		warm := s.Environment.AirC
		if w.running[i] {
			e.hours += sensing / 3600
			warm = 78 + 8*w.load[i]
		}
		e.coolantC += (warm - e.coolantC) * sensing / 240
		e.oilC += (1.15*warm - e.oilC) * sensing / 400
	}
}

func (g *gnss) look(n *sensors, a *present, silent bool) {
	s := n.scenario
	k := 1 - math.Exp(-sensing/max(0.01, s.Sensors.GNSSLagS))
	g.lagEast += (a.east - g.lagEast) * k
	g.lagNorth += (a.north - g.lagNorth) * k
	var e [5]float64
	for i := range e {
		e[i] = s.Sensors.Noise * g.drifts[i].next(n.rand)
	}
	if silent {
		nan := math.NaN()
		g.east, g.north, g.latitude, g.longitude, g.altitude, g.hdop = nan, nan, nan, nan, nan, nan
		g.satellites = 0
		return
	}
	g.east, g.north = g.lagEast+g.slow*e[0], g.lagNorth+g.slow*e[1]
	east, north := a.x+g.position*e[2], a.y+g.position*e[3]
	// Radii of curvature of WGS 84 (from memory: a = 6378137 m, e² = 0.00669438).
	sin, cos := math.Sincos(s.Place.LatitudeDeg * degree)
	q := 1 - 0.00669438*sin*sin
	prime := 6378137 / math.Sqrt(q)
	g.latitude = s.Place.LatitudeDeg*degree + north/(prime*(1-0.00669438)/q)
	g.longitude = s.Place.LongitudeDeg*degree + east/(prime*cos)
	if math.Abs(g.longitude) > math.Pi {
		g.longitude = math.Remainder(g.longitude, 2*math.Pi)
	}
	g.altitude = 3 + a.heave + 2*g.position*e[4]
	g.hdop = 0.9 + g.position*0.6*(1+0.15*e[4])
	g.satellites = math.Round(13 - 3*g.position + e[4])
}
