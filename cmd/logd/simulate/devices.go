package simulate

import (
	"fmt"
	"math"
	"slices"

	"trialday.example/logd/pgn"
)

// The devices on the bus.
const (
	deviceGNSS1 = iota
	deviceGNSS2
	deviceHeading
	deviceLog
	deviceSounder
	deviceWind
	deviceTank
	deviceRudder
	deviceDisplay
	deviceNewcomer
	deviceEngine                                     // the first of maxEngines
	deviceController = deviceEngine + maxEngines     // likewise, on the engines' own bus
	deviceBattery    = deviceController + maxEngines // monitor of the batteries that drive the boat
	deviceCount      = deviceBattery + 1
)

// deviceKeys names the devices in scenarios, in the order of the constants.
var deviceKeys = keys()

func keys() []string {
	list := []string{
		"gnss_1", "gnss_2", "heading", "log", "sounder", "wind", "tank", "rudder", "display", "newcomer",
	}
	for i := range maxEngines {
		list = append(list, fmt.Sprintf("engine_%d", i+1))
	}
	for i := range maxEngines {
		list = append(list, fmt.Sprintf("controller_%d", i+1))
	}
	return append(list, "battery")
}

// device is a sender on the bus with its own NAME. Manufacturer codes, models
// and serial numbers are invented.
type device struct {
	key      string
	bus      *bus
	address  uint8
	name     []byte // payload of the address claim
	product  []byte // nil: it does not say
	messages []message
	silent   bool // not powered yet
}

// message is one kind of message that a device sends at a fixed rate.
type message struct {
	def      *pgn.Message
	data     []byte
	period   int64 // ns
	due      int64 // ns since the start
	jitter   int64 // ns, most by which a message is late at random
	latency  int64 // ns, always added
	sequence uint8
	// fill puts the present values into data.
	fill func(data []byte)
	// spoil are the faults of its fields.
	spoil []*spoiler
}

// claim makes a NAME. Class 60 is navigation, 50 propulsion (from memory).
func claim(unique, manufacturer, function, class int64, arbitrary int64) []byte {
	m := pgn.Lookup(pgn.AddressClaim)
	data := make([]byte, m.Length)
	put := func(name string, v int64) { field(m, name).PutRaw(data, v) }
	put("unique_number", unique)
	put("manufacturer_code", manufacturer)
	put("function", function)
	put("class", class)
	put("industry_group", 4)
	put("arbitrary_address", arbitrary)
	return data
}

func product(code int64, model, serial string) []byte {
	m := pgn.Lookup(126996)
	data := m.New()
	field(m, "database_version").PutRaw(data, 2100)
	field(m, "product_code").PutRaw(data, code)
	field(m, "model").PutString(data, model)
	field(m, "software_version").PutString(data, "1.0")
	field(m, "model_version").PutString(data, "A")
	field(m, "serial_number").PutString(data, serial)
	field(m, "certification").PutRaw(data, 0)
	field(m, "load_equivalency").PutRaw(data, 1)
	return data
}

// field is a field that must be in the table.
func field(m *pgn.Message, name string) *pgn.Field {
	f := m.Field(name)
	if f == nil {
		panic("simulate: " + m.Name + " has no field " + name)
	}
	return f
}

// setter puts an SI value into a field; NaN is not available.
type setter func(data []byte, v float64)

func set(m *pgn.Message, name string) setter {
	f := field(m, name)
	return func(data []byte, v float64) { f.Put(data, pgn.Value{V: v}) }
}

