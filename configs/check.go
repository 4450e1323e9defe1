package configs

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// maxInterfaces is frame.MaxBuses, repeated so that this package stays free of
// the pipeline; a test holds them equal.
const maxInterfaces = 32

// check refuses impossible values. The limits are wide: they catch a slipped
// digit or a wrong unit, not an unusual boat. They are our own, no source,
// except where one is named.
func (p *places) check(c *Config) {
	p.checkVessel(&c.Vessel)
	p.checkEngines(c.Engines)
	p.checkFuelAndLoad(&c.Fuel, &c.Load)
	p.checkBattery(c)
	p.optional("mass.reference_kg", c.Mass.ReferenceKg, 50, 1e6)
	p.oneOf("trial.units", c.Trial.Units, "metric", "us")
	p.checkSpeeds("trial.speeds_kn", c.Trial.SpeedsKn)
	p.checkSpeeds("trial.speeds_mph", c.Trial.SpeedsMPH)
	p.number("trial.hold_s", c.Trial.HoldS, 5, 240)
	p.number("corrections.heading_deg", c.Corrections.HeadingDeg, -180, 180)
	p.number("corrections.roll_deg", c.Corrections.RollDeg, -45, 45)
	p.number("corrections.pitch_deg", c.Corrections.PitchDeg, -45, 45)
	p.checkSources(&c.Sources)
	p.checkSteady(&c.Steady)
	p.checkOutputs(c)
	p.checkBus(c.Bus.Interfaces)
}

func (p *places) checkVessel(v *Vessel) {
	p.optional("vessel.length_m", v.LengthM, 2, 100)
	p.optional("vessel.beam_m", v.BeamM, 0.5, 40)
	p.optional("vessel.dry_mass_kg", v.DryMassKg, 50, 1e6)
	p.oneOf("vessel.hull", v.Hull, "planing", "semi_displacement", "displacement")
	if v.LengthM != nil && v.BeamM != nil && *v.BeamM > *v.LengthM {
		p.add("vessel.beam_m", *v.BeamM, "wider than the boat is long", fmt.Sprintf("up to vessel.length_m, %g", *v.LengthM))
	}
}

func (p *places) checkEngines(engines []Engine) {
	if len(engines) > 8 {
		p.add("engines", len(engines), "too many engines", "1 to 8")
	}
	for i, e := range engines {
		at := func(key string) string { return fmt.Sprintf("engines[%d].%s", i, key) }
		p.number(at("instance"), float64(*e.Instance), 0, 252) // 253 to 255 are reserved values of the field
		p.optional(at("rated_power_kw"), e.RatedPowerKW, 0.5, 10000)
		p.optional(at("rated_rpm"), e.RatedRPM, 100, 16383) // 16383.25 is the end of the field
		p.optional(at("gear_ratio"), e.GearRatio, 0.3, 10)
		p.optional(at("prop_pitch_m"), e.PropPitchM, 0.05, 10)
		p.optional(at("fuel_scale"), e.FuelScale, 0.2, 5)
		p.name(at("source"), e.Source)
		if e.Bus != "" {
			p.interfaceName(at("bus"), e.Bus)
		}
		if e.Address != nil {
			p.number(at("address"), float64(*e.Address), 0, 253) // 254 and 255 are nobody and everybody (ISO 11783-5)
		}
		p.checkTwins(engines[:i], e, at)
	}
}

// checkTwins compares an engine with those before it. Two may share an instance
// only where the NAME of the sender tells them apart.
func (p *places) checkTwins(before []Engine, e Engine, at func(string) string) {
	for j, b := range before {
		if strings.EqualFold(b.Name, e.Name) {
			p.add(at("name"), e.Name, fmt.Sprintf("engines[%d] has the same name", j), "a name of its own for each engine")
		}
		if e.onBus() && b.onBus() && (e.Bus == b.Bus || e.Bus == "" || b.Bus == "") &&
			(e.Address == nil || b.Address == nil || *e.Address == *b.Address) {
			p.add(at("address"), pointed(e.Address), fmt.Sprintf("engines[%d] can be the same on the engines' own bus", j),
				"an address of its own for each engine, or a bus of its own for each")
		}
		told := b.Source != "" && e.Source != "" && !strings.EqualFold(b.Source, e.Source)
		if *b.Instance == *e.Instance && !told {
			p.add(at("instance"), *e.Instance, fmt.Sprintf("engines[%d] has the same instance", j),
				"an instance of its own for each engine, or a different source for each")
		}
	}
}

// onBus reports whether the engine is named on the engines' own bus.
func (e *Engine) onBus() bool { return e.Bus != "" || e.Address != nil }

func pointed(n *int) any {
	if n == nil {
		return nil
	}
	return *n
}

