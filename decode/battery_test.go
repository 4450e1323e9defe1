package decode

import (
	"testing"

	"trialday.example/logd/pgn"
)

// While 127751 gives a battery's voltage and current, 127508 is left out, be it of
// the same device or another; other batteries are not concerned.
func TestFinerBatteryMessage(t *testing.T) {
	for name, fine := range map[string]uint8{"one device": 9, "two devices": 10} {
		var b bus
		every(0, 100*sec, sec, func(at int64) {
			b.say(at, 9, 127508, values{"instance": 1, "voltage": 48.21, "current": -100.1})
			b.say(at, 9, 127508, values{"instance": 0, "voltage": 12.61, "current": -5})
		})
		every(20*sec+sec/2, 60*sec, sec, func(at int64) {
			b.say(at, fine, 127751, values{"connection": 1, "voltage": 48.2, "current": -100.12})
		})
		r, _ := b.decode(Options{})
		var coarse, finer, house int
		for _, s := range r.of(pgn.BatteryCurrent) {
			switch {
			case s.Instance == 0:
				house++
			case s.Value == -100.12:
				finer++
			case s.Time > 21*sec && s.Time < 74*sec:
				t.Errorf("%s: %v A at %d s", name, s.Value, s.Time/sec)
			default:
				coarse++
			}
		}
		if house != 100 || finer != 40 || coarse != 46 {
			t.Errorf("%s: %d of the other battery, %d fine, %d coarse", name, house, finer, coarse)
		}
		if len(r.of(pgn.BatteryVoltage)) != len(r.of(pgn.BatteryCurrent)) {
			t.Errorf("%s: voltages without currents", name)
		}
	}
}

// A 127751 without a current takes nothing over.
func TestFinerBatteryMessageWithoutCurrent(t *testing.T) {
	var b bus
	every(0, 30*sec, sec, func(at int64) {
		b.say(at, 9, 127508, values{"instance": 1, "voltage": 48.21, "current": -100.1})
		b.say(at+sec/2, 9, 127751, values{"connection": 1, "voltage": 48.2})
		b.say(at+sec/2, 9, 127506, values{"instance": 1, "type": 0, "state_of_charge": 0.8})
	})
	r, _ := b.decode(Options{})
	n := 0
	for _, s := range r.of(pgn.BatteryCurrent) {
		if s.State == pgn.Valid {
			n++
		}
	}
	if n != 30 || len(r.of(pgn.StateOfCharge)) == 0 {
		t.Errorf("%d currents, %d states of charge", n, len(r.of(pgn.StateOfCharge)))
	}
}

// Why a battery has no value is passed on where no device has any, and left out once
// one has.
func TestBatteryWithoutAnyValue(t *testing.T) {
	var b bus
	every(0, 30*sec, sec, func(at int64) {
		b.say(at, 9, 127508, values{"instance": 1, "voltage": 402})
		if at >= 20*sec {
			b.say(at+sec/2, 10, 127508, values{"instance": 1, "voltage": 48.2, "current": -3})
		}
	})
	r, _ := b.decode(Options{})
	states := map[pgn.State]int{}
	for _, s := range r.samples {
		if s.Quantity == pgn.BatteryVoltage {
			states[s.State]++
		}
	}
	if states[pgn.OutOfRange] != 21 || states[pgn.Valid] != 10 || len(states) != 2 {
		t.Errorf("voltages by state: %v", states)
	}
}
