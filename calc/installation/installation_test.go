package installation

import (
	"bytes"
	"encoding/gob"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"trialday.example/logd/calc/stat"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// boat makes a day second by second; every value comes ten times in it.
type boat struct {
	w    *Watch
	now  int64
	rand *rand.Rand

	speed, course, turning, roll, pitch, rudder float64
	revs                                        [2]float64
	gear                                        [2]int8
}

func newBoat() *boat {
	return &boat{w: New(true, 12), rand: rand.New(rand.NewPCG(1, 2)), gear: [2]int8{neutral, neutral}}
}

func (b *boat) give(at int64, q pgn.Quantity, instance uint8, v float64) {
	b.w.Add(&sample.Sample{Time: at, Quantity: q, Instance: instance, Value: v})
}

// run goes on for some seconds, with noise on everything.
func (b *boat) run(seconds int) {
	for range seconds * 10 {
		b.now += second / 10
		n := func(sd float64) float64 { return sd * b.rand.NormFloat64() }
		b.course += b.turning / 10
		b.give(b.now, pgn.CourseOverGround, 0, b.course)
		b.give(b.now, pgn.SpeedOverGround, 0, math.Abs(b.speed+n(0.03)))
		b.give(b.now, pgn.RateOfTurn, 0, b.turning+n(0.002))
		b.give(b.now, pgn.Roll, 0, b.roll+n(0.01))
		b.give(b.now, pgn.Pitch, 0, b.pitch+n(0.005))
		b.give(b.now, pgn.RudderAngle, 0, b.rudder+n(0.002))
		for e := range b.revs {
			b.give(b.now, pgn.EngineSpeed, uint8(e), b.revs[e]+n(0.05))
			b.give(b.now, pgn.Gear, uint8(e), float64(b.gear[e]))
		}
	}
}

func (b *boat) found(g Given) []Kind {
	var out []Kind
	for _, f := range b.w.Evidence().Report(g) {
		out = append(out, f.Kind)
	}
	return out
}

var nothing = Given{Offset: unknown, Lag: unknown}

var unknown = stat.Estimate{Mean: math.NaN(), SE: math.NaN(), DOF: 1}

func (b *boat) want(t *testing.T, want ...Kind) {
	t.Helper()
	if got := b.found(nothing); !slices.Equal(got, want) {
		t.Errorf("found %v, want %v", got, want)
	}
}

func TestZeroAtRest(t *testing.T) {
	b := newBoat()
	b.roll, b.pitch = 1*degree, 1.5*degree // a list and a trim that boats have
	b.run(200)
	b.want(t)
	b = newBoat()
	b.roll, b.pitch = -4*degree, 3*degree
	b.run(40) // too short to say
	b.want(t)
	b.run(200)
	b.want(t, RollZero, PitchZero)
	f := b.w.Evidence().Findings[0]
	if lo, hi := f.Value.Interval(); lo > -4*degree || hi < -4*degree || f.Probability < enough {
		t.Errorf("%+v", f)
	}
	b = newBoat()
	b.roll, b.gear = -4*degree, [2]int8{forward, forward}
	b.run(200) // a boat pulling at its lines is not at rest
	b.want(t)
}

func TestSignOfRollAndPitch(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		b := newBoat()
		b.run(120)
		b.speed, b.gear, b.revs = 14, [2]int8{forward, forward}, [2]float64{40, 40}
		for range 4 {
			for _, turn := range []float64{0.15, 0, -0.2, 0} {
				b.turning, b.pitch = turn, sign*4*degree
				b.roll = sign * 0.7 * turn * b.speed / gravity
				b.run(15)
			}
		}
		if sign > 0 {
			b.want(t)
		} else {
			b.want(t, RollSign, PitchSign)
		}
	}
}

// A hull that is not said to plane may lean outward.
func TestSignIsNotJudgedOfOtherHulls(t *testing.T) {
	b := newBoat()
	b.w = New(false, 12)
	b.speed, b.turning, b.roll = 14, 0.15, -8*degree
	for range 10 {
		b.run(10)
		b.turning, b.roll = -b.turning, -b.roll
	}
	b.want(t)
}

