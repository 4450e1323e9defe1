package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/calc/scipy"
	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// fuelDay is a day for the fuel meter: one engine whose burn changes every few
// minutes, and what it is measured by.
type fuelDay struct {
	seconds  int
	factor   float64 // of the rate sent over the true one
	rounding float64 // of the trip total: 0.5 to the nearest litre, 1 cut off
	slosh    float64 // standard deviation of a level, part of the capacity
	tilt     float64 // change of level by pitch, part of the capacity a rad
	attitude bool
	fill     int // second at which 300 L are filled in
	silence  [2]int
	reset    int
}

const litre = 1e-3

// run feeds a day to a meter and returns the litres truly burnt.
func (d fuelDay) run(r *rand.Rand) (*fuelMeter, float64) {
	m := newFuelMeter(1.5)
	burnt, wander, tank, trip0 := 0.0, 0.0, 1.2, 0.0
	send := func(second float64, q pgn.Quantity, instance uint8, v float64) {
		m.add(&sample.Sample{Time: int64(second * 1e9), Quantity: q, Instance: instance, Value: v})
	}
	for s := 0; s < d.seconds; s++ {
		phase := s / 240 % 8
		lph := 5 + 9*float64(phase)
		knots := 3.0 * float64(phase)
		pitch := 0.08 * math.Sin(float64(phase))
		wander += -wander/30 + 0.002*r.NormFloat64()
		if s == d.fill && s > 0 {
			tank += 0.3
		}
		if s == d.reset && s > 0 {
			trip0 = burnt
		}
		silent := s >= d.silence[0] && s < d.silence[1]
		for half := range 2 {
			burnt += lph / 3600 / 2 * litre
			if !silent {
				send(float64(s)+float64(half)/2, pgn.FuelRate, 0, math.Round(lph*d.factor*(1+wander+0.01*r.NormFloat64())*10)/10*litre/3600)
			}
		}
		at := float64(s) + 0.7
		send(at, pgn.SpeedOverGround, 0, knots*knot)
		if d.attitude {
			send(at, pgn.Pitch, 0, pitch+0.01*r.NormFloat64())
			send(at, pgn.Roll, 0, 0.02*r.NormFloat64())
		}
		if !silent {
			send(at, pgn.TripFuel, 0, math.Floor((burnt-trip0)/litre+1-d.rounding)*litre)
		}
		if s%3 == 0 {
			send(at, pgn.FluidLevel, 0, (tank-burnt)/1.5+d.slosh*r.NormFloat64()+d.tilt*pitch)
			send(at, pgn.FluidCapacity, 0, 1.5)
			send(at, pgn.FluidLevel, 1<<4, r.Float64()) // fresh water does not count
		}
	}
	return m, burnt / litre
}

var none = FuelReference{TopUp: math.NaN(), Error: math.NaN(), Tank: math.NaN()}

// TestScaleOfTheRateIsFound: against simulated truth, over many days, with
// rates that read too high or too low.
// check closes the meter and holds its record against the references.
func check(m *fuelMeter, ref FuelReference, windows []Window) FuelCheck {
	m.close()
	r := m.record()
	return r.check(ref, windows)
}

func TestScaleOfTheRateIsFound(t *testing.T) {
	const days = 40
	var trip, tank, bias [2]float64
	for seed := range uint64(days) {
		r := rand.New(rand.NewPCG(seed, 1))
		factor := 0.9 + 0.2*r.Float64()
		m, _ := fuelDay{seconds: 5400, factor: factor, rounding: []float64{0.5, 1}[seed%2], slosh: 0.004, tilt: -0.25, attitude: true}.run(r)
		c := check(m, none, nil)
		for i, s := range []*FuelScale{&c.Trip, &c.Tank} {
			d := s.Scale.Mean*factor - 1
			bias[i] += d / days
			if math.Abs(d) <= s.Scale.HalfWidth()*factor {
				[]*[2]float64{&trip, &tank}[i][0]++
			}
		}
		if h := c.Trip.Scale.HalfWidth(); h > 0.01 {
			t.Errorf("trip total: interval of ±%.4f", h)
		}
		if h := c.Tank.Scale.HalfWidth(); h > 0.06 {
			t.Errorf("tank level: interval of ±%.4f", h)
		}
	}
	for i, in := range []float64{trip[0], tank[0]} {
		if in < 0.9*days {
			t.Errorf("%s: the true scale is inside the 95 %% interval on %.0f of %d days", []string{"trip", "tank"}[i], in, days)
		}
		within(t, "bias of the scale", bias[i], 0, []float64{0.0005, 0.004}[i])
	}
}

