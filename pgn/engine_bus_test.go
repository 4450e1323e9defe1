package pgn_test

import (
	"math"
	"testing"

	"trialday.example/logd/pgn"
)

// The ranges of SAE J1939-71 (from memory), at both ends of each, in fields of
// 2, 8, 16 and 32 bits. Nothing that is no value is a number, and so none is 0.
func TestEngineBusRanges(t *testing.T) {
	const ok, absent, fault, other = pgn.Valid, pgn.NotAvailable, pgn.OutOfRange, pgn.Reserved
	for _, c := range []struct {
		pgn   uint32
		field string
		raw   uint32
		want  pgn.State
	}{
		{61443, "pedal_kickdown", 0, ok}, {61443, "pedal_kickdown", 1, ok},
		{61443, "pedal_kickdown", 2, fault}, {61443, "pedal_kickdown", 3, absent},
		{61444, "torque_mode", 14, ok}, {61444, "torque_mode", 15, absent},
		{61443, "load", 0, ok}, {61443, "load", 0xFA, ok}, {61443, "load", 0xFB, other},
		{61443, "load", 0xFD, other}, {61443, "load", 0xFE, fault}, {61443, "load", 0xFF, absent},
		{61445, "current_gear", 0xFB, other}, // park
		{61444, "speed", 0, ok}, {61444, "speed", 0xFAFF, ok},
		{61444, "speed", 0xFB00, other}, {61444, "speed", 0xFBFF, other}, {61444, "speed", 0xFC00, other},
		{61444, "speed", 0xFDFF, other}, {61444, "speed", 0xFE00, fault}, {61444, "speed", 0xFEFF, fault},
		{61444, "speed", 0xFF00, absent}, {61444, "speed", 0xFFFF, absent},
		{65253, "hours", 0xFAFFFFFF, ok}, {65253, "hours", 0xFB000000, other}, {65253, "hours", 0xFDFFFFFF, other},
		{65253, "hours", 0xFE000000, fault}, {65253, "hours", 0xFEFFFFFF, fault},
		{65253, "hours", 0xFF000000, absent}, {65253, "hours", 0xFFFFFFFF, absent},
		{61445, "current_range", 0xFFFF, ok}, // characters
	} {
		m := pgn.Lookup(c.pgn)
		f, data := m.Field(c.field), m.New()
		f.PutRaw(data, int64(c.raw))
		raw, state := f.Raw(data)
		if raw != int64(c.raw) || state != c.want {
			t.Errorf("%d %s %#x is %#x and %v, want %v", c.pgn, c.field, c.raw, raw, state, c.want)
		}
		if v := f.SI(data); v.State != c.want || (c.want != ok) != math.IsNaN(v.V) {
			t.Errorf("%d %s %#x is %v", c.pgn, c.field, c.raw, v)
		}
		m.Samples(data, func(q pgn.Quantity, _ uint8, v pgn.Value) {
			if q == f.Quantity && (v.State != c.want || (c.want != ok) != math.IsNaN(v.V)) {
				t.Errorf("%d %s %#x makes a sample of %v", c.pgn, c.field, c.raw, v)
			}
		})
	}
}

// The same pattern on the boat's network is a value: the ranges are those of the
// message.
func TestRangesOfTheOtherStandard(t *testing.T) {
	f := pgn.Lookup(127488).Field("speed")
	if _, state := f.Raw([]byte{0, 0x00, 0xFE, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}); state != pgn.Valid {
		t.Errorf("0xFE00 in 127488 is %v", state)
	}
}

// Payloads written out by hand from the layouts (from memory), and their samples.
func TestEngineBusSamples(t *testing.T) {
	for _, c := range []struct {
		pgn     uint32
		payload string
		want    map[pgn.Quantity]float64
	}{
		// 2400 rpm of 0.125; 60 % torque.
		{61444, "\xFF\xFF\xB9\x00\x4B\xFF\xFF\xFF", map[pgn.Quantity]float64{pgn.EngineSpeed: 40, pgn.EngineTorque: 0.6}},
		{61443, "\xFF\xFF\x55\xFF\xFF\xFF\xFF\xFF", map[pgn.Quantity]float64{pgn.EngineLoad: 0.85}},
		// 52.35 L/h of 0.05; economy and throttles make no sample.
		{65266, "\x17\x04\x00\x01\x00\x01\x64\xFF", map[pgn.Quantity]float64{pgn.FuelRate: 52.35e-3 / 3600}},
		{65253, "\x10\x27\x00\x00\xFF\xFF\xFF\xFF", map[pgn.Quantity]float64{pgn.EngineHours: 500 * 3600}},
		{65257, "\xC9\x00\x00\x00\x01\x00\x01\x00", map[pgn.Quantity]float64{pgn.TripFuel: 0.1005}},
		// 82 °C of the coolant, 95 °C of the oil.
		{65262, "\x7A\xFF\x00\x2E\xFF\xFF\xFF\xFF", map[pgn.Quantity]float64{pgn.EngineTemperature: 355.15, pgn.OilTemperature: 368.15}},
		{65263, "\x50\xFF\xFF\x64\xFF\xFF\x32\xFF", map[pgn.Quantity]float64{pgn.FuelPressure: 320e3, pgn.OilPressure: 400e3, pgn.CoolantPressure: 100e3}},
		{65270, "\xFF\x48\xFF\xFF\xFF\xFF\xFF\xFF", map[pgn.Quantity]float64{pgn.EngineBoost: 144e3}},
		{61445, "\xFF\xFF\xFF\x7E\xFF\xFF\xFF\xFF", map[pgn.Quantity]float64{pgn.Gear: 0}},
		{61445, "\xFF\xFF\xFF\x7D\xFF\xFF\xFF\xFF", map[pgn.Quantity]float64{pgn.Gear: 1}},
		{61445, "\xFF\xFF\xFF\x7C\xFF\xFF\xFF\xFF", map[pgn.Quantity]float64{pgn.Gear: 2}},
		{65265, "\xFF\x00\x1A\xFF\xFF\xFF\xFF\xFF", map[pgn.Quantity]float64{}},
	} {
		n := 0
		pgn.Lookup(c.pgn).Samples([]byte(c.payload), func(q pgn.Quantity, _ uint8, v pgn.Value) {
			n++
			if want, ok := c.want[q]; !ok || v.State != pgn.Valid || !near(v.V, want) {
				t.Errorf("%d: %v is %v, want %v", c.pgn, q, v, want)
			}
		})
		if n != len(c.want) {
			t.Errorf("%d: %d samples, want %d", c.pgn, n, len(c.want))
		}
	}
	if v := pgn.Lookup(65265).Field("speed").SI([]byte("\xFF\x00\x1A\xFF\xFF\xFF\xFF\xFF")); !near(v.V, 26/3.6) {
		t.Errorf("vehicle speed %v", v)
	}
	if v := pgn.Lookup(65266).Field("instantaneous_economy").SI([]byte("\x17\x04\x00\x01\x00\x01\x64\xFF")); !near(v.V, 0.5e6) {
		t.Errorf("economy %v", v)
	}
}