func TestSidesOfEngines(t *testing.T) {
	for _, way := range []float64{1, -1, 0} {
		b := newBoat()
		b.revs = [2]float64{11, 11}
		b.speed = 0.5
		for range 5 {
			b.gear, b.turning = [2]int8{forward, neutral}, way*0.05 // port ahead: bow to starboard
			b.run(5)
			b.gear, b.turning = [2]int8{neutral, neutral}, 0
			b.run(5)
			b.gear, b.turning = [2]int8{neutral, forward}, -way*0.05
			b.run(5)
		}
		want := map[float64]Verdict{1: Right, -1: Wrong, 0: Open}[way]
		if got := b.w.Evidence().Sides; got != want {
			t.Errorf("way %g: verdict %d, want %d", way, got, want)
		}
	}
}

// On one engine the helm holds the course against it.
func TestSidesByTheRudder(t *testing.T) {
	for _, way := range []float64{1, -1} {
		b := newBoat()
		b.speed, b.revs, b.gear = 5, [2]float64{25, 25}, [2]int8{forward, forward}
		b.rudder = 1 * degree // its zero is off
		b.run(60)
		for range 4 {
			b.gear, b.rudder = [2]int8{forward, neutral}, 1*degree-way*6*degree // port drives: helm to port
			b.run(20)
			b.gear, b.rudder = [2]int8{neutral, forward}, 1*degree+way*6*degree
			b.run(20)
		}
		want := map[float64]Verdict{1: Right, -1: Wrong}[way]
		if got := b.w.Evidence().Sides; got != want {
			t.Errorf("way %g: verdict %d, want %d", way, got, want)
		}
	}
}