func TestResetsAndSilencesDoNotSpoilTheTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	m, _ := fuelDay{seconds: 7200, factor: 1.05, rounding: 0.5, reset: 3000, silence: [2]int{4000, 4100}, slosh: 0.002, attitude: true}.run(r)
	c := check(m, none, nil)
	if c.Engines[0].Resets != 1 {
		t.Errorf("%d resets, want 1", c.Engines[0].Resets)
	}
	within(t, "scale", c.Trip.Scale.Mean*1.05, 1, 0.003)
	within(t, "scale by the tank", c.Tank.Scale.Mean*1.05, 1, 0.02)
	if !(c.Unsure > 0) {
		t.Error("100 s of silence at full burn leave nothing unsure")
	}
}

func TestFillingBeginsANewSegment(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	m, _ := fuelDay{seconds: 9600, factor: 0.95, slosh: 0.002, attitude: true, fill: 3900}.run(r) // at rest
	c := check(m, none, nil)
	within(t, "scale by the tank", c.Tank.Scale.Mean*0.95, 1, 0.02)
	if m.tanks.segment == 0 {
		t.Error("300 L filled in were not seen")
	}
}

// Without an attitude sensor only levels at rest count, and a tilt of several
// per cent on the plane does no harm.
func TestLevelsAtRestWithoutAttitude(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	m, _ := fuelDay{seconds: 9600, factor: 1.1, slosh: 0.002, tilt: 0.3}.run(r)
	c := check(m, none, nil)
	within(t, "scale by the tank", c.Tank.Scale.Mean*1.1, 1, 0.02)
}

func TestTopUp(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	m, burnt := fuelDay{seconds: 5400, factor: 1.08, rounding: 0.5, slosh: 0.002, attitude: true}.run(r)
	c := check(m, FuelReference{TopUp: burnt * litre, Error: 0.3 * litre, Tank: 1.5}, nil)
	within(t, "scale by the top-up", c.TopUp.Scale.Mean*1.08, 1, 0.002)
	if !c.TopUp.Differs() || !c.Trip.Differs() {
		t.Error("a rate that reads 8 % too high is not told")
	}
	if c.Tank.Contradicts(&c.TopUp) {
		t.Error("tank and top-up agree and are said not to")
	}
	// Both marks and the pump, independently: sqrt(2*0.3² + (0.5 %)²).
	within(t, "interval", c.TopUp.Scale.HalfWidth()*c.Volume/litre, math.Sqrt(2*0.3*0.3+math.Pow(0.005*burnt, 2)), 1e-3)
	wrong := check(m, FuelReference{TopUp: 1.2 * burnt * litre, Error: 0.3 * litre}, nil)
	if !wrong.Tank.Contradicts(&wrong.TopUp) {
		t.Error("a top-up 20 % above the fall of the tank is not told")
	}
}

func TestMetersThatAgreeAreNotTold(t *testing.T) {
	told := 0
	for seed := range uint64(40) {
		m, burnt := fuelDay{seconds: 3600, factor: 1.002, rounding: 0.5, slosh: 0.004, tilt: -0.25, attitude: true}.run(rand.New(rand.NewPCG(seed, 7)))
		c := check(m, FuelReference{TopUp: burnt * litre, Error: litre}, nil)
		if c.Trip.Differs() || c.TopUp.Differs() {
			t.Errorf("day %d: meters within 0.2 %% are said to differ", seed)
		}
		if c.Tank.Differs() {
			told++
		}
	}
	if told > 5 { // 2 expected at 95 %
		t.Errorf("the tank is said to differ on %d of 40 days", told)
	}
}

func TestNothingHeardNothingChecked(t *testing.T) {
	c := check(newFuelMeter(math.NaN()), none, nil)
	if !math.IsNaN(c.Volume) || c.Trip.Known() || c.Tank.Known() || c.TopUp.Known() || c.Trip.Differs() {
		t.Errorf("%+v", c)
	}
	m := newFuelMeter(math.NaN())
	m.add(&sample.Sample{Quantity: pgn.FuelRate, Value: math.NaN(), State: pgn.NotAvailable})
	if c := check(m, none, nil); !math.IsNaN(c.Volume) {
		t.Error("a rate that is not available counts as burn")
	}
}

