package results

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/sink/results/units"
)

// What is not known is null or an empty list, never zero and never missing.
func TestLiveOfNothing(t *testing.T) {
	nothing := calc.Moment{SOG: math.NaN(), STW: math.NaN(), Course: math.NaN(), Heading: math.NaN(), Pitch: math.NaN(), Roll: math.NaN(),
		Depth: math.NaN(), Fuel: math.NaN(), Power: math.NaN()}
	for e := range nothing.RPM {
		nothing.RPM[e], nothing.Rate[e], nothing.Load[e], nothing.Trim[e], nothing.Gear[e] = math.NaN(), math.NaN(), math.NaN(), math.NaN(), -1
	}
	var l Live
	l.Figures(&calc.Live{Now: nothing}, Edge{Engines: []string{"port"}})
	text, err := json.Marshal(&l)
	if err != nil {
		t.Fatal(err)
	}
	want := `{"version":"","time":"","clock_known":false,"trial":null,"recording":{"ok":false,"frames":0,"lost":0,"problems":[]},"run":null,` +
		`"now":{"sog_kn":null,"stw_kn":null,"cog_deg":null,"heading_deg":null,"fuel_lph":null,"economy_l_per_nm":null,"roll_deg":null,` +
		`"pitch_deg":null,"depth_m":null,"engines":[{"name":"port","rpm":null,"fuel_lph":null,"load_pct":null,"gear":null,"trim_pct":null}]},` +
		`"hold":{"state":"","steady_s":0,"need_s":0,"more_s":0,"rpm":null,"heading_deg":null,"why":""},"steps":[],"lamps":[],"archive":false}`
	if string(text) != want {
		t.Errorf("%s\nwant\n%s", text, want)
	}
}

// Where batteries drive the boat their figures are there, and what is not known of
// them is null.
func TestLiveOfABoatWithBatteries(t *testing.T) {
	certain := func(v float64) stat.Estimate { return stat.Estimate{Mean: v, SE: 0, DOF: 30} }
	s := calc.Live{Now: calc.Moment{SOG: 10, Power: 36000}, Steps: []calc.StepSoFar{{Step: calc.Step{RPM: 40, Speed: certain(10),
		Electric: calc.Electric{Source: calc.ByBattery, Power: certain(36000), PerMetre: certain(3600)}}, Reciprocal: math.NaN()}}}
	shown := func(charges ...float64) *Live {
		l := new(Live)
		l.Figures(&s, Edge{UTC: func(t int64) int64 { return t }})
		l.AddElectric(ElectricDrive, &s, []int{1, 2}, charges)
		return l
	}
	l := shown(0.8, 0.75)
	text, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	// 3600 J/m is 1 Wh/m.
	for _, want := range []string{`"drive":"electric"`,
		`"electric":{"power_kw":36,"wh_per_nm":1852,"charge_pct":75,"batteries":[{"instance":1,"charge_pct":80},{"instance":2,"charge_pct":75}]}`,
		`"electric":{"source":"battery","power_kw":{"mean":36,"lo95":36,"hi95":36},"wh_per_nm":{"mean":1852,"lo95":1852,"hi95":1852}}`,
	} {
		if !strings.Contains(string(text), want) {
			t.Errorf("no %s in %s", want, text)
		}
	}
	if e := shown(0.8, math.NaN()).Now.Electric; e.ChargePct != nil || e.Batteries[1].ChargePct != nil || *e.Batteries[0].ChargePct != 80 {
		t.Errorf("%+v", e)
	}
	s.Now.SOG = 0.1
	if e := shown(0.8, 0.8).Now.Electric; e.WhPerNM != nil || e.PowerKW == nil {
		t.Errorf("at rest %+v", e)
	}
	s.Now.SOG, s.Now.Power = 10, math.NaN()
	if e := shown(0.8, 0.8).Now.Electric; e.WhPerNM != nil || e.PowerKW != nil {
		t.Errorf("without power %+v", e)
	}
}

func TestLiveIsInDisplayUnits(t *testing.T) {
	est := func(v float64) stat.Estimate { return stat.Estimate{Mean: v, SE: v / 100, DOF: 30} }
	s := calc.Live{
		Now:   calc.Moment{SOG: 10, STW: math.NaN(), Course: -math.Pi / 2, Heading: math.Pi, Fuel: 1e-5, Pitch: 0.1, Roll: -0.1, Depth: 7},
		Known: true, Run: calc.Run{ID: 4, Kind: calc.HeldThrottle, Start: 2e9, End: 63e9},
		Hold: calc.Hold{Held: true, RPM: 50, Heading: -math.Pi / 4},
		Steps: []calc.StepSoFar{
			{Step: calc.Step{RPM: 40, Speed: est(10), Fuel: stat.Estimate{Mean: math.NaN()}, Passes: 1}, Directions: []float64{1}, Reciprocal: 1 + math.Pi},
			{Step: calc.Step{RPM: 50, Speed: est(12), Fuel: est(2e-5), Passes: 2, Corrected: true}, Directions: []float64{1, 4}, Reciprocal: math.NaN()},
		},
	}
	s.Now.RPM[0], s.Now.Gear[0], s.Now.Load[0] = 50, 2, 0.5
	var l Live
	l.Figures(&s, Edge{UTC: func(t int64) int64 { return t }, Engines: []string{"engine"}})
	near := func(what string, got *float64, want float64) {
		t.Helper()
		if got == nil || math.Abs(*got-want) > 1e-9 {
			t.Errorf("%s: %v, want %g", what, got, want)
		}
	}
	near("speed", l.Now.SOGKn, 10/units.MetresPerNauticalMile*3600)
	near("course", l.Now.COGDeg, 270)
	near("heading", l.Now.HeadingDeg, 180)
	near("fuel", l.Now.FuelLPH, 36)
	// 10 m/s are 36 km/h, and 36 L/h then 1 L/km.
	near("economy", l.Now.EconomyLPerNM, 1.852)
	near("pitch", l.Now.PitchDeg, 18/math.Pi)
	near("rpm", l.Now.Engines[0].RPM, 3000)
	near("load", l.Now.Engines[0].LoadPct, 50)
	near("held rpm", l.Hold.RPM, 3000)
	near("held heading", l.Hold.HeadingDeg, 315)
	near("reciprocal", l.Steps[0].ReciprocalDeg, 180/math.Pi+180)
	if g := l.Now.Engines[0].Gear; g == nil || *g != "reverse" {
		t.Errorf("gear %v", g)
	}
	if l.Now.STWKn != nil || *l.Run != (Underway{ID: 4, Kind: "held_throttle", Start: "1970-01-01T00:00:02.000Z", Seconds: 61}) {
		t.Errorf("%+v, %+v", l.Now, l.Run)
	}
	if a, b := l.Steps[0], l.Steps[1]; !a.NeedsReciprocal || a.FuelLPH != nil || a.RPM != 2400 || b.NeedsReciprocal || b.ReciprocalDeg != nil ||
		len(b.HeadingsDeg) != 2 || !b.CurrentCorrected || !(b.FuelLPH.Lo95 < 72 && 72 < b.FuelLPH.Hi95) {
		t.Errorf("%+v %+v", a, b)
	}
	if text, err := json.Marshal(&l); err != nil || strings.Contains(string(text), "00000000") {
		t.Errorf("%s, %v", text, err)
	}
	// At rest burn a mile says nothing.
	s.Now.SOG = 0.1
	l = Live{}
	if l.Figures(&s, Edge{UTC: func(t int64) int64 { return t }}); l.Now.EconomyLPerNM != nil {
		t.Errorf("%v", *l.Now.EconomyLPerNM)
	}
}
