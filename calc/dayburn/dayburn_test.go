package dayburn

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// day feeds tanks with levels: at rest, under way with slosh, at rest.
type day struct {
	w    Watch
	now  int64
	rand *rand.Rand
}

func (d *day) part(seconds int, speed float64, slosh float64, levels ...float64) {
	for range seconds {
		d.now += second
		d.w.Add(&sample.Sample{Time: d.now, Quantity: pgn.SpeedOverGround, Value: speed})
		for tank, level := range levels {
			d.w.Add(&sample.Sample{Time: d.now, Quantity: pgn.FluidLevel, Instance: uint8(tank), Value: level + slosh*d.rand.NormFloat64()})
		}
	}
}

func (d *day) capacity(tank uint8, v float64) {
	d.w.Add(&sample.Sample{Time: d.now, Quantity: pgn.FluidCapacity, Instance: tank, Value: v})
}

func newDay() *day { return &day{rand: rand.New(rand.NewPCG(5, 6))} }

func TestFallOfTwoTanks(t *testing.T) {
	d := newDay()
	d.capacity(0, 0.8)
	d.capacity(1, 0.7)
	d.part(300, 0, 0.004, 0.9, 0.8)
	d.part(3600, 10, 0.05, 0.8, 0.75)
	d.part(300, 0, 0.004, 0.7, 0.7)
	e := d.w.Evidence()
	fall, why := e.Fall(math.NaN())
	lo, hi := fall.Interval()
	if want := 0.2*0.8 + 0.1*0.7; why != "" || lo > want || hi < want || hi-lo > 0.08 {
		t.Errorf("%+v %s", fall, why)
	}
	if math.Abs(e.Distance-36000) > 30 || math.Abs(e.Moving-3600) > 2 {
		t.Errorf("%g m in %g s", e.Distance, e.Moving)
	}
	if e.Tanks[1].Latest > 0.75 || e.Tanks[1].Latest < 0.65 {
		t.Errorf("%+v", e.Tanks[1])
	}
}

func TestWhyThereIsNoFall(t *testing.T) {
	for why, make := range map[string]func(d *day){
		"no level":                           func(d *day) { d.part(900, 0, 0) },
		"capacity of a tank is not known":    func(d *day) { d.part(900, 0, 0, 0.5) },
		"was filled":                         func(d *day) { d.capacity(0, 1); d.part(300, 0, 0, 0.5); d.part(300, 5, 0, 0.5); d.part(300, 0, 0, 0.9) },
		"at rest both before and after":      func(d *day) { d.capacity(0, 1); d.part(300, 0, 0, 0.5); d.part(300, 5, 0, 0.4) },
		"no level of a fuel tank was heard ": func(d *day) { d.capacity(0, 1); d.part(900, 8, 0.1, 0.5) },
	} {
		d := newDay()
		make(d)
		if fall, got := d.w.Evidence().Fall(math.NaN()); !strings.Contains(got, why) || !math.IsNaN(fall.Mean) {
			t.Errorf("%q: %q %+v", why, got, fall)
		}
	}
	// A single tank may have its capacity configured.
	d := newDay()
	d.part(300, 0, 0, 0.5)
	d.part(300, 5, 0, 0.45)
	d.part(300, 0, 0, 0.4)
	if fall, why := d.w.Evidence().Fall(2); why != "" || math.Abs(fall.Mean-0.2) > 1e-6 {
		t.Errorf("%+v %s", fall, why)
	}
}

// A look at the day in its middle changes nothing.
func TestEvidenceInBetween(t *testing.T) {
	a, b := newDay(), newDay()
	for _, d := range []*day{a, b} {
		d.capacity(0, 1)
		d.part(200, 0, 0.004, 0.9)
		if d == b {
			d.w.Evidence()
		}
		d.part(600, 6, 0.03, 0.8)
		d.part(200, 0, 0.004, 0.7)
	}
	if *a.w.Evidence() != *b.w.Evidence() {
		t.Errorf("%+v\n%+v", a.w.Evidence(), b.w.Evidence())
	}
}