func TestFuelMeterIsBounded(t *testing.T) {
	m, _ := fuelDay{seconds: 16 * 3600, factor: 1, rounding: 0.5, slosh: 0.002, attitude: true}.run(rand.New(rand.NewPCG(8, 8)))
	if n := len(m.tanks.blocks); n > maxBlocks || m.tanks.merge < 2 {
		t.Errorf("%d blocks of %d min after 16 hours", n, m.tanks.merge)
	}
	if n := len(m.engine[0].trip.pairs.X); n > maxPairs {
		t.Errorf("%d pairs", n)
	}
	c := check(m, none, nil)
	within(t, "trip", c.Trip.Scale.Mean, 1, 0.002)
	within(t, "tank", c.Tank.Scale.Mean, 1, 0.01)
}

// The ratio of sums is the line through the origin with variance growing with
// x: SciPy's curve_fit with sigma = sqrt(x).
func TestScaleAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	var p pairs
	for range 30 {
		x := 1 + r.Float64()
		p.add(x, 0.97*x+0.05*math.Sqrt(x)*r.NormFloat64())
	}
	var want [2]float64
	scipy.Run(t, `
p, c = scipy.optimize.curve_fit(lambda u, k: k*u, np.array(x[0]), np.array(x[1]), p0=[1], sigma=np.sqrt(x[0]))
print(json.dumps([p[0], c[0][0]**0.5]))`, [][]float64{p.X, p.Y}, &want)
	got := p.scale().Scale
	within(t, "scale", got.Mean, want[0], 1e-6)
	within(t, "standard error", got.SE, want[1], 1e-6)
	if got.DOF != 29 {
		t.Errorf("%g degrees of freedom", got.DOF)
	}
}

// With one regressor and white residuals the fit is SciPy's linregress; its
// standard error may only be larger, by what chance autocorrelation adds.
func TestLevelFitAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 10))
	var rows [][]float64
	var u, y []float64
	for i := range 80 {
		u = append(u, float64(i)+r.Float64())
		y = append(y, 500-1.02*u[i]+r.NormFloat64())
		rows = append(rows, []float64{u[i]})
	}
	var want [2]float64
	scipy.Run(t, "r = scipy.stats.linregress(x[0], x[1])\nprint(json.dumps([r.slope, r.stderr]))", [][]float64{u, append([]float64(nil), y...)}, &want)
	centre(rows, y)
	got, ok := leastSquares(columns(rows), y, 1)
	if !ok {
		t.Fatal("no fit")
	}
	within(t, "slope", got[0].Mean, want[0], 1e-9)
	if got[0].SE < want[1]*(1-1e-9) || got[0].SE > 1.5*want[1] {
		t.Errorf("standard error %g, linregress %g", got[0].SE, want[1])
	}
}

func TestImbalanceAtEqualSpeed(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 11))
	var windows []Window
	for i := range 12 {
		w := Window{ID: i + 1, Engines: 7}
		rpm := 20 + 2*float64(i)
		for e := range 3 {
			n := rpm * (1 + 0.003*r.NormFloat64())
			w.RPM[e].Mean = n
			w.Fuel[e].Mean = 1e-9 * n * n * n * (1 + 0.002*r.NormFloat64())
		}
		w.Fuel[1].Mean *= 1.09 // 6 % above the mean of 1, 1.09, 1
		windows = append(windows, w)
	}
	odd := Window{ID: 13, Engines: 7, RPM: [MaxEngines]stat.Estimate{{Mean: 30}, {Mean: 40}, {Mean: 30}}, Fuel: windows[0].Fuel}
	bad := windows[0]
	bad.Reason = RPMHunting
	c := check(newFuelMeter(math.NaN()), none, append(windows, odd, bad))
	if c.Balanced != 12 {
		t.Errorf("%d windows, want the 12 at equal speed", c.Balanced)
	}
	within(t, "centre", c.Imbalance[1].Mean, 1.09/(3.09/3)-1, 0.003)
	within(t, "port", c.Imbalance[0].Mean, 1/(3.09/3)-1, 0.003)
	if !math.IsNaN(c.Imbalance[3].Mean) {
		t.Error("a fourth engine has a figure")
	}
}
