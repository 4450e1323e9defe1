package simulate

import (
	"math"

	"trialday.example/logd/pgn"
)

// Electric gives the boat motors that batteries feed, one on each engine's shaft.
// Without BelowRPM there are no engines but the motors, and nothing is burnt.
// Otherwise the motors alone drive up to BelowRPM; above it the engines drive,
// charge with ChargeKW up to ChargeToRPM, and are helped with BoostKW from
// BoostFromRPM on, each of every shaft.
type Electric struct {
	Batteries      int     `mapstructure:"batteries"`
	Instance       int     `mapstructure:"instance"`  // of the first; the others follow
	VoltageV       float64 `mapstructure:"voltage_v"` // full and without current
	CapacityKWh    float64 `mapstructure:"capacity_kwh"`
	UsableKWh      float64 `mapstructure:"usable_kwh"` // as its maker says
	ChargePct      float64 `mapstructure:"charge_pct"` // at the start
	ResistanceMOhm float64 `mapstructure:"resistance_mohm"`
	Efficiency     float64 `mapstructure:"efficiency"` // of motor and controller
	OtherKW        float64 `mapstructure:"other_kw"`   // lights and pumps on the same batteries
	Fine           bool    `mapstructure:"fine"`       // 127751 is sent beside 127508
	BelowRPM       float64 `mapstructure:"below_rpm"`
	ChargeToRPM    float64 `mapstructure:"charge_to_rpm"`
	ChargeKW       float64 `mapstructure:"charge_kw"`
	BoostFromRPM   float64 `mapstructure:"boost_from_rpm"`
	BoostKW        float64 `mapstructure:"boost_kw"`
}

func (s *Scenario) checkElectric(c *checker) {
	e := s.Electric
	if e == nil {
		return
	}
	c.within("electric.batteries", float64(e.Batteries), 1, 8)
	c.within("electric.instance", float64(e.Instance), 0, 240)
	c.within("electric.voltage_v", e.VoltageV, 10, 1000)
	c.within("electric.capacity_kwh", e.CapacityKWh, 0.1, 10000)
	c.within("electric.usable_kwh", e.UsableKWh, 0.1, e.CapacityKWh)
	c.within("electric.charge_pct", e.ChargePct, 5, 100)
	c.within("electric.resistance_mohm", e.ResistanceMOhm, 0, 1000)
	c.within("electric.efficiency", e.Efficiency, 0.3, 1)
	c.within("electric.other_kw", e.OtherKW, 0, 100)
	c.within("electric.below_rpm", e.BelowRPM, 0, s.Engines.TopRPM)
	c.within("electric.charge_to_rpm", e.ChargeToRPM, 0, s.Engines.TopRPM)
	c.within("electric.charge_kw", e.ChargeKW, 0, s.Engines.RatedKW)
	c.within("electric.boost_from_rpm", e.BoostFromRPM, 0, 2*s.Engines.TopRPM)
	c.within("electric.boost_kw", e.BoostKW, 0, s.Engines.RatedKW)
}

// Burns reports whether the boat burns fuel at all.
func (s *Scenario) Burns() bool { return s.Electric == nil || s.Electric.BelowRPM > 0 }

// cells is the slow state of the batteries, all alike and sharing the load.
type cells struct {
	watts  float64 // at their terminals, all together
	charge float64 // ratio
	used   float64 // J given at the terminals
}

// motors splits an engine's torque in N·m between fuel and batteries: it returns
// the engine's own, and adds the motor's power to the batteries'.
func (w *world) motors(i int, torque float64) float64 {
	e := w.s.Electric
	if e == nil {
		return torque
	}
	turn := w.rpm[i] * 2 * math.Pi / 60 // rad/s
	command, electric := w.commands[i], 0.0
	switch {
	case e.BelowRPM == 0 || command <= e.BelowRPM:
		w.cells.watts += torque * turn / e.Efficiency
		return 0
	case w.gears[i] == 0:
	case command >= e.BoostFromRPM && e.BoostFromRPM > 0:
		electric = min(e.BoostKW*1000, torque*turn)
		w.cells.watts += electric / e.Efficiency
	case command <= e.ChargeToRPM:
		electric = -e.ChargeKW * 1000
		w.cells.watts += electric * e.Efficiency
	}
	return torque - electric/max(turn, 1)
}

