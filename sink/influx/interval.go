package influx

import (
	"math"
	"time"

	"trialday.example/logd/calc"
	"trialday.example/logd/decode"
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/results/units"
)

// sums is what is added up over a run.
type sums struct {
	points, samples         int64
	notAvailable, outOf     int64
	gap                     int64 // ns
	steps, changes          int64
	speeds                  int64
	slowest, fastest, speed float64 // m/s; the sum
}

func (s *sums) count(v *sample.Sample) {
	s.samples++
	switch v.State {
	case pgn.NotAvailable:
		s.notAvailable++
	case pgn.OutOfRange:
		s.outOf++
	case pgn.Valid:
		if v.Quantity == pgn.SpeedOverGround {
			if s.speeds == 0 {
				s.slowest, s.fastest = v.Value, v.Value
			}
			s.speeds++
			s.speed += v.Value
			s.slowest, s.fastest = min(s.slowest, v.Value), max(s.fastest, v.Value)
		}
	}
}

func (s *sums) event(e *decode.Event) {
	switch e.Kind {
	case decode.Gap:
		s.gap += e.Until - e.Time
	case decode.ClockStep:
		s.steps++
	case decode.SourceChange:
		if e.From != choose.None {
			s.changes++
		}
	}
}

// interval begins the point of an interval of the present run.
func (m *maker) interval(measurement, engine string, from int64) Point {
	p := Point{Measurement: measurement, Time: from}
	if engine != "" {
		p.Tags = append(p.Tags, Tag{"engine", engine})
	}
	p.Tags = append(append(p.Tags, Tag{"run", m.tag}), m.id.tags()...)
	return p
}

// runPoint adds the run itself.
func (m *maker) runPoint() {
	from, to := m.clock.UTC(m.run.Start), m.clock.UTC(m.run.End)
	p := m.interval(runs, "", from)
	p.set("run", int64(m.run.ID))
	p.set("kind", m.run.Kind.String())
	p.set("start", from)
	p.set("end", to)
	p.set("duration_s", float64(m.run.End-m.run.Start)/1e9)
	p.set("points", m.sums.points)
	if n := m.sums.speeds; n > 0 {
		p.set("sog_min_kn", units.Knots(m.sums.slowest))
		p.set("sog_mean_kn", units.Knots(m.sums.speed/float64(n)))
		p.set("sog_max_kn", units.Knots(m.sums.fastest))
	}
	m.out = append(m.out, p)
}

// qualityPoint adds what was read and lost during the run.
func (m *maker) qualityPoint() {
	now := m.decoder.Stats()
	p := m.interval(quality, "", m.clock.UTC(m.run.Start))
	p.set("frames", now.Frames-m.before.Frames)
	p.set("error_frames", now.ErrorFrames-m.before.ErrorFrames)
	p.set("unknown_frames", now.UnknownFrames-m.before.UnknownFrames)
	p.set("messages", now.Messages-m.before.Messages)
	p.set("messages_lost", now.Assembly.FastPacket.Messages()-m.before.Assembly.FastPacket.Messages())
	p.set("samples", m.sums.samples)
	p.set("not_available", m.sums.notAvailable)
	p.set("out_of_range", m.sums.outOf)
	p.set("gap_s", float64(m.sums.gap)/1e9)
	p.set("clock_steps", m.sums.steps)
	p.set("source_changes", m.sums.changes)
	p.set("clock_known", m.known)
	if u := m.clock.Uncertainty(); m.known && u < math.MaxInt64 {
		p.set("clock_uncertainty_s", float64(u)/1e9)
	}
	m.before = now
	m.out = append(m.out, p)
}

// windowPoints adds a window: one point for the boat, one for each engine.
func (m *maker) windowPoints(w *calc.Window) {
	from := m.clock.UTC(w.Start)
	m.starts[w.ID] = windowStart{from, m.tag}
	r := results.Edge{UTC: m.clock.UTC, Engines: m.engines}.Window(w)
	p := m.interval(windows, whole, from)
	p.set("window", int64(w.ID))
	p.set("accepted", r.Accepted)
	p.set("reason", r.Reason)
	p.set("start", from)
	p.set("end", m.clock.UTC(w.End))
	p.setInterval("sog_kn", r.SOGKn)
	p.setInterval("stw_kn", r.STWKn)
	p.setInterval("fuel_lph", r.FuelLPH)
	p.setInterval("battery_power_kw", r.PowerKW)
	if rpm := w.MeanRPM() * 60; w.Engines != 0 {
		p.setFloat("rpm", &rpm)
	}
	for _, f := range []struct {
		key string
		v   *float64
	}{
		{"heading_deg", r.HeadingDeg}, {"cog_deg", r.COGDeg}, {"load_pct", r.LoadPct}, {"pitch_deg", r.PitchDeg},
		{"roll_deg", r.RollDeg}, {"trim_pct", r.TrimPct}, {"depth_m", r.DepthM}, {"wind_kn", r.WindKn},
		{"wind_from_deg", r.WindFromDeg}, {"wave_period_s", r.WavePeriodS},
	} {
		p.setFloat(f.key, f.v)
	}
	m.out = append(m.out, p)
	for _, name := range m.engines {
		e := m.interval(windows, name, from)
		if v, ok := r.RPM[name]; ok {
			e.setInterval("rpm", &v)
		}
		if v, ok := r.EngineFuelLPH[name]; ok {
			e.setInterval("fuel_lph", &v)
		}
		if len(e.Fields) > 0 {
			e.set("window", int64(w.ID))
			e.set("accepted", r.Accepted)
			m.out = append(m.out, e)
		}
	}
}

