package energy

import (
	"math"
	"testing"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const second = int64(1e9)

type feed struct {
	Watch
	power []sample.Sample
}

func (f *feed) say(at int64, instance uint8, volts, amps float64) {
	for _, s := range []sample.Sample{{Quantity: pgn.BatteryVoltage, Value: volts}, {Quantity: pgn.BatteryCurrent, Value: amps}} {
		s.Time, s.Instance = at, instance
		if math.IsNaN(s.Value) {
			s.State = pgn.NotAvailable
		}
		if p := f.Add(&s); p != nil {
			f.power = append(f.power, *p)
		}
	}
}

func (f *feed) charge(at int64, instance uint8, ratio float64) {
	f.Add(&sample.Sample{Time: at, Quantity: pgn.StateOfCharge, Instance: instance, Value: ratio})
}

// By hand: 100 V and 60 A for 100 s give 600 kJ; then it is charged with 20 A for
// 50 s, 100 kJ, the second in which the power turned counted as half of each.
func TestEnergyByHand(t *testing.T) {
	f := feed{Watch: New([]int{3}, -1)}
	f.charge(0, 3, 0.9)
	for i := range int64(101) {
		f.say(i*second, 3, 100, -60)
		f.say(i*second, 0, 12.5, -5) // lights
	}
	for i := range int64(50) {
		f.say((101+i)*second, 3, 100, 20)
	}
	f.charge(150*second, 3, 0.8)
	list := f.Evidence()
	if len(list) != 2 {
		t.Fatalf("%+v", list)
	}
	b := list[0]
	if b.Instance != 3 || !b.Drives || b.Volts != 100 || b.Counted != 150 {
		t.Errorf("%+v", b)
	}
	if math.Abs(b.Out-(600e3+2e3)) > 1 || math.Abs(b.In-98e3) > 1 {
		t.Errorf("%.0f J out and %.0f J in", b.Out, b.In)
	}
	// A tenth of it was (602 - 98) kJ.
	if c := b.Capacity(); math.Abs(c.Mean-5040e3) > 1 || !(c.SE > 0) {
		t.Errorf("capacity %+v", c)
	}
	house := list[1]
	if house.Drives || house.Out != 0 || house.Volts != 12.5 || house.Counted != 0 {
		t.Errorf("%+v", house)
	}
	if n := len(f.power); n != 151 || f.power[0].Value != 6000 || f.power[n-1].Value != -2000 || f.power[0].Quantity != pgn.BatteryPower {
		t.Errorf("%d powers", n)
	}
}

// Over a silence nothing is counted, a current without a voltage is no power, and
// the sign can be told.
func TestGapsAndSign(t *testing.T) {
	f := feed{Watch: New([]int{1}, 1)}
	f.say(0, 1, math.NaN(), 50)
	f.say(second, 1, 100, 50)
	f.say(2*second, 1, 100, math.NaN())
	f.say(20*second, 1, 100, 50)
	f.say(21*second, 1, 100, 50)
	b := f.Evidence()[0]
	if b.Counted != 1 || b.Out != 5000 || len(f.power) != 3 {
		t.Errorf("%+v, %d powers", b, len(f.power))
	}
	if b.Voltages.Missing() != "" || b.Currents != (Heard{4, 1}) || b.Charges.Missing() != "not heard" || !math.IsNaN(b.First) {
		t.Errorf("%+v", b)
	}
	if !math.IsNaN(b.Capacity().Mean) {
		t.Errorf("capacity %+v", b.Capacity())
	}
	never, gone := f.Silent([]int{1, 2}, 10*second)
	if len(never) != 1 || never[0] != 2 || len(gone) != 0 {
		t.Errorf("%v %v", never, gone)
	}
	if _, gone := f.Silent([]int{1}, 30*second); len(gone) != 1 {
		t.Error("its silence was not seen")
	}
}

// The three ways of having no value are three.
func TestWhyThereIsNone(t *testing.T) {
	for _, c := range []struct {
		state pgn.State
		want  string
	}{{pgn.Valid, ""}, {pgn.NotAvailable, "not available"}, {pgn.OutOfRange, "out of range"}} {
		w := New([]int{1}, -1)
		w.Add(&sample.Sample{Quantity: pgn.BatteryVoltage, Instance: 1, Value: 380, State: c.state})
		if b := w.Evidence()[0]; b.Voltages.Missing() != c.want || math.IsNaN(b.Volts) != (c.want != "") {
			t.Errorf("%v: %q, %v V", c.state, b.Voltages.Missing(), b.Volts)
		}
	}
}

// A state of charge that has not been heard lately is not the present one.
func TestChargeLately(t *testing.T) {
	w := New([]int{1}, -1)
	w.Add(&sample.Sample{Time: 10 * second, Quantity: pgn.StateOfCharge, Instance: 1, Value: 0.8})
	w.Add(&sample.Sample{Time: 20 * second, Quantity: pgn.StateOfCharge, Instance: 1, State: pgn.NotAvailable})
	if c := w.Charge(1, 10*second); c != 0.8 {
		t.Errorf("charge %v", c)
	}
	if a, b := w.Charge(1, 11*second), w.Charge(2, 0); !math.IsNaN(a) || !math.IsNaN(b) {
		t.Errorf("%v and %v are known", a, b)
	}
}

func TestManyBatteries(t *testing.T) {
	f := feed{Watch: New([]int{200}, -1)}
	for i := range 256 {
		f.say(int64(i)*second, uint8(i), 50, -1)
	}
	if n := len(f.Evidence()); n != MaxBatteries+1 {
		t.Errorf("%d are kept", n)
	}
	if len(f.power) != 1 {
		t.Errorf("%d powers: the one that drives the boat must have room", len(f.power))
	}
}