// build makes the devices of a scenario.
func (d *Day) build() {
	s := d.scenario
	add := func(index int, address uint8, manufacturer, function, class int64, model string) *device {
		dev := &d.devices[index]
		*dev = device{
			key: deviceKeys[index], bus: &d.bus, address: address,
			name:    claim(int64(1000+37*index), manufacturer, function, class, 1),
			product: product(int64(100+index), model+" (invented)", fmt.Sprintf("SIM%04d", 1000+37*index)),
		}
		d.present = append(d.present, index)
		return dev
	}
	for i := range s.Engines.Names {
		if b := s.EngineBus; b != nil && !b.Gateways {
			break
		}
		d.engineMessages(add(deviceEngine+i, uint8(16+i), 2041, 160, 50, "Engine gateway"), i)
	}
	d.gnssMessages(add(deviceGNSS1, 32, 2042, 145, 60, "Satellite receiver"), 0)
	if s.Sensors.SecondGNSS {
		d.gnssMessages(add(deviceGNSS2, 33, 2043, 145, 60, "Spare receiver"), 1)
	}
	d.headingMessages(add(deviceHeading, 34, 2044, 140, 60, "Heading sensor"))
	d.logMessages(add(deviceLog, 35, 2044, 155, 60, "Paddle wheel"))
	d.sounderMessages(add(deviceSounder, 36, 2044, 135, 60, "Echo sounder"))
	d.windMessages(add(deviceWind, 37, 2044, 130, 85, "Wind and weather"))
	d.tankMessages(add(deviceTank, 38, 2045, 150, 75, "Tank and battery monitor"))
	d.rudderMessages(add(deviceRudder, 39, 2045, 155, 40, "Rudder sensor"))
	add(deviceDisplay, 40, 2046, 130, 120, "Display")
	if s.Electric != nil {
		d.batteryMessages(add(deviceBattery, 41, 2045, 170, 35, "Battery monitor"))
	}
	if a := s.Faults.AddressChange; a != nil {
		dev := add(deviceNewcomer, 0, 2040, 130, 75, "Cabin sensor")
		dev.name = claim(1, 2040, 130, 75, 0) // a low NAME wins the address
		dev.silent = true
		d.cabinMessages(dev)
	}
	for _, index := range d.present {
		d.heartbeat(&d.devices[index])
	}
	for i := range s.Engines.Names {
		if b := s.EngineBus; b != nil {
			dev := add(deviceController+i, b.address(i), 2047, 0, 0, "")
			dev.bus, dev.product = &d.engines, nil
			d.controllerMessages(dev, i)
		}
	}
	d.misinstall()
}

const (
	millisecond = int64(1e6)
	second      = int64(1e9)
)

// every gives a device a message at a rate in Hz, with a random phase.
func (d *Day) every(dev *device, number uint32, hertz float64, fill func(m *pgn.Message) func([]byte)) {
	m := pgn.Lookup(number)
	if m == nil {
		panic(fmt.Sprintf("simulate: PGN %d is not in the table", number))
	}
	if slices.Contains(d.scenario.Sensors.WithoutPGNs, int(number)) {
		return
	}
	period := int64(float64(second) / hertz)
	dev.messages = append(dev.messages, message{
		def: m, data: m.New(), period: period, jitter: min(5*millisecond, period/20),
		due:  3*second + int64(d.rand.Float64()*float64(period)),
		fill: fill(m),
	})
}

// rate is a message's rate in Hz: the usual one, or a lower one in scenarios
// with few messages.
func (d *Day) rate(usual, slow float64) float64 {
	if d.scenario.Sensors.Slow {
		return slow
	}
	return usual
}

func (d *Day) heartbeat(dev *device) {
	d.every(dev, 126993, 1.0/60, func(m *pgn.Message) func([]byte) {
		interval, sequence := set(m, "interval"), field(m, "sequence")
		var n int64
		return func(data []byte) {
			interval(data, 60)
			sequence.PutRaw(data, n%253)
			n++
		}
	})
}

