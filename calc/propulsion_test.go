package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/calc/scipy"
	"trialday.example/logd/calc/stat"
)

// TestSlipWorkedExample: 21 inch of pitch at 2:1 and 4400 rpm move 43.8 mph
// without slip; at 37.2 mph slip is 15 %. The rule of thumb of the trade,
// mph = rpm*pitch/(gear*1056), with 1056 inches a minute to the mph (common
// practice; the number is 63360/60).
func TestSlipWorkedExample(t *testing.T) {
	const mph = 1609.344 / 3600
	without := 4400 * 21 / (2 * 1056.0)
	s := Slip(stat.Estimate{Mean: 0.85 * without * mph, SE: 0.01 * mph, DOF: 9}, 4400.0/60/2, 21*0.0254)
	within(t, "slip", s.Mean, 0.15, 1e-9)
	within(t, "its error", s.SE, 0.01/without, 1e-9)
	for _, way := range [][2]float64{{0, 0.5}, {math.NaN(), 0.5}, {30, math.NaN()}} {
		if !math.IsNaN(Slip(stat.Estimate{Mean: 10}, way[0], way[1]).Mean) {
			t.Errorf("slip of a propeller that is not known: %v", way)
		}
	}
}

func TestExponentAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var n, p []float64
	for k := range 14 {
		n = append(n, 12+3*float64(k))
		p = append(p, 3*math.Pow(n[k], 2.6)*math.Exp(0.03*r.NormFloat64()))
	}
	var want [3]float64
	scipy.Run(t, `r = scipy.stats.linregress(np.log(x[0]), np.log(x[1]))
print(json.dumps([r.slope, r.stderr, scipy.stats.t.ppf(0.975, len(x[0])-2)]))`, [][]float64{n, p}, &want)
	got := Exponent(n, p)
	within(t, "exponent", got.Mean, want[0], 1e-9)
	within(t, "standard error", got.SE, want[1], 1e-9)
	within(t, "half of the interval", got.HalfWidth(), want[1]*want[2], 1e-6)
	// What is not there is left out; too little gives nothing.
	gap := Exponent(append(n, 60), append(p, math.NaN()))
	if gap != got {
		t.Errorf("a step without power changes the exponent to %+v", gap)
	}
	if !math.IsNaN(Exponent(n[:3], p[:3]).Mean) || !math.IsNaN(Exponent([]float64{9, 9, 9, 9}, p[:4]).Mean) {
		t.Error("three points, or one speed, give an exponent")
	}
}

func TestBrakePower(t *testing.T) {
	s := Shaft{Power: 220e3, Speed: 50}
	within(t, "at rated speed", BrakePower(1, 50, s), 220e3, 1e-6)
	within(t, "half torque at half speed", BrakePower(0.5, 25, s), 55e3, 1e-6)
}

// propelled makes steps of two engines by the propeller law, up to a top speed
// and load.
func propelled(top, load float64) []Step {
	var steps []Step
	for k := range 8 {
		n := top * (0.3 + 0.1*float64(k))
		s := steady(n, n/4, 1e-9*n*n*n, math.NaN(), 3)
		for e := range 2 {
			s.Drive.RPM[e] = n
			s.Drive.Load[e] = load * n * n / top / top
			s.ByEngine[e] = stat.Estimate{Mean: 1e-9 * n * n * n}
		}
		steps = append(steps, s)
	}
	return number(steps)
}

// TestMatchOfPropeller has the usual meaning: full load short of rated speed is
// over-propped, rated speed short of full load under-propped (common practice,
// no source).
func TestMatchOfPropeller(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		top, load, rated float64
		want             Match
	}{
		{50, 1, 50, Matched},
		{49.2, 0.97, 50, Matched},
		{50.9, 1, 50, Matched},
		{46, 1, 50, OverPropped},
		{50, 0.8, 50, UnderPropped},
		{52, 1, 50, UnderPropped},
		{40, 0.6, 50, PartThrottle},
		{40, nan, 50, LoadNotHeard},
		{50, nan, 50, MatchUnknown},
		{50, 1, nan, MatchUnknown},
	} {
		p := Propel(propelled(c.top, c.load), []Shaft{{Power: 2e5, Speed: c.rated, Gear: 2, Pitch: 0.7}})
		l := p.Engines[0]
		if l.Match != c.want {
			t.Errorf("%g of %g at load %g: %s, want %s", c.top, c.rated, c.load, l.Match, c.want)
		}
		if !math.IsNaN(c.rated) {
			within(t, "shortfall", l.Shortfall, 1-c.top/c.rated, 1e-9)
		}
		if l.Top != 8 {
			t.Errorf("top step %d", l.Top)
		}
		if p.Engines[1].Match != MatchUnknown {
			t.Error("an engine without a configuration is judged")
		}
	}
}

func TestPropellerLawIsMet(t *testing.T) {
	p := Propel(propelled(50, 1), []Shaft{{Power: 2e5, Speed: 50, Gear: 2, Pitch: 0.7}})
	within(t, "load exponent", p.Engines[0].LoadExponent.Mean, 3, 1e-9)
	within(t, "fuel exponent", p.Engines[0].FuelExponent.Mean, 3, 1e-9)
	for _, s := range p.Steps {
		d := s.Engines[0]
		within(t, "part of top power", d.Part, d.Law, 1e-9)
		within(t, "power", d.Power, 2e5*d.Law, 1e-3)
		within(t, "slip", d.Slip.Mean, 1-(0.25/(0.7/2)), 1e-9)
		if other := s.Engines[2]; !math.IsNaN(other.Power) || !math.IsNaN(other.Slip.Mean) {
			t.Error("an engine that is not there has power or slip")
		}
	}
}

func TestEnginesOffLineHaveNoPartInLoading(t *testing.T) {
	steps := propelled(50, 1)
	odd := steps[7]
	odd.Engines, odd.RPM, odd.ID = 1, 55, 9
	odd.Drive.RPM[0] = 55
	odd.Corrected = false
	p := Propel(append(steps, odd), []Shaft{{Power: 2e5, Speed: 50, Gear: 2, Pitch: 0.7}})
	if p.Engines[0].Top != 8 {
		t.Errorf("top step %d is one on a single engine", p.Engines[0].Top)
	}
	if d := p.Steps[8].Engines[0]; !math.IsNaN(d.Slip.Mean) || math.IsNaN(d.Power) {
		t.Errorf("a step not corrected for current has slip, or no power: %+v", d)
	}
}

func TestSpreadOfEngineSpeeds(t *testing.T) {
	var ticks []tick
	for i := range 10 {
		k := tick{}
		for c := range k.scalar {
			k.scalar[c] = math.NaN()
		}
		k.scalar[chRPM], k.scalar[chRPM+1], k.scalar[chRPM+2] = 40, 40.1+0.01*float64(i%2), 20
		k.scalar[chBoost+1] = 1.5e5
		ticks = append(ticks, k)
	}
	d := newDrive(ticks, 3)
	within(t, "spread of two", d.Spread, 0.105, 1e-9)
	within(t, "boost", d.Boost[1], 1.5e5, 1e-6)
	if !math.IsNaN(d.Boost[0]) || !math.IsNaN(newDrive(ticks, 8|1).Spread) {
		t.Error("what is not heard has a figure")
	}
}
