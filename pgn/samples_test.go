package pgn_test

import (
	"math"
	"testing"

	"trialday.example/logd/pgn"
)

type emitted struct {
	quantity pgn.Quantity
	instance uint8
	value    pgn.Value
}

func samples(m *pgn.Message, data []byte) []emitted {
	var all []emitted
	m.Samples(data, func(q pgn.Quantity, instance uint8, v pgn.Value) {
		all = append(all, emitted{q, instance, v})
	})
	return all
}

func TestSamples(t *testing.T) {
	ok := func(v float64) pgn.Value { return pgn.Value{V: v} }
	none := pgn.Value{State: pgn.NotAvailable}
	fault := pgn.Value{State: pgn.OutOfRange}
	for _, c := range []struct {
		name string
		pgn  uint32
		data string
		want []emitted
	}{
		{"engine", 127488, "\x02\x80\x3E\xFE\xFF\x7F\xFF\xFF", []emitted{
			{pgn.EngineSpeed, 2, ok(4000.0 / 60)}, {pgn.EngineBoost, 2, fault}, {pgn.EngineTrim, 2, none}}},
		{"engine, short", 127488, "\x02\x80\x3E\x00", []emitted{
			{pgn.EngineSpeed, 2, ok(4000.0 / 60)}, {pgn.EngineBoost, 2, none}, {pgn.EngineTrim, 2, none}}},
		{"engine, empty", 127488, "", nil},
		{"gear", 127493, "\x01\xFE\xFF\xFF\xFF\xFF\x00\xFF", []emitted{
			{pgn.Gear, 1, ok(2)}, {pgn.GearOilPressure, 1, none}, {pgn.GearOilTemperature, 1, none}}},
		{"fresh water tank 1", 127505, "\x11\xFF\x7F\x10\x27\x00\x00\xFF", []emitted{
			{pgn.FluidLevel, 0x11, none}, {pgn.FluidCapacity, 0x11, ok(1)}}},
		{"heading, true", 127250, "\x00\x10\x27\xFF\x7F\x64\x00\xFC", []emitted{
			{pgn.Heading, 0, ok(1)}, {pgn.Variation, 0, ok(0.01)}}},
		{"heading, magnetic", 127250, "\x00\x10\x27\xFF\x7F\xFF\x7F\xFD", []emitted{
			{pgn.HeadingMagnetic, 0, ok(1)}, {pgn.Variation, 0, none}}},
		{"heading, reference 2", 127250, "\x00\x10\x27\xFF\x7F\xFF\x7F\xFE", []emitted{{pgn.Variation, 0, none}}},
		{"heading, no reference", 127250, "\x00\x10\x27\xFF\x7F\xFF\x7F", []emitted{{pgn.Variation, 0, none}}},
		{"course, true", 129026, "\x00\xFC\x10\x27\xE8\x03\xFF\xFF", []emitted{
			{pgn.CourseOverGround, 0, ok(1)}, {pgn.SpeedOverGround, 0, ok(10)}}},
		{"course, magnetic", 129026, "\x00\xFD\x10\x27\xE8\x03\xFF\xFF", []emitted{
			{pgn.CourseMagnetic, 0, ok(1)}, {pgn.SpeedOverGround, 0, ok(10)}}},
		{"course, not available", 129026, "\x00\xFF\x10\x27\xE8\x03\xFF\xFF", []emitted{{pgn.SpeedOverGround, 0, ok(10)}}},
		{"wind, true", 130306, "\x00\xE8\x03\x10\x27\xF8\xFF\xFF", []emitted{
			{pgn.WindSpeedTrue, 0, ok(10)}, {pgn.WindAngleTrue, 0, ok(1)}}},
		{"wind, magnetic", 130306, "\x00\xE8\x03\x10\x27\xF9\xFF\xFF", nil},
		{"wind, apparent", 130306, "\x00\xE8\x03\x10\x27\xFA\xFF\xFF", []emitted{
			{pgn.WindSpeedApparent, 0, ok(10)}, {pgn.WindAngleApparent, 0, ok(1)}}},
		{"wind, from the bow", 130306, "\x00\xE8\x03\x10\x27\xFB\xFF\xFF", nil},
		{"wind, through water", 130306, "\x00\xE8\x03\x10\x27\xFC\xFF\xFF", nil},
		{"wind, reserved", 130306, "\x00\xE8\x03\x10\x27\xFD\xFF\xFF", nil},
		{"wind, not available", 130306, "\x00\xE8\x03\x10\x27\xFF\xFF\xFF", nil},
		{"sea temperature", 130312, "\x00\x03\x00\x8C\x72\xFF\xFF\xFF", []emitted{{pgn.WaterTemperature, 3, ok(293.24)}}},
		{"air temperature", 130312, "\x00\x03\x01\x8C\x72\xFF\xFF\xFF", []emitted{{pgn.AirTemperature, 3, ok(293.24)}}},
		{"cabin temperature", 130312, "\x00\x03\x02\x8C\x72\xFF\xFF\xFF", nil},
		{"air pressure", 130314, "\x00\x00\x00\x40\x42\x0F\x00\xFF", []emitted{{pgn.AirPressure, 0, ok(1e5)}}},
		{"other pressure", 130314, "\x00\x00\x01\x40\x42\x0F\x00\xFF", nil},
		{"tabs", 130576, "\x32\x7E\xFF\xFF\xFF\xFF\xFF\xFF", []emitted{
			{pgn.TrimTabPort, 0, ok(0.5)}, {pgn.TrimTabStarboard, 0, fault}}},
		{"battery", 127506, "\x00\x02\x00\x50\x64\x3C\x00\xFF\xFF\xC8\x00", []emitted{{pgn.StateOfCharge, 2, ok(0.8)}}},
		{"battery, earlier edition", 127506, "\x00\x02\x00\xFE\x64\x3C\x00\xFF\xFF", []emitted{{pgn.StateOfCharge, 2, fault}}},
		{"battery, no charge", 127506, "\x00\x02\x00\xFF\x64\x3C\x00\xFF\xFF", []emitted{{pgn.StateOfCharge, 2, none}}},
		{"alternator", 127506, "\x00\x02\x01\x50\x64\x3C\x00\xFF\xFF\xC8\x00", nil},
		{"battery of 48 V", 127508, "\x01\xD4\x12\x18\xFC\xFF\xFF\x00", []emitted{
			{pgn.BatteryVoltage, 1, ok(48.2)}, {pgn.BatteryCurrent, 1, ok(-100)}}},
		{"battery of 400 V", 127508, "\x01\xFE\x7F\x18\xFC\xFF\xFF\x00", []emitted{
			{pgn.BatteryVoltage, 1, fault}, {pgn.BatteryCurrent, 1, ok(-100)}}},
		{"DC of 400 V", 127751, "\x00\x01\xA0\x0F\xEF\xD8\xFF\xFF", []emitted{
			{pgn.BatteryVoltage, 1, ok(400)}, {pgn.BatteryCurrent, 1, ok(-100.01)}}},
		{"DC, no current", 127751, "\x00\x01\xA0\x0F\xFF\xFF\x7F\xFF", []emitted{
			{pgn.BatteryVoltage, 1, ok(400)}, {pgn.BatteryCurrent, 1, none}}},
		{"DC, current out of range", 127751, "\x00\x01\xA0\x0F\xFE\xFF\x7F\xFF", []emitted{
			{pgn.BatteryVoltage, 1, ok(400)}, {pgn.BatteryCurrent, 1, fault}}},
		{"DC, short", 127751, "\x00\x01\xA0\x0F\x00\x00", []emitted{
			{pgn.BatteryVoltage, 1, ok(400)}, {pgn.BatteryCurrent, 1, none}}},
		{"request", 59904, "\x00\xEE\x00", nil},
	} {
		got := samples(pgn.Lookup(c.pgn), []byte(c.data))
		if len(got) != len(c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
			continue
		}
		for i, w := range c.want {
			g := got[i]
			same := g.quantity == w.quantity && g.instance == w.instance && g.value.State == w.value.State
			if !same || g.value.State == pgn.Valid && !near(g.value.V, w.value.V) {
				t.Errorf("%s: %v, want %v", c.name, g, w)
			}
		}
	}
}

// No payload panics, nor gives a sample that says both a number and its
// absence; accessors agree with the table.
func FuzzDecode(f *testing.F) {
	for _, m := range pgn.All() {
		f.Add(m.PGN, m.New())
		f.Add(m.PGN, make([]byte, m.Length-1))
		f.Add(m.PGN, make([]byte, m.Length+9))
	}
	f.Fuzz(func(t *testing.T, n uint32, data []byte) {
		pgn.ParseName(data)
		m := pgn.Lookup(pgn.ParseID(n).PGN)
		if m == nil {
			if m = pgn.Lookup(n); m == nil {
				all := pgn.All()
				m = all[int(n%uint32(len(all)))]
			}
		}
		for i := range m.Fields {
			m.Fields[i].SI(data)
			_ = m.Fields[i].String(data)
		}
		for _, s := range samples(m, data) {
			if s.quantity == pgn.None || s.quantity >= pgn.NumQuantities {
				t.Errorf("%s: quantity %d", m.Name, s.quantity)
			}
			if (s.value.State == pgn.Valid) == math.IsNaN(s.value.V) {
				t.Errorf("%s: %v is %v", m.Name, s.quantity, s.value)
			}
		}
		checkAccessors(t, m, data)
	})
}