func (d *Day) engineMessages(dev *device, i int) {
	w, s, e := d.world, &d.sensors, &d.scenario.Engines
	a, number := &w.actual, d.scenario.Engines.instance(i)
	d.every(dev, 127488, 10, func(m *pgn.Message) func([]byte) {
		instance, speed, boost, trim := field(m, "instance"), set(m, "speed"), set(m, "boost"), set(m, "trim")
		return func(data []byte) {
			instance.PutRaw(data, number)
			speed(data, a.rpm[i]/60)
			switch {
			case e.Trim:
				trim(data, 0.05+0.35*w.boat.planing(w.boat.froude(max(0, w.speed), w.conditions.mass)))
			case d.scenario.Burns():
				boost(data, 2e3+1.4e5*w.load[i]*min(1, w.rpm[i]/e.RatedRPM))
			}
		}
	})
	d.every(dev, 127489, 2, func(m *pgn.Message) func([]byte) {
		instance, status1, status2 := field(m, "instance"), field(m, "status_1"), field(m, "status_2")
		oil, oilT, temperature := set(m, "oil_pressure"), set(m, "oil_temperature"), set(m, "temperature")
		volt, rate, hours := set(m, "alternator_voltage"), set(m, "fuel_rate"), set(m, "hours")
		coolant, fuelP := set(m, "coolant_pressure"), set(m, "fuel_pressure")
		load, torque := set(m, "load"), set(m, "torque")
		return func(data []byte) {
			en := &s.engines[i]
			instance.PutRaw(data, number)
			status1.PutRaw(data, 0)
			status2.PutRaw(data, 0)
			r := w.rpm[i] / e.RatedRPM
			oil(data, 4.5e5*min(1, 1.6*r))
			oilT(data, 273.15+en.oilC)
			temperature(data, 273.15+en.coolantC)
			volt(data, d.volts(w.running[i]))
			rate(data, max(0, en.fuel*(1+0.01*s.noise())*litrePerHour))
			hours(data, (e.Hours+en.hours)*3600)
			coolant(data, 1.2e5*min(1, 1.5*r))
			fuelP(data, 3e5*min(1, 2*r))
			load(data, max(0, w.load[i]+0.005*s.noise()))
			torque(data, w.torque[i]/w.boat.ratedTorque)
		}
	})
	d.every(dev, 127493, d.rate(10, 1), func(m *pgn.Message) func([]byte) {
		instance, gear := field(m, "instance"), field(m, "gear")
		oil, oilT, status := set(m, "oil_pressure"), set(m, "oil_temperature"), field(m, "status")
		return func(data []byte) {
			instance.PutRaw(data, number)
			gear.PutRaw(data, int64(1-w.gears[i])) // 0 forward, 1 neutral, 2 reverse
			oil(data, 1.8e6*min(1, 2*w.rpm[i]/e.RatedRPM))
			oilT(data, 273.15+0.8*s.engines[i].oilC)
			status.PutRaw(data, 0)
		}
	})
	d.every(dev, 127497, 1, func(m *pgn.Message) func([]byte) {
		instance, trip, rate := field(m, "instance"), set(m, "trip_fuel"), set(m, "average_rate")
		return func(data []byte) {
			instance.PutRaw(data, number)
			trip(data, w.trip[i]/1000)
			if h := s.engines[i].hours; h > 0 {
				rate(data, w.trip[i]/h*litrePerHour)
			}
		}
	})
}

const litrePerHour = 1e-3 / 3600 // m³/s

func (d *Day) volts(running bool) float64 {
	if running {
		return 14.1 + 0.03*d.sensors.noise()
	}
	return 12.6 + 0.02*d.sensors.noise()
}

func (d *Day) gnssMessages(dev *device, i int) {
	g := &d.sensors.gnss[i]
	rapid, slowRapid := 10.0, 2.0
	switch hz := d.scenario.Sensors.GNSSHz; {
	case i == 1:
		rapid, slowRapid = 1, 1
	case hz > 0:
		rapid, slowRapid = hz, hz
	}
	d.every(dev, 129025, d.rate(rapid, slowRapid), func(m *pgn.Message) func([]byte) {
		lat, lon := set(m, "latitude"), set(m, "longitude")
		return func(data []byte) {
			lat(data, g.latitude)
			lon(data, g.longitude)
		}
	})
	d.every(dev, 129026, rapid, func(m *pgn.Message) func([]byte) {
		sid, reference := field(m, "sid"), field(m, "reference")
		course, speed := set(m, "course"), set(m, "speed")
		return func(data []byte) {
			sid.PutRaw(data, g.count%253)
			reference.PutRaw(data, 0)
			east, north := g.east+g.white*d.sensors.noise(), g.north+g.white*d.sensors.noise()
			speed(data, math.Hypot(east, north))
			course(data, wrap(math.Atan2(east, north)))
		}
	})
	d.every(dev, 129029, 1, func(m *pgn.Message) func([]byte) {
		sid, date, clock := field(m, "sid"), set(m, "date"), set(m, "time")
		lat, lon, alt := set(m, "latitude"), set(m, "longitude"), set(m, "altitude")
		kind, method, integrity := field(m, "type"), field(m, "method"), field(m, "integrity")
		sats, hdop, pdop := set(m, "satellites"), set(m, "hdop"), set(m, "pdop")
		geoid, stations := set(m, "geoidal_separation"), field(m, "reference_stations")
		return func(data []byte) {
			g.count++
			sid.PutRaw(data, g.count%253)
			day, seconds := d.utc()
			date(data, day)
			clock(data, seconds)
			lat(data, g.latitude)
			lon(data, g.longitude)
			alt(data, g.altitude)
			kind.PutRaw(data, 0)
			integrity.PutRaw(data, 0)
			method.PutRaw(data, 1)
			if math.IsNaN(g.latitude) {
				method.PutRaw(data, 0)
			}
			sats(data, g.satellites)
			hdop(data, g.hdop)
			pdop(data, 1.7*g.hdop)
			geoid(data, 47)
			stations.PutRaw(data, 0)
		}
	})
	if i == 0 {
		d.timeMessages(dev)
	}
	for k := range dev.messages {
		m := &dev.messages[k]
		m.latency, m.jitter = 80*millisecond, 60*millisecond
		m.due = m.due / (100 * millisecond) * (100 * millisecond) // fixes are on the tenth of a second
	}
}

