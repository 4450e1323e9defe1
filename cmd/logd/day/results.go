package day

import (
	"fmt"
	"math"
	"slices"
	"time"

	"trialday.example/logd/calc"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode"
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// Options turns the configuration into what the decoder needs.
func Options(c *configs.Config, buses func() []string) decode.Options {
	o := decode.Options{
		Buses: buses,
		Hold:  time.Duration(c.Sources.HoldS * float64(time.Second)),
		Prefer: map[choose.Group][]string{
			choose.Position:   c.Sources.Position,
			choose.Motion:     c.Sources.Motion,
			choose.Heading:    c.Sources.Heading,
			choose.Attitude:   c.Sources.Attitude,
			choose.RateOfTurn: c.Sources.RateOfTurn,
			choose.WaterSpeed: c.Sources.WaterSpeed,
			choose.Depth:      c.Sources.Depth,
			choose.Wind:       c.Sources.Wind,
		},
	}
	for i, e := range c.Engines {
		instance := i
		if e.Instance != nil {
			instance = *e.Instance
		}
		o.Engines = append(o.Engines, decode.Engine{Instance: instance, Source: e.Source, Bus: e.Bus, Address: e.Address})
	}
	return o
}

// steadiness tells whether an event breaks a steady window: another device
// took over a quantity that windows are judged by. The first choice of the day
// replaces nothing.
func steadiness(e decode.Event) bool {
	if e.Kind != decode.SourceChange || e.From == choose.None {
		return false
	}
	switch e.Group {
	case choose.Motion, choose.Heading:
		return true
	case choose.EngineState:
		return e.Quantity == pgn.None || e.Quantity == pgn.FuelRate
	}
	return false
}

// document is results being put together.
type document struct {
	*Evidence
	Given
}

// Results gives the figures of the evidence and the line for drawing the day. It
// is a pure function of the evidence and what is given.
func (e *Evidence) Results(g Given) (*results.Results, *results.Timeline) {
	d := &document{e, g}
	cfg, clock := &d.Config, &d.Clock
	names := engineNames(cfg, e.Calc.Heard)
	edge := results.Edge{UTC: clock.UTC, Engines: names, Frames: e.frames}
	amendments := d.amendments(edge)
	rep := calc.Derive(e.Calc, settings(cfg), amendments)
	r := &results.Results{
		Schema: results.Schema, Version: d.Version,
		Trial:  results.Trial{Name: cfg.Trial.Name, Place: cfg.Trial.Place, Units: cfg.Trial.Units},
		Steady: results.Steady(cfg.Steady),
		Vessel: d.vessel(names),
		Clock: results.Clock{
			Known: clock.Known, OffsetS: float64(clock.Offset) / 1e9,
			DriftPPM: clock.Drift * 1e6, Steps: clock.Steps,
		},
	}
	if clock.Known {
		r.Clock.UncertaintyS = float64(clock.Uncertainty) / 1e9
	}
	r.Figures(rep, edge)
	r.Amendments = d.told(amendments, rep.Outcomes)
	before := d.original(r, rep, edge)
	r.AddPerNM(cfg.Fuel.PricePerL, cfg.Fuel.Currency, cfg.Fuel.CO2KgPerL)
	r.AddReadings(d.Readings, rep, edge)
	r.Devices = d.devices()
	r.Sources = d.sources(names, edge)
	r.Findings = append(append(d.findings(names), d.damaged()...), r.Findings...)
	r.Findings = append(r.Findings, tankFinding(cfg, rep)...)
	r.Missing = append(d.missing(names, rep), r.Missing...)
	r.Missing = append(r.Missing, missingManoeuvres(&rep.Manoeuvres, rep.HasHeading, d.Installation.Heard[pgn.Gear])...)
	d.installation(r, rep, edge)
	d.dayBurn(r, rep, names)
	d.electric(r, rep, before)
	r.Quality = d.quality(names, edge)
	return r, edge.Line(&rep.Line)
}

// engineNames names the engines heard and configured, by index.
func engineNames(c *configs.Config, heard calc.EngineSet) []string {
	n := len(c.Engines)
	for e := 0; e < calc.MaxEngines; e++ {
		if heard.Has(e) {
			n = max(n, e+1)
		}
	}
	names := configs.EngineNames(n)
	for i, e := range c.Engines {
		names[i] = e.Name
	}
	// A name by position must not repeat a configured one.
	for i := len(c.Engines); i < n; i++ {
		if slices.Contains(names[:i], names[i]) {
			names[i] = fmt.Sprintf("engine %d", i+1)
		}
	}
	return names
}

func (d *document) vessel(names []string) results.Vessel {
	c := &d.Config
	v := results.Vessel{
		Name: c.Vessel.Name, LengthM: c.Vessel.LengthM, BeamM: c.Vessel.BeamM, Hull: c.Vessel.Hull,
		FuelKind: c.Fuel.Kind, TankL: c.Fuel.TankL, ReservePct: c.Fuel.ReservePct,
	}
	if c.Fuel.TankL != nil {
		usable := *c.Fuel.TankL * (1 - c.Fuel.ReservePct/100)
		v.UsableL = &usable
	}
	for i, name := range names {
		e := results.Engine{Name: name, Instance: i}
		if i >= len(c.Engines) {
			e.Instance = d.instanceHeard(i)
		} else {
			e.Instance = *c.Engines[i].Instance
			e.RatedPowerKW, e.RatedRPM = c.Engines[i].RatedPowerKW, c.Engines[i].RatedRPM
		}
		v.Engines = append(v.Engines, e)
	}
	if items, ok := massItems(c); ok {
		total := calc.TotalMass(items)
		v.TestMassKg = &total
		for _, i := range items {
			if i.Name == "fuel" && i.Kg == 0 && burnsNothing(c) {
				continue
			}
			v.Mass = append(v.Mass, results.MassItem{Name: i.Name, Kg: i.Kg})
		}
	}
	return v
}

// instanceHeard is the instance that an engine, by index, sends with.
func (d *document) instanceHeard(index int) int {
	for _, e := range d.Events {
		switch e.Kind {
		case decode.EngineFound, decode.EngineShared, decode.EngineUnlisted:
			if int(e.Instance) == index {
				return int(e.Sent)
			}
		}
	}
	return index
}

func (d *document) devices() []results.Device {
	var out []results.Device
	for _, dev := range d.Devices {
		r := results.Device{Model: dev.Model, Software: dev.Software, Serial: dev.Serial, Messages: dev.Messages}
		if int(dev.Bus) < len(d.Buses) {
			r.Bus = d.Buses[dev.Bus]
		}
		for _, a := range dev.Addresses {
			r.Addresses = append(r.Addresses, int(a))
		}
		if dev.Named {
			r.Name = dev.Name.String()
		}
		out = append(out, r)
	}
	return out
}

func (d *document) sources(names []string, edge results.Edge) []results.SourceUse {
	var out []results.SourceUse
	for _, e := range d.Events {
		if e.Kind != decode.SourceChange && e.Kind != decode.EngineBus || e.To == choose.None {
			continue
		}
		out = append(out, results.SourceUse{
			Quantity: groupName(e, names), Device: int(e.To), Start: edge.Stamp(e.Time), Why: e.Why.String(),
		})
	}
	return out
}

// groupName tells the quantities of a change of source, and of which engine,
// tank or battery they are.
func groupName(e decode.Event, names []string) string {
	switch {
	case e.Kind == decode.EngineBus:
		return "engine " + engineName(names, e.Instance)
	case e.Quantity != pgn.None:
		return e.Quantity.String() + " " + engineName(names, e.Instance)
	}
	switch e.Group {
	case choose.EngineSpeed, choose.EngineState, choose.Gearbox, choose.Trip:
		return e.Group.String() + " " + engineName(names, e.Instance)
	case choose.Tank:
		return fmt.Sprintf("%s %d of fluid %d", e.Group, e.Instance&0xF, e.Instance>>4)
	case choose.Battery, choose.Charge, choose.Rudder:
		return fmt.Sprintf("%s %d", e.Group, e.Instance)
	}
	return e.Group.String()
}

func (d *document) quality(names []string, edge results.Edge) results.Quality {
	s := &d.Stats
	q := results.Quality{
		Frames: s.Frames, BadLines: d.Bad, ErrorFrames: s.ErrorFrames, UnknownPGNFrames: s.UnknownFrames,
		Messages: s.Messages, FastPacketLost: s.Assembly.FastPacket.Messages(), Losses: s.Losses(),
		FramesHash: d.FramesHash,
	}
	for _, e := range d.Events {
		if e.Kind == decode.Gap {
			q.Gaps = append(q.Gaps, results.Gap{What: "all", Start: edge.Stamp(e.Time), End: edge.Stamp(e.Until)})
		}
	}
	for _, g := range d.Gaps {
		q.Gaps = append(q.Gaps, results.Gap{What: g.name(names), Start: edge.Stamp(g.From), End: edge.Stamp(g.To)})
	}
	return q
}

// missing names each figure that could not be derived, and the sensor or the
// key that would give it.
func (d *document) missing(names []string, rep *calc.Report) []results.MissingFigure {
	c := &d.Config
	var out []results.MissingFigure
	add := func(absent bool, figure, why string) {
		if absent {
			out = append(out, results.MissingFigure{Figure: figure, Why: why})
		}
	}
	noSpeed := !rep.HasSOG
	add(noSpeed, "speed", "no speed over ground was heard (PGN 129026); a satellite receiver on the bus gives it")
	add(rep.Heard == 0, "rpm steps", "no engine speed was heard ("+pgn.EngineSpeed.Ways()+")")
	add(!noSpeed && rep.Heard != 0 && len(rep.Steps) == 0, "rpm steps", "no steady window was found; the windows table tells why each stretch was rejected")
	out = append(out, d.missingBurn(names, rep)...)
	out = append(out, d.missingEngines(names, rep)...)
	add(!rep.HasLoad, "cruise at load", "no engine load was heard ("+pgn.EngineLoad.Ways()+")")
	add(rep.HasLoad && math.IsNaN(rep.Best.Cruise.Load) && rep.Best.CruiseStep == 0, "cruise at load",
		fmt.Sprintf("no two neighbouring steps enclose %g %% load", c.Fuel.CruiseLoadPct))
	_, haveMass := massItems(c)
	add(!haveMass, "test weight", "vessel.dry_mass_kg and load.fuel_l are needed")
	add(c.Vessel.LengthM == nil, "figures in boat lengths", "vessel.length_m is not configured")
	add(!rep.HasHeading, "current from headings", "no heading was heard (PGN 127250): courses over ground stand for it, which is right only where the current does not set the boat sideways")
	return out
}

// findings are plain statements on the installation.
func (d *document) findings(names []string) []results.Finding {
	var out []results.Finding
	if !d.Clock.Known {
		out = append(out, results.Finding{
			Kind: "no_time", Sure: "certain",
			What:    "no satellite time was heard",
			Meaning: "times of day are those of the recorder's own clock; durations and figures are not affected",
			Remedy:  "connect a satellite receiver that sends PGN 126992, 129033 or 129029",
		})
	}
	for _, e := range d.Events {
		switch e.Kind {
		case decode.EngineShared:
			out = append(out, results.Finding{
				Kind: "engine_instance_shared", Sure: "certain: both send at once",
				What:    fmt.Sprintf("two engines send instance %d; they were told apart by device: the second is taken as %s", e.Sent, engineName(names, e.Instance)),
				Meaning: "which of them is port and which starboard is a guess",
				Remedy:  "set the instances of the engine gateways, or engines[].source in the configuration",
			})
		case decode.EngineUnlisted:
			out = append(out, results.Finding{
				Kind: "engine_unlisted", Sure: "certain",
				What:    fmt.Sprintf("engine instance %d was heard that the configuration does not list; it is taken as %s", e.Sent, engineName(names, e.Instance)),
				Meaning: "its position is a guess",
				Remedy:  "list it under engines in the configuration",
			})
		}
	}
	out = append(out, d.engineBus(names)...)
	if d.Dropped > 0 || d.MoreGaps > 0 {
		out = append(out, results.Finding{
			Kind: "too_many_changes", Sure: "certain",
			What:    fmt.Sprintf("%d changes of source and %d gaps are not listed, being too many", d.Dropped, d.MoreGaps),
			Meaning: "a device comes and goes all the time",
			Remedy:  "check its plug and power",
		})
	}
	return out
}

func engineName(names []string, index uint8) string {
	if int(index) < len(names) {
		return names[index]
	}
	return fmt.Sprintf("engine %d", index+1)
}
