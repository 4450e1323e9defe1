package simulate

import (
	"math"

	"trialday.example/logd/pgn"
)

// EngineBus puts the engines on a second interface, each with a controller of
// its own that sends the messages of SAE J1939-71 (package pgn; rates from
// memory).
type EngineBus struct {
	Interface string `mapstructure:"interface"`
	Addresses []int  `mapstructure:"addresses"` // of the controllers, port first; none: 0, 1, 2 ...
	Gateways  bool   `mapstructure:"gateways"`  // the first interface has the engines too
}

func (s *Scenario) checkEngineBus(c *checker) {
	b := s.EngineBus
	if b == nil {
		return
	}
	if b.Interface == "" || b.Interface == s.Interface {
		c.refuse("engine_bus.interface", "%q is empty or the first interface; for example can1", b.Interface)
	}
	if n := len(b.Addresses); n > 0 {
		c.within("engine_bus.addresses (their count)", float64(n), float64(len(s.Engines.Names)), float64(len(s.Engines.Names)))
	}
	used := map[int]bool{}
	for _, a := range b.Addresses {
		c.within("engine_bus.addresses", float64(a), 0, 253)
		if used[a] {
			c.refuse("engine_bus.addresses", "%d is given twice", a)
		}
		used[a] = true
	}
}

func (b *EngineBus) address(engine int) uint8 {
	if engine < len(b.Addresses) {
		return uint8(b.Addresses[engine])
	}
	return uint8(engine)
}

// Buses returns the names of the interfaces that frames refer to.
func (s *Scenario) Buses() []string {
	if s.EngineBus != nil {
		return []string{s.Interface, s.EngineBus.Interface}
	}
	return []string{s.Interface}
}

// measure gives a device a message whose fields are measured values, in SI.
func (d *Day) measure(dev *device, number uint32, hertz float64, values map[string]func() float64) {
	d.every(dev, number, hertz, func(m *pgn.Message) func([]byte) {
		type one struct {
			put   setter
			value func() float64
		}
		var all []one
		for i := range m.Fields { // in the order of the table: some draw at random
			if value := values[m.Fields[i].Name]; value != nil {
				all = append(all, one{set(m, m.Fields[i].Name), value})
			}
		}
		return func(data []byte) {
			for _, o := range all {
				o.put(data, o.value())
			}
		}
	})
}

// controllerMessages are what an engine's own controller sends.
func (d *Day) controllerMessages(dev *device, i int) {
	w, s, e := d.world, &d.sensors, &d.scenario.Engines
	a, en := &w.actual, &s.engines[i]
	part := func() float64 { return w.rpm[i] / e.RatedRPM }
	rate := func() float64 { return max(0, en.fuel*(1+0.01*s.noise())*litrePerHour) }
	type values = map[string]func() float64
	d.measure(dev, 61444, d.rate(50, 20), values{
		"speed":  func() float64 { return a.rpm[i] / 60 },
		"torque": func() float64 { return w.torque[i] / w.boat.ratedTorque },
	})
	d.measure(dev, 61443, d.rate(20, 5), values{
		"load": func() float64 { return max(0, w.load[i]+0.005*s.noise()) },
	})
	d.measure(dev, 65266, d.rate(10, 5), values{
		"fuel_rate": rate,
		"instantaneous_economy": func() float64 {
			if en.fuel <= 0 {
				return math.NaN()
			}
			return max(0, a.speed) / (en.fuel * litrePerHour)
		},
	})
	d.measure(dev, 61445, d.rate(10, 2), values{
		"current_gear": func() float64 { return float64(1 - w.gears[i]) }, // as the quantity: 0 forward, 1 neutral, 2 reverse
	})
	d.measure(dev, 65253, 1, values{"hours": func() float64 { return (e.Hours + en.hours) * 3600 }})
	d.measure(dev, 65257, 1, values{
		"trip_fuel":  func() float64 { return w.trip[i] / 1000 },
		"total_fuel": func() float64 { return (w.trip[i] + 20*e.Hours) / 1000 },
	})
	d.measure(dev, 65262, 1, values{
		"coolant_temperature": func() float64 { return 273.15 + en.coolantC },
		"oil_temperature":     func() float64 { return 273.15 + en.oilC },
	})
	d.measure(dev, 65263, 2, values{
		"oil_pressure":     func() float64 { return 4.5e5 * min(1, 1.6*part()) },
		"coolant_pressure": func() float64 { return 1.2e5 * min(1, 1.5*part()) },
		"fuel_pressure":    func() float64 { return 3e5 * min(1, 2*part()) },
	})
	d.measure(dev, 65270, 2, values{"boost": func() float64 { return 2e3 + 1.4e5*w.load[i]*min(1, part()) }})
	d.measure(dev, 65265, d.rate(10, 1), values{"speed": func() float64 { return max(0, a.speed) }})
}