func (d *Day) timeMessages(dev *device) {
	g := &d.sensors.gnss[0]
	d.every(dev, 126992, 1, func(m *pgn.Message) func([]byte) {
		sid, source, date, clock := field(m, "sid"), field(m, "source"), set(m, "date"), set(m, "time")
		return func(data []byte) {
			sid.PutRaw(data, g.count%253)
			source.PutRaw(data, 0)
			day, seconds := d.utc()
			date(data, day)
			clock(data, seconds)
		}
	})
	d.every(dev, 129033, 1, func(m *pgn.Message) func([]byte) {
		date, clock, offset := set(m, "date"), set(m, "time"), set(m, "local_offset")
		return func(data []byte) {
			day, seconds := d.utc()
			date(data, day)
			clock(data, seconds)
			offset(data, 3600)
		}
	})
	d.every(dev, 127258, 1, func(m *pgn.Message) func([]byte) {
		source, variation := field(m, "source"), set(m, "variation")
		return func(data []byte) {
			source.PutRaw(data, 5)
			variation(data, d.scenario.Place.VariationDeg*degree)
		}
	})
}

func (d *Day) headingMessages(dev *device) {
	s, a := &d.sensors, &d.world.actual
	d.every(dev, 127250, 10, func(m *pgn.Message) func([]byte) {
		sid, heading, reference := field(m, "sid"), set(m, "heading"), field(m, "reference")
		var n int64
		return func(data []byte) {
			n++
			sid.PutRaw(data, n%253)
			heading(data, wrap(a.heading+s.headingError+0.001*s.noise()))
			reference.PutRaw(data, 1)
		}
	})
	d.every(dev, 127251, d.rate(10, 2), func(m *pgn.Message) func([]byte) {
		rate := set(m, "rate")
		return func(data []byte) {
			rate(data, s.yawRate+0.002*s.noise())
		}
	})
	d.every(dev, 127257, d.rate(10, 5), func(m *pgn.Message) func([]byte) {
		pitch, roll := set(m, "pitch"), set(m, "roll")
		return func(data []byte) {
			pitch(data, a.pitch+0.002*s.noise())
			roll(data, a.roll+0.003*s.noise())
		}
	})
}

func (d *Day) logMessages(dev *device) {
	s, n := &d.sensors, &d.scenario.Sensors
	d.every(dev, 128259, 1, func(m *pgn.Message) func([]byte) {
		speed, kind := set(m, "speed"), field(m, "type")
		return func(data []byte) {
			kind.PutRaw(data, 0)
			v := s.paddle
			// A few per cent too fast, less so at speed: the boundary layer.
			reading := v * (1 + n.PaddleGainPct/100) * (1 - 0.00002*v*v/knot/knot)
			reading = max(0, reading*(1+0.01*s.noise()))
			if v < 0.25 {
				reading = 0 // the wheel sticks
			}
			if n.PaddleMaxKn > 0 && v > n.PaddleMaxKn*knot {
				reading = math.NaN()
			}
			speed(data, reading)
		}
	})
}

func (d *Day) sounderMessages(dev *device) {
	s, w, n := &d.sensors, d.world, &d.scenario.Sensors
	d.every(dev, 128267, 1, func(m *pgn.Message) func([]byte) {
		depth, offset := set(m, "depth"), set(m, "offset")
		return func(data []byte) {
			v := max(0.3, w.actual.depth-0.6+0.05*s.noise())
			if n.SounderMaxKn > 0 && w.speed > n.SounderMaxKn*knot && s.rand.Float64() < 0.8 {
				v = math.NaN()
			}
			depth(data, v)
			offset(data, 0.6)
		}
	})
}

