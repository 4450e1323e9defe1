package day

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/calc"
	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

// burnDay is a simulated day of three engines with its truth.
func burnDay(t *testing.T) ([]frame.Frame, *simulate.Truth) {
	t.Helper()
	text, err := scenarios.Load("accuracy")
	if err != nil {
		t.Fatal(err)
	}
	s, err := simulate.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	var out []frame.Frame
	truth, err := s.Run(5, func(f *frame.Frame) error {
		out = append(out, *f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out, truth
}

// scaleRate multiplies the fuel rate in a frame, of the engines that source
// addresses stand for: the field lies in the second frame of the fast packet,
// which carries bytes 6 to 12 of the message.
func scaleRate(f *frame.Frame, factor func(source uint8) float64) {
	h := pgn.ParseID(f.ID)
	if h.PGN != 127489 || f.Data[0]&0x1F != 1 {
		return
	}
	m := pgn.Lookup(h.PGN)
	rate := m.Field("fuel_rate")
	payload := m.New()
	copy(payload[6:13], f.Data[1:8])
	v := rate.SI(payload)
	v.V *= factor(h.Source)
	rate.Put(payload, v)
	copy(f.Data[1:8], payload[6:13])
}

func replayFrames(t *testing.T, frames []frame.Frame, cfg configs.Config, notes []calc.Reading, change func(*frame.Frame)) *results.Results {
	t.Helper()
	d := New(cfg, "test", func() []string { return []string{"can0"} })
	d.Note(notes)
	for _, f := range frames {
		if change != nil {
			change(&f)
		}
		d.Frame(&f)
	}
	r, _ := d.Finish(0)
	if err := r.WriteJSON(&bytes.Buffer{}); err != nil {
		t.Fatal(err)
	}
	return r
}

func hasFinding(r *results.Results, parts ...string) bool {
	for _, f := range r.Findings {
		all := true
		for _, p := range parts {
			all = all && strings.Contains(f.What, p)
		}
		if all {
			return true
		}
	}
	return false
}

// TestFuelMetersAgainstTruth: meters that are right are left alone; rates
// scaled on the wire are found, each engine by its own factor, by trip total,
// tank and top-up.
func TestFuelMetersAgainstTruth(t *testing.T) {
	frames, truth := burnDay(t)
	cfg := configs.Default()
	tank, pumped := 1500.0, truth.FuelUsedL
	cfg.Fuel.TankL, cfg.Fuel.TopUpL, cfg.Fuel.TopUpErrorL = &tank, &pumped, new(float64)

	right := replayFrames(t, frames, cfg, nil, nil)
	c := right.FuelCheck
	if c.Trip == nil || c.Tank == nil || c.TopUp == nil {
		t.Fatalf("not all references are there: %+v", c)
	}
	if d := *c.MeteredL/truth.FuelUsedL - 1; math.Abs(d) > 0.002 {
		t.Errorf("the integrated rate is %.2f %% off the truth", 100*d)
	}
	for name, s := range map[string]*results.FuelScale{"trip": c.Trip, "top-up": c.TopUp} {
		if s.Differs || math.Abs(s.Scale.Mean-1) > 0.005 {
			t.Errorf("%s: %+v of a right meter", name, s)
		}
	}
	// One day in twenty the tank's interval misses; none by its own width.
	if half := c.Tank.Scale.Hi95 - c.Tank.Scale.Mean; math.Abs(c.Tank.Scale.Mean-1) > 2*half || half > 0.06 {
		t.Errorf("tank: %+v of a right meter", c.Tank)
	}
	if hasFinding(right, "trip total") || hasFinding(right, "measured top-up") {
		t.Errorf("a right meter is blamed: %+v", right.Findings)
	}

	factors := map[string]float64{"port": 1.08, "centre": 0.93, "starboard": 1.08}
	wrong := replayFrames(t, frames, cfg, nil, func(f *frame.Frame) {
		scaleRate(f, func(source uint8) float64 { return factors[[]string{"port", "centre", "starboard"}[source-16]] })
	})
	burnt, metered := 0.0, 0.0
	for _, e := range wrong.FuelCheck.Engines {
		if e.Trip == nil || !e.Trip.Differs {
			t.Errorf("%s: a rate scaled by %g is not found: %+v", e.Engine, factors[e.Engine], e.Trip)
			continue
		}
		if got := e.Trip.Scale.Mean * factors[e.Engine]; math.Abs(got-1) > 0.01 {
			t.Errorf("%s: factor %.4f for a rate scaled by %g", e.Engine, e.Trip.Scale.Mean, factors[e.Engine])
		}
		if !hasFinding(wrong, "trip total of "+e.Engine) {
			t.Errorf("%s: nothing is said: %+v", e.Engine, wrong.Findings)
		}
		if e.ImbalancePct == nil || math.Abs(e.ImbalancePct.Mean-100*(factors[e.Engine]/1.03-1)) > 0.5 {
			t.Errorf("%s: imbalance %+v of rates scaled by %v", e.Engine, e.ImbalancePct, factors)
		}
		metered += *e.MeteredL
		burnt += *e.MeteredL / factors[e.Engine]
	}
	if got := wrong.FuelCheck.TopUp.Scale.Mean * metered / burnt; math.Abs(got-1) > 0.003 || !hasFinding(wrong, "measured top-up") {
		t.Errorf("top-up: %+v", wrong.FuelCheck.TopUp)
	}
	if !hasFinding(wrong, "burn unequally", "centre -9.") {
		t.Errorf("the imbalance is not told: %+v", wrong.Findings)
	}
}

// TestPropulsionOfASimulatedDay: slip and power of every step against the
// simulated boat, which reaches its rated speed at full load.
func TestPropulsionOfASimulatedDay(t *testing.T) {
	frames, truth := burnDay(t)
	text, err := configs.Demo("triple")
	if err != nil {
		t.Fatal(err)
	}
	cfg, err := configs.Parse(bytes.NewReader(text), "demo")
	if err != nil {
		t.Fatal(err)
	}
	price, reference := 1.5, 9000.0
	cfg.Fuel.PricePerL, cfg.Fuel.Currency, cfg.Mass.ReferenceKg = &price, "EUR", &reference
	r := replayFrames(t, frames, cfg, nil, nil)
	for i, s := range r.Propulsion.Steps {
		step := r.Steps[i]
		nearest, best := simulate.Step{}, math.Inf(1)
		for _, ts := range truth.Steps {
			if d := math.Abs(ts.RPM - step.RPM); d < best {
				nearest, best = ts, d
			}
		}
		if best > 0.02*step.RPM {
			continue // the way to and from the dock
		}
		for _, e := range s.Engines {
			// P = 1 - V/(pitch*n): 0.74 m, 1.75:1 (the demo boat's propellers).
			slip := 100 * (1 - nearest.SpeedKn*1852/3600/(0.74*nearest.RPM/60/1.75))
			if math.Abs(e.SlipPct.Mean-slip) > 1 {
				t.Errorf("%.0f rpm, %s: slip %.2f %%, in truth %.2f %%", step.RPM, e.Engine, e.SlipPct.Mean, slip)
			}
			if power := nearest.LoadPct / 100 * 220 * nearest.RPM / 3000; math.Abs(*e.PowerKW/power-1) > 0.03 {
				t.Errorf("%.0f rpm, %s: %.1f kW, in truth %.1f kW", step.RPM, e.Engine, *e.PowerKW, power)
			}
			if e.BoostKPa == nil || e.FuelLPH == nil {
				t.Errorf("%.0f rpm, %s: no boost or burn: %+v", step.RPM, e.Engine, e)
			}
		}
		// The simulated throttles stand a few rpm apart.
		if s.SyncRPM == nil || !(*s.SyncRPM > 0.5 && *s.SyncRPM < 60) {
			t.Errorf("%.0f rpm: spread %v", step.RPM, s.SyncRPM)
		}
		cost, carbon := r.PerNM.Steps[i].Cost, r.PerNM.Steps[i].CO2Kg
		if math.Abs(cost.Mean-1.5/step.EconomyNMPerL.Mean) > 1e-9 || math.Abs(carbon.Mean-2.67/step.EconomyNMPerL.Mean) > 1e-9 || cost.Lo95 > cost.Mean || cost.Hi95 < cost.Mean {
			t.Errorf("%.0f rpm: %+v, %+v a mile at %g nm/L", step.RPM, cost, carbon, step.EconomyNMPerL.Mean)
		}
	}
	for _, l := range r.Propulsion.Engines {
		if l.Match != "matched" {
			t.Errorf("%s: %s, %s", l.Engine, l.Match, l.Statement)
		}
		if !(l.LoadExponent.Mean > 2 && l.LoadExponent.Mean < 3) {
			t.Errorf("%s: exponent %+v", l.Engine, l.LoadExponent)
		}
	}
	if len(r.MassReference.Steps) != len(r.Steps) {
		t.Fatalf("%d of %d steps at the reference mass", len(r.MassReference.Steps), len(r.Steps))
	}
	for i, m := range r.MassReference.Steps {
		if m.SpeedKn != r.Steps[i].SpeedKn || !(m.SpeedAtReferenceKn.Mean > m.SpeedKn.Mean) || m.Law == "" {
			t.Errorf("step %d: %+v of %g kg", m.Step, m, m.MassKg)
		}
	}

	// Rated 3,400 rpm, the same boat is over-propped.
	rated := 3400.0
	cfg.Mass.ReferenceKg, cfg.Fuel.PricePerL = nil, nil
	for i := range cfg.Engines {
		cfg.Engines[i].RatedRPM = &rated
	}
	window := r.Windows[r.Steps[len(r.Steps)/2].Windows[0]-1]
	start, err := time.Parse(time.RFC3339Nano, window.Start)
	if err != nil {
		t.Fatal(err)
	}
	nan := math.NaN()
	over := replayFrames(t, frames, cfg, []calc.Reading{
		{Line: 2, Timed: true, Time: start.Add(5 * time.Second).UnixNano(), RPM: nan, Sound: 84, SeaState: 2},
		{Line: 3, RPM: 9000.0 / 60, Sound: 84, SeaState: nan},
	}, nil)
	if l := over.Propulsion.Engines[0]; l.Match != "over_propped" || !hasFinding(over, "port: over-propped", "3400 rated rpm") {
		t.Errorf("%+v; findings %+v", l, over.Findings)
	}
	if over.MassReference != nil || over.PerNM.Steps[0].Cost != nil {
		t.Error("reference mass or cost are shown without being asked for")
	}
	if n := over.Readings[0]; n.Window == nil || *n.Window != window.ID || n.Step == nil || *over.Steps[*n.Step-1].SoundDBA != 84 {
		t.Errorf("the reading at %s: %+v", window.Start, n)
	}
	if n := over.Readings[1]; n.Step != nil || !hasFinding(over, "line 3", "no step") {
		t.Errorf("a reading at 9000 rpm: %+v", n)
	}
}