func TestCompassIsExplained(t *testing.T) {
	se := 0.3 * degree
	for _, c := range []struct {
		offset, variation float64 // degrees
		want              []Kind
	}{
		{1.5, 6, nil}, {-1.9, 6, nil}, {6.2, 6, []Kind{MagneticAsTrue}}, {-6.2, 6, []Kind{VariationTwice}},
		{-12, -12, []Kind{MagneticAsTrue}}, {11, -12, []Kind{VariationTwice}}, {5, -18, []Kind{HeadingOffset}},
		{8, 0.5, []Kind{HeadingOffset}}, {15, 4, []Kind{HeadingOffset}}, {6, math.NaN(), []Kind{HeadingOffset}},
	} {
		e := Evidence{Variation: c.variation * degree}
		var got []Kind
		for _, f := range e.Report(Given{Offset: stat.Estimate{Mean: c.offset * degree, SE: se, DOF: 20}, Lag: unknown}) {
			got = append(got, f.Kind)
			if !(f.Probability > leastExplained && f.Probability <= 1) {
				t.Errorf("%+v: probability %g", c, f.Probability)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

func TestLagOfTheReceiver(t *testing.T) {
	var e Evidence
	for lag, want := range map[float64]int{0.6: 0, 1.05: 0, 2: 1} {
		if got := len(e.Report(Given{Offset: unknown, Lag: stat.Estimate{Mean: lag, SE: 0.05, DOF: 100}})); got != want {
			t.Errorf("lag %g: %d findings", lag, got)
		}
	}
}

// A value that stands still is found where the boat must have moved it, and only
// there.
func TestStuckValues(t *testing.T) {
	b := newBoat()
	b.gear = [2]int8{forward, forward}
	still := func(seconds int, q pgn.Quantity, v float64, change func(i int)) {
		for i := range seconds {
			change(i)
			b.give(b.now, q, 0, v)
			b.run(1)
		}
	}
	// Depth over the same bottom at anchor; a level that repeats when nothing happens.
	still(300, pgn.Depth, 4.25, func(int) {})
	still(300, pgn.FuelRate, 2e-6, func(int) { b.revs[0] = 11 })
	b.want(t)
	still(120, pgn.Depth, 7.5, func(int) { b.speed = 10 })
	still(120, pgn.FuelRate, 5e-6, func(i int) { b.revs[0] = 15 + float64(i)/5 })
	still(120, pgn.EngineLoad, 0, func(i int) { b.revs[0] = 15 + float64(i)/5 }) // stopped engines send zero
	b.want(t, Stuck, Stuck)
	for i, f := range b.w.Evidence().Findings {
		if want := []pgn.Quantity{pgn.Depth, pgn.FuelRate}[i]; f.Quantity != want || f.N != 1 || f.Seconds < 110 || f.Seconds > 125 {
			t.Errorf("%+v", f)
		}
	}
}

// A receiver may say zero at rest while the engines are warmed up; in gear it
// may not.
func TestStuckSpeedIsToldFromRest(t *testing.T) {
	for gear, want := range map[int8][]Kind{neutral: nil, forward: {Stuck}} {
		b := newBoat()
		for i := range 1200 {
			b.now += second / 10
			b.give(b.now, pgn.SpeedOverGround, 0, 0)
			b.give(b.now, pgn.EngineSpeed, 0, 11+float64(i)/50)
			b.give(b.now, pgn.Gear, 0, float64(gear))
		}
		b.want(t, want...)
	}
}

func TestSpikes(t *testing.T) {
	b := newBoat()
	b.speed = 8
	jump := func(q pgn.Quantity, v float64) { b.now += second / 20; b.give(b.now, q, 0, v); b.run(1) }
	for range 4 {
		jump(pgn.SpeedOverGround, 20)
	}
	b.want(t) // a few are not worth a word
	for range 4 {
		jump(pgn.SpeedOverGround, 20)
	}
	b.want(t, Spikes)
	// A real change stays; a heading through north is none.
	b = newBoat()
	for i := range 400 {
		b.give(int64(i)*second/10, pgn.Heading, 0, math.Mod(2*math.Pi+0.1*math.Sin(float64(i)), 2*math.Pi))
		b.give(int64(i)*second/10, pgn.EngineSpeed, 0, 10+20*float64(i/50%2))
	}
	b.want(t)
}

func TestDuplicateAddresses(t *testing.T) {
	var c Claims
	// A contention that is settled: the loser moves.
	c.Add(1*second, 0, 32, 100)
	c.Add(50*second, 0, 32, 7)
	c.Add(50*second+1e6, 0, 120, 100)
	for at := int64(60); at < 600; at += 60 {
		c.Add(at*second, 0, 32, 7)
		c.Add(at*second+5e6, 0, 120, 100)
	}
	// One device takes the place of another that was unplugged.
	c.Add(700*second, 0, 32, 9)
	c.Add(760*second, 0, 32, 9)
	if f := c.findings(); len(f) != 0 {
		t.Errorf("%+v", f)
	}
	// The same address on another bus is another address.
	c.Add(770*second, 1, 32, 11)
	c.Add(830*second, 1, 32, 11)
	if f := c.findings(); len(f) != 0 {
		t.Errorf("%+v", f)
	}
	for at := int64(900); at < 1200; at += 60 {
		c.Add(at*second, 0, 40, 1)
		c.Add(at*second+5e6, 0, 40, 2)
	}
	f := c.findings()
	if len(f) != 1 || f[0].Kind != DuplicateAddress || f[0].Address != 40 || f[0].N < leastRounds {
		t.Errorf("%+v", f)
	}
	for name := range uint64(1 << 13) {
		c.Add(2000*second, uint8(name>>5), uint8(name), name)
	}
	if len(c.holders) > maxClaims {
		t.Errorf("%d addresses are kept", len(c.holders))
	}
}

// Two senders behind one address are told by values that come in turn; a value that
// is only restless is not.
func TestTwoSendersOfOneAddress(t *testing.T) {
	noise := rand.New(rand.NewPCG(3, 4))
	for name, c := range map[string]struct {
		value func(i int) float64
		found bool
	}{
		"in turn":         {func(i int) float64 { return 0.2*float64(i%2) + 0.0001*float64(i) + 0.01*noise.NormFloat64() }, true},
		"through north":   {func(i int) float64 { return math.Mod(2*math.Pi-0.1+0.2*float64(i%2), 2*math.Pi) }, true},
		"too close":       {func(i int) float64 { return 0.04 * float64(i%2) }, false},
		"noise":           {func(int) float64 { return 0.2 * noise.NormFloat64() }, false},
		"swell":           {func(i int) float64 { return 0.3 * math.Sin(float64(i)/7) }, false},
		"near the sample": {func(i int) float64 { return 0.1 * math.Sin(0.96*math.Pi*float64(i)) }, false},
		"in turn, briefly": {func(i int) float64 {
			if i%1000 < 100 {
				return 0.2 * float64(i%2)
			}
			return 0
		}, false},
	} {
		b := newBoat()
		for i := range 3000 {
			b.now += second / 10
			b.give(b.now, pgn.Heading, 0, c.value(i))
		}
		got := slices.Contains(b.found(nothing), DuplicateAddress)
		if got != c.found {
			t.Errorf("%s: found %v", name, got)
		}
	}
}

func TestBusLoadAndErrors(t *testing.T) {
	l := Load{BitRate: 250_000}
	for s := range int64(60) {
		for i := range int64(1000) {
			bits := 100 // 40 %
			if s >= 20 && s < 30 {
				bits = 220 // 88 %
			}
			l.Add(s*second+i*second/1000, 1, bits, s >= 40 && i%200 == 0)
		}
	}
	f := l.findings()
	if len(f) != 2 || f[0].Kind != BusLoad || f[0].Seconds != 10 || math.Abs(f[0].Value.Mean-0.88) > 1e-9 || f[0].Bus != 1 {
		t.Fatalf("%+v", f)
	}
	if f[1].Kind != BusErrors || f[1].N != 100 {
		t.Errorf("%+v", f[1])
	}
	l.Add(0, 200, 100, true) // no such bus
}

// Evidence can be taken at any time, changes nothing, and outlives the day.
func TestEvidenceIsKept(t *testing.T) {
	b := newBoat()
	b.roll = -4 * degree
	b.run(200)
	e := b.w.Evidence()
	var kept bytes.Buffer
	if err := gob.NewEncoder(&kept).Encode(e); err != nil {
		t.Fatal(err)
	}
	var back Evidence
	if err := gob.NewDecoder(&kept).Decode(&back); err != nil {
		t.Fatal(err)
	}
	if len(back.Findings) != 1 || back.Findings[0].Kind != RollZero || !back.Heard[pgn.Roll] || back.Heard[pgn.Depth] {
		t.Errorf("%+v", back)
	}
	other := newBoat()
	other.roll = -4 * degree
	other.run(100)
	other.w.Evidence()
	other.run(100)
	if a, b := e.Findings[0].Value, other.w.Evidence().Findings[0].Value; a != b {
		t.Errorf("%+v with a look in between, %+v without", b, a)
	}
	if e.Findings[0].Value != b.w.Evidence().Findings[0].Value {
		t.Error("a second look differs")
	}
}

// No sample, however odd, makes it panic.
func FuzzWatch(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12})
	f.Fuzz(func(t *testing.T, data []byte) {
		w := New(true, math.NaN())
		now := int64(0)
		for len(data) >= 5 {
			now += int64(data[0]) << (data[1] % 32)
			v := (float64(data[3]) - 128) * math.Pow(10, float64(data[4]%12)-6)
			w.Add(&sample.Sample{Time: min(now, 1e13), Quantity: pgn.Quantity(data[2]), Instance: data[1], Value: v, Source: uint16(data[4] & 1), State: pgn.State(data[0] & 1)})
			w.Claims.Add(now, data[0], data[1], uint64(data[2]&3))
			w.Load.Add(now, data[3], int(data[4]), data[0]&2 != 0)
			data = data[5:]
		}
		for _, x := range w.Evidence().Report(nothing) {
			if !(x.Probability >= 0 && x.Probability <= 1) {
				t.Errorf("%+v", x)
			}
		}
	})
}