func (d *Day) windMessages(dev *device) {
	s, a, e := &d.sensors, &d.world.actual, &d.scenario.Environment
	d.every(dev, 130306, d.rate(10, 2), func(m *pgn.Message) func([]byte) {
		speed, angle, reference := set(m, "speed"), set(m, "angle"), field(m, "reference")
		return func(data []byte) {
			reference.PutRaw(data, 2)
			east, north := a.east-a.windEast, a.north-a.windNorth
			v := math.Hypot(east, north) * (1 + 0.03*s.noise())
			from := wrap(math.Atan2(east, north) - a.heading + 0.03*s.noise())
			if s.rand.Uint64()&1023 == 0 {
				v, from = math.NaN(), math.NaN()
			}
			speed(data, max(0, v))
			angle(data, from)
		}
	})
	d.every(dev, 130310, 0.5, func(m *pgn.Message) func([]byte) {
		water, air, pressure := set(m, "water_temperature"), set(m, "air_temperature"), set(m, "air_pressure")
		return func(data []byte) {
			water(data, 273.15+e.WaterC+0.05*s.noise())
			air(data, 273.15+e.AirC+0.1*s.noise())
			pressure(data, 100*e.PressureHPa)
		}
	})
	d.every(dev, 130312, 0.5, func(m *pgn.Message) func([]byte) {
		instance, source, actual := field(m, "instance"), field(m, "source"), set(m, "actual")
		return func(data []byte) {
			instance.PutRaw(data, 0)
			source.PutRaw(data, 0)
			actual(data, 273.15+e.WaterC+0.05*s.noise())
		}
	})
	d.every(dev, 130314, 0.5, func(m *pgn.Message) func([]byte) {
		instance, source, pressure := field(m, "instance"), field(m, "source"), set(m, "pressure")
		return func(data []byte) {
			instance.PutRaw(data, 0)
			source.PutRaw(data, 0)
			pressure(data, 100*(e.PressureHPa+0.1*s.noise()))
		}
	})
}

func (d *Day) tankMessages(dev *device) {
	s, w, v := &d.sensors, d.world, &d.scenario.Vessel
	tank := func(kind int64, level func() float64, litres float64) func(m *pgn.Message) func([]byte) {
		return func(m *pgn.Message) func([]byte) {
			instance, fluid := field(m, "instance"), field(m, "type")
			part, capacity := set(m, "level"), set(m, "capacity")
			return func(data []byte) {
				instance.PutRaw(data, 0)
				fluid.PutRaw(data, kind)
				part(data, level())
				capacity(data, litres/1000)
			}
		}
	}
	if d.scenario.Burns() {
		d.every(dev, 127505, 0.4, tank(0, func() float64 {
			slosh := 0.004*s.noise() - 0.25*(w.actual.pitch-w.boat.PitchRestDeg*degree) + 0.05*w.actual.roll
			return max(0, min(1, w.fuelL/v.TankL+slosh))
		}, v.TankL))
	}
	if v.FreshWaterL > 0 {
		d.every(dev, 127505, 0.4, tank(1, func() float64 {
			return max(0, min(1, 0.5+0.003*s.noise()))
		}, v.FreshWaterL))
	}
	d.every(dev, 127508, 0.67, func(m *pgn.Message) func([]byte) {
		instance, voltage, current := field(m, "instance"), set(m, "voltage"), set(m, "current")
		return func(data []byte) {
			instance.PutRaw(data, 0)
			running := w.running[0]
			voltage(data, d.volts(running))
			i := -8.0
			if running {
				i = 14
			}
			current(data, i+0.5*s.noise())
		}
	})
}

func (d *Day) rudderMessages(dev *device) {
	s, w := &d.sensors, d.world
	d.every(dev, 127245, d.rate(10, 2), func(m *pgn.Message) func([]byte) {
		instance, position := field(m, "instance"), set(m, "position")
		return func(data []byte) {
			instance.PutRaw(data, 0)
			position(data, w.actual.rudder+0.002*s.noise())
		}
	})
	if d.scenario.Vessel.TrimTabs {
		d.every(dev, 130576, 1, func(m *pgn.Message) func([]byte) {
			port, starboard := set(m, "port"), set(m, "starboard")
			return func(data []byte) {
				// Down to get over the hump, up at speed.
				f := w.boat.froude(max(0, w.speed), w.conditions.mass)
				tab := 0.1 + 0.5*hump(f, 1.8, 0.3)
				port(data, tab)
				starboard(data, tab)
			}
		})
	}
}

func (d *Day) cabinMessages(dev *device) {
	d.every(dev, 130312, 0.5, func(m *pgn.Message) func([]byte) {
		instance, source, actual := field(m, "instance"), field(m, "source"), set(m, "actual")
		return func(data []byte) {
			instance.PutRaw(data, 1)
			source.PutRaw(data, 2) // inside
			actual(data, 273.15+21+0.1*d.sensors.noise())
		}
	})
}

// wrap is an angle from 0 to 2 pi.
func wrap(rad float64) float64 {
	rad = math.Mod(rad, 2*math.Pi)
	if rad < 0 {
		rad += 2 * math.Pi
	}
	return rad
}