func (p *places) checkFuelAndLoad(f *Fuel, l *Load) {
	p.oneOf("fuel.kind", f.Kind, "diesel", "petrol", "none")
	p.optional("fuel.density_kg_per_l", f.DensityKgPerL, 0.65, 1)
	p.optional("fuel.tank_l", f.TankL, 1, 200000)
	p.number("fuel.tank_section_pct", f.TankSectionPct, 0, 30)
	p.number("fuel.reserve_pct", f.ReservePct, 0, 90)
	p.number("fuel.cruise_load_pct", f.CruiseLoadPct, 10, 100)
	p.optional("fuel.price_per_l", f.PricePerL, 0.001, 1e6)
	if f.Currency != "" && (len(f.Currency) > 8 || strings.TrimSpace(f.Currency) != f.Currency || strings.ContainsAny(f.Currency, "\t\r\n,;")) {
		p.add("fuel.currency", f.Currency, "no name of a currency", "up to 8 characters such as EUR")
	}
	p.optional("fuel.co2_kg_per_l", f.CO2KgPerL, 0, 4)
	p.optional("fuel.top_up_l", f.TopUpL, 0.1, 200000)
	p.optional("fuel.top_up_error_l", f.TopUpErrorL, 0, 2000)
	if f.TankL != nil && f.TopUpL != nil && *f.TopUpL > *f.TankL {
		p.add("fuel.top_up_l", *f.TopUpL, "more than the tank holds", fmt.Sprintf("up to fuel.tank_l, %g", *f.TankL))
	}
	p.optional("load.fuel_l", l.FuelL, 0, 200000)
	p.optional("load.water_l", l.WaterL, 0, 50000)
	p.number("load.people", float64(l.People), 0, 500)
	p.number("load.person_kg", l.PersonKg, 20, 200)
	p.number("load.gear_kg", l.GearKg, 0, 100000)
	if f.TankL != nil && l.FuelL != nil && *l.FuelL > *f.TankL {
		p.add("load.fuel_l", *l.FuelL, "more than the tank holds", fmt.Sprintf("up to fuel.tank_l, %g", *f.TankL))
	}
}

func (p *places) checkSources(s *Sources) {
	for _, list := range []struct {
		key     string
		devices []string
	}{
		{"position", s.Position}, {"motion", s.Motion}, {"heading", s.Heading}, {"attitude", s.Attitude},
		{"rate_of_turn", s.RateOfTurn}, {"water_speed", s.WaterSpeed}, {"depth", s.Depth}, {"wind", s.Wind},
	} {
		for i, d := range list.devices {
			at := fmt.Sprintf("sources.%s[%d]", list.key, i)
			if strings.TrimSpace(d) == "" {
				p.add(at, d, "empty", "a NAME in hex, a model, or interface/address such as can0/35")
			}
			if slices.Contains(list.devices[:i], d) {
				p.add(at, d, "listed twice", "each device once, best first")
			}
		}
	}
	p.number("sources.hold_s", s.HoldS, 0, 3600)
	p.optional("sources.latency_s", s.LatencyS, 0, 2)
	p.number("sources.latency_error_s", s.LatencyErrorS, 0.001, 1)
}

func (p *places) checkSpeeds(key string, speeds []float64) {
	for i, v := range speeds {
		at := fmt.Sprintf("%s[%d]", key, i)
		p.number(at, v, 1, 200)
		if i > 0 && !(v > speeds[i-1]) {
			p.add(at, v, "not above the one before", "rising speeds, each once")
		}
	}
}

func (p *places) checkSteady(s *Steady) {
	p.number("steady.min_s", s.MinS, 5, 1800)
	p.number("steady.settle_pct", s.SettlePct, 0.05, 10)
	p.number("steady.rpm_hunting_pct", s.RPMHuntingPct, 0.1, 20)
	p.number("steady.course_deg", s.CourseDeg, 0.5, 45)
	p.number("steady.step_pct", s.StepPct, 0.1, 20)
}

func (p *places) checkOutputs(c *Config) {
	if strings.TrimSpace(c.Journal.Dir) == "" {
		p.add("journal.dir", c.Journal.Dir, "empty", "a folder")
	}
	p.number("journal.segment_mb", float64(c.Journal.SegmentMB), 1, 4096)
	p.number("journal.sync_s", c.Journal.SyncS, 0.05, 60)
	p.number("journal.resume_h", c.Journal.ResumeH, 0, 168)
	p.number("journal.keep_free_mb", float64(c.Journal.KeepFreeMB), 0, 1e6)
	host, port, err := net.SplitHostPort(c.Page.Listen)
	if n, perr := strconv.Atoi(port); err != nil || perr != nil || n < 0 || n > 65535 || strings.ContainsAny(host, " /") {
		p.add("page.listen", c.Page.Listen, "no address to listen on", "host:port such as 127.0.0.1:8642")
	} else if !loopback(host) && c.Page.PasswordFile == "" && c.Page.TokenFile == "" {
		p.add("page.listen", c.Page.Listen, "others could reach the page without a password",
			"127.0.0.1:8642, or set page.password_file (made by: logd page password) or page.token_file")
	}
	for i, name := range c.Page.Hosts {
		if name == "" || strings.ContainsAny(name, "/ :") {
			p.add(fmt.Sprintf("page.hosts[%d]", i), name, "no name of a host", "a name without port, such as logger.local")
		}
	}
	p.checkInflux(&c.Influx)
}

