package configs

import (
	"fmt"
	"slices"
)

// checkBattery checks the batteries that drive the boat, and what must go with
// them.
func (p *places) checkBattery(c *Config) {
	b, f := &c.Battery, &c.Fuel
	if len(b.Instances) > 8 {
		p.add("battery.instances", len(b.Instances), "too many batteries", "up to 8")
	}
	for i, n := range b.Instances {
		at := fmt.Sprintf("battery.instances[%d]", i)
		p.number(at, float64(n), 0, 252) // 253 to 255 are reserved values of the field
		if slices.Contains(b.Instances[:i], n) {
			p.add(at, n, "listed twice", "each battery once")
		}
	}
	p.optional("battery.usable_kwh", b.UsableKWh, 0.1, 100000)
	p.number("battery.reserve_pct", b.ReservePct, 0, 90)
	p.oneOf("battery.discharge", b.Discharge, "negative", "positive")
	if b.UsableKWh != nil && len(b.Instances) == 0 {
		p.add("battery.usable_kwh", *b.UsableKWh, "no battery drives the boat", "battery.instances as well")
	}
	if f.Kind != "none" {
		return
	}
	for key, v := range map[string]*float64{"fuel.tank_l": f.TankL, "fuel.top_up_l": f.TopUpL} {
		if v != nil {
			p.add(key, *v, "fuel.kind is none", "no such key, or diesel or petrol as fuel.kind")
		}
	}
	if v := c.Load.FuelL; v != nil && *v != 0 {
		p.add("load.fuel_l", *v, "fuel.kind is none", "0, or diesel or petrol as fuel.kind")
	}
}