// wanted is the speed that an engine goes for: a motor out of gear stands still.
func (w *world) wanted(i int) float64 {
	if !w.s.Burns() && w.gears[i] == 0 {
		return 0
	}
	return w.commands[i]
}

// burnt is the consumption in L/h of an engine that gives a torque. Where the motor
// alone turns the shaft the engine stands still.
func (w *world) burnt(i int, torque float64) float64 {
	if e := w.s.Electric; e != nil && (e.BelowRPM == 0 || w.commands[i] <= e.BelowRPM) {
		return 0
	}
	return w.boat.fuelRate(w.rpm[i], torque)
}

// discharge takes the present power out of the batteries.
func (w *world) discharge() {
	e := w.s.Electric
	if e == nil {
		return
	}
	w.cells.watts += e.OtherKW * 1000
	_, amps := w.terminal(w.cells.watts)
	w.cells.used += max(0, w.cells.watts) * tick
	w.cells.charge -= w.source() * amps * float64(e.Batteries) * tick / (e.CapacityKWh * 3.6e6)
}

// source is a battery's voltage without current, V.
func (w *world) source() float64 { return w.s.Electric.VoltageV * (0.88 + 0.12*w.cells.charge) }

// terminal is the voltage and current out of each battery at a power of all of
// them together: P = I*(U - I*R).
func (w *world) terminal(watts float64) (volts, amps float64) {
	e, u := w.s.Electric, w.source()
	r, p := e.ResistanceMOhm/1000, watts/float64(e.Batteries)
	if r == 0 {
		return u, p / u
	}
	amps = (u - math.Sqrt(max(0, u*u-4*r*p))) / (2 * r)
	return u - amps*r, amps
}

// batteryMessages are those of a monitor of all batteries. It measures with the
// steps of its messages and a little noise; current out of a battery is negative.
func (d *Day) batteryMessages(dev *device) {
	e := d.scenario.Electric
	for i := range e.Batteries {
		d.batteryOf(dev, int64(e.Instance+i))
	}
}

func (d *Day) batteryOf(dev *device, number int64) {
	w, s, e := d.world, &d.sensors, d.scenario.Electric
	now := func() (volts, amps float64) {
		volts, amps = w.terminal(w.actual.watts)
		return volts * (1 + 0.0002*s.noise()), -amps * (1 + 0.003*s.noise())
	}
	every := 2.0 / 3 // Hz, from memory
	d.every(dev, 127508, every, func(m *pgn.Message) func([]byte) {
		instance, voltage, current := field(m, "instance"), set(m, "voltage"), set(m, "current")
		temperature := set(m, "temperature")
		return func(data []byte) {
			instance.PutRaw(data, number)
			u, i := now()
			voltage(data, u)
			current(data, i)
			temperature(data, 273.15+24+8*(1-w.cells.charge))
		}
	})
	d.every(dev, 127506, every, func(m *pgn.Message) func([]byte) {
		instance, kind, charge := field(m, "instance"), field(m, "type"), set(m, "state_of_charge")
		health := set(m, "state_of_health")
		return func(data []byte) {
			instance.PutRaw(data, number)
			kind.PutRaw(data, 0)
			charge(data, w.cells.charge)
			health(data, 0.97)
		}
	})
	if !e.Fine {
		return
	}
	d.every(dev, 127751, every, func(m *pgn.Message) func([]byte) {
		connection, voltage, current := field(m, "connection"), set(m, "voltage"), set(m, "current")
		return func(data []byte) {
			connection.PutRaw(data, number)
			u, i := now()
			voltage(data, u)
			current(data, i)
		}
	})
}