func (p *places) checkInflux(f *Influx) {
	p.number("influx.timeout_s", f.TimeoutS, 0.1, 600)
	p.number("influx.batch_lines", float64(f.BatchLines), 1, 100000)
	p.number("influx.catch_up_hz", f.CatchUpHz, 0, 1e6)
	p.number("influx.rate_hz", f.RateHz, 0, 1000)
	for i, t := range f.Thin {
		p.number(fmt.Sprintf("influx.thin[%d].rate_hz", i), t.RateHz, 0, 1000)
		if at := fmt.Sprintf("influx.thin[%d].quantity", i); t.Quantity == "" {
			p.add(at, t.Quantity, "empty", "a quantity such as engine_speed")
		} else if slices.ContainsFunc(f.Thin[:i], func(b Thin) bool { return b.Quantity == t.Quantity }) {
			p.add(at, t.Quantity, "listed twice", "each quantity once")
		}
	}
	if f.URL == "" {
		return
	}
	u, err := url.Parse(f.URL)
	switch {
	case err != nil || strings.Contains(f.URL, "@"):
		// What stands before the @ is a secret: the value is not repeated.
		p.add("influx.url", nil, "no address of a server, or one with a user and password in it",
			"http://host:port or https://host:port; the token goes into influx.token_file")
	case u.Host == "" || u.Scheme != "http" && u.Scheme != "https":
		p.add("influx.url", f.URL, "no address of a server", "http://host:port or https://host:port, or empty for none")
	case u.Scheme == "http" && !f.AllowPlain && !loopback(u.Hostname()):
		p.add("influx.url", f.URL, "without TLS the token and the data can be read on the way",
			"https://host:port, or set influx.allow_plain: true")
	}
	if f.Bucket == "" {
		p.add("influx.bucket", f.Bucket, "empty though influx.url is given", "the bucket to write to")
	}
}

// loopback tells whether a host is this machine.
func loopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && a.IsLoopback()
}

// checkBus: an interface name has 1 to 15 bytes, no space and no slash (Linux,
// IFNAMSIZ).
func (p *places) checkBus(interfaces []string) {
	if len(interfaces) == 0 || len(interfaces) > maxInterfaces {
		p.add("bus.interfaces", len(interfaces), "wrong number of interfaces", fmt.Sprintf("1 to %d", maxInterfaces))
	}
	for i, name := range interfaces {
		at := fmt.Sprintf("bus.interfaces[%d]", i)
		p.interfaceName(at, name)
		if slices.Contains(interfaces[:i], name) {
			p.add(at, name, "listed twice", "each interface once")
		}
	}
}

func (p *places) interfaceName(at, name string) {
	if group, udp := strings.CutPrefix(name, "udp:"); udp {
		a, err := netip.ParseAddrPort(group)
		if err != nil || !a.Addr().Is4() || !a.Addr().IsMulticast() || a.Port() == 0 {
			p.add(at, name, "no multicast group", "such as udp:239.64.142.206:9999, of IPv4")
		}
	} else if name == "" || len(name) > 15 || strings.ContainsAny(name, " \t\r\n/:") {
		p.add(at, name, "no name of an interface", "1 to 15 characters such as can0, or udp:GROUP:PORT")
	}
}

// number refuses a value outside lo to hi. It is written so that not-a-number
// is refused too.
func (p *places) number(key string, value, lo, hi float64) {
	if !(value >= lo && value <= hi) {
		p.add(key, value, "out of range", fmt.Sprintf("%v to %v", plain(lo), plain(hi)))
	}
}

func (p *places) optional(key string, value *float64, lo, hi float64) {
	if value != nil {
		p.number(key, *value, lo, hi)
	}
}

func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func (p *places) oneOf(key, value string, allowed ...string) {
	if !slices.Contains(allowed, value) {
		p.add(key, value, "not a choice", strings.Join(allowed, ", "))
	}
}

// name refuses what is not a 64-bit NAME in hex; empty is none given.
func (p *places) name(key, value string) {
	if value == "" {
		return
	}
	digits := strings.TrimPrefix(strings.ToLower(value), "0x")
	if _, err := strconv.ParseUint(digits, 16, 64); err != nil {
		p.add(key, value, "not a NAME", "up to 16 hex digits, in quotes")
	}
}