func (p *Point) setInterval(key string, v *results.Interval) {
	if v == nil {
		return
	}
	p.setFloat(key, &v.Mean)
	p.setFloat(key+"_lo95", &v.Lo95)
	p.setFloat(key+"_hi95", &v.Hi95)
}

// day adds what is known only when all frames are.
func (m *maker) day(r *results.Results) {
	if len(r.Runs) == 0 {
		return
	}
	for i := range r.Steps {
		m.stepPoints(r, &r.Steps[i])
	}
	for i := range r.Windows {
		w := &r.Windows[i]
		if w.Step == nil {
			continue
		}
		at := m.starts[w.ID]
		p := Point{Measurement: windows, Time: at.at, Tags: append([]Tag{{"engine", whole}, {"run", at.run}}, m.id.tags()...)}
		p.set("step", int64(*w.Step))
		m.out = append(m.out, p)
	}
	m.out = append(m.out, m.trialPoint(r))
}

// stepPoints adds a step; its time is the start of its first window.
func (m *maker) stepPoints(r *results.Results, s *results.Step) {
	from, to := int64(math.MaxInt64), int64(math.MinInt64)
	for _, id := range s.Windows {
		from = min(from, m.starts[id].at)
		to = max(to, parseTime(r.Windows[id-1].End))
	}
	point := func(engine string) Point {
		return Point{Measurement: steps, Time: from, Tags: append([]Tag{{"engine", engine}}, m.id.tags()...)}
	}
	p := point(whole)
	p.set("step", int64(s.ID))
	p.set("start", from)
	p.set("end", to)
	p.set("passes", int64(s.Passes))
	p.set("current_corrected", s.CurrentCorrected)
	p.setFloat("rpm", &s.RPM)
	p.setInterval("speed_kn", &s.SpeedKn)
	if s.FuelFrom != "" {
		p.set("fuel_from", s.FuelFrom)
	}
	p.setInterval("fuel_lph", s.FuelLPH)
	p.setInterval("economy_nm_per_l", s.EconomyNMPerL)
	p.setInterval("economy_l_per_nm", s.EconomyLPerNM)
	p.setInterval("range_nm", s.RangeNM)
	p.setFloat("range_burn_off_nm", s.RangeBurnOffNM)
	p.setFloat("load_pct", s.LoadPct)
	p.setFloat("pitch_deg", s.PitchDeg)
	p.setFloat("trim_pct", s.TrimPct)
	p.setFloat("mass_kg", s.MassKg)
	p.setElectric(r.Electric.Of(s.ID))
	m.out = append(m.out, p)
	for i, e := range r.Vessel.Engines {
		if v, ok := s.EngineFuelLPH[e.Name]; ok && i < len(m.engines) {
			p := point(m.engines[i])
			p.set("step", int64(s.ID))
			p.setFloat("rpm", &s.RPM)
			p.setInterval("fuel_lph", &v)
			m.out = append(m.out, p)
		}
	}
}

// setElectric adds the batteries' part, under the names of the steps' CSV.
func (p *Point) setElectric(e *results.ElectricStep) {
	if e == nil {
		return
	}
	p.set("driven_by", e.Source)
	p.setInterval("battery_power_kw", e.PowerKW)
	p.setInterval("battery_energy_wh_per_nm", e.WhPerNM)
	p.setInterval("battery_economy_nm_per_kwh", e.NMPerKWh)
	p.setInterval("battery_range_nm", e.RangeNM)
}

// trialPoint sums up the day, for comparing boats and days.
func (m *maker) trialPoint(r *results.Results) Point {
	from, to := parseTime(r.Trial.Start), parseTime(r.Trial.End)
	p := Point{Measurement: trials, Time: from, Tags: m.id.tags()}
	p.set("start", from)
	p.set("end", to)
	p.set("name", clean(r.Trial.Name, "-"))
	p.set("place", clean(r.Trial.Place, "-"))
	p.set("version", r.Version)
	p.set("clock_known", r.Clock.Known)
	p.set("runs", int64(len(r.Runs)))
	p.set("windows", int64(len(r.Windows)))
	p.set("steps", int64(len(r.Steps)))
	p.set("frames", r.Quality.Frames)
	p.setFloat("test_mass_kg", r.Vessel.TestMassKg)
	if s := stepOf(r, r.Best.TopSpeedStep); s != nil {
		p.setInterval("top_speed_kn", &s.SpeedKn)
	}
	if s := stepOf(r, r.Best.BestEconomyStep); s != nil {
		p.setFloat("best_economy_speed_kn", &s.SpeedKn.Mean)
		p.setInterval("best_economy_nm_per_l", s.EconomyNMPerL)
		p.setInterval("best_range_nm", s.RangeNM)
	}
	if e := r.Electric; e != nil {
		p.setFloat("battery_used_kwh", e.UsedKWh)
		if s := stepOf(r, e.Best.EnergyStep); s != nil {
			p.setFloat("best_battery_energy_speed_kn", &s.SpeedKn.Mean)
			p.setInterval("best_battery_energy_wh_per_nm", e.Of(s.ID).WhPerNM)
			p.setInterval("best_battery_range_nm", e.Of(s.ID).RangeNM)
		}
	}
	if r.FromTank() {
		p.set("fuel_from", results.FromTankLevel)
	}
	if c := r.Best.Cruise; c != nil {
		p.setFloat("cruise_speed_kn", &c.SpeedKn)
		p.setFloat("cruise_fuel_lph", c.FuelLPH)
	}
	return p
}

func stepOf(r *results.Results, id *int) *results.Step {
	if id == nil || *id < 1 || *id > len(r.Steps) {
		return nil
	}
	return &r.Steps[*id-1]
}

// parseTime reads a time of results.json; it is nanoseconds since 1970.
func parseTime(s string) int64 {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return 0
	}
	return t.UnixNano()
}
