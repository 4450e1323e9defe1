package simulate

import (
	"fmt"
	"math"
)

// Variant is the scenario on another day: another sea, tide and wind, other
// instruments and another load, drawn from the seed within what is usual for
// sea trials. Boat, faults and script stay.
func (s *Scenario) Variant(seed uint64) *Scenario {
	v := *s
	r := stream(seed, streamVariant)
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	v.Name = fmt.Sprintf("%s, variant %d", s.Name, seed)

	e := &v.Environment
	e.WaveHeightM = 0.05 * math.Pow(16, r.Float64()) // 0.05 to 0.8 m
	e.WavePeriodS = (2.2 + 2.4*math.Sqrt(e.WaveHeightM)) * between(0.9, 1.15)
	e.WaveFromDeg = between(0, 360)
	e.WindFromDeg = math.Mod(e.WaveFromDeg+between(0, 40), 360)
	e.WindKn = 2 + 16*e.WaveHeightM*between(0.6, 1.2)
	e.CurrentKn, e.CurrentSetDeg = between(0, 0.6), between(0, 360)
	e.TideKn, e.TideSetDeg = between(0.1, 1.4), between(0, 360)
	e.TideMinorKn = e.TideKn * between(-0.3, 0.3)
	e.TidePhaseDeg = between(0, 360)
	e.SpeedWanderPct = between(0.15, 0.4)
	e.SpeedWanderTauS = between(4, 9)

	v.Captain.HeadingDeg = between(0, 360)
	v.Captain.ThrottleErrorPct = s.Captain.ThrottleErrorPct * between(0.6, 1.5)
	v.Sensors.Noise = s.Sensors.Noise * between(0.6, 1.6)
	v.Sensors.HeadingOffsetDeg = between(-4, 4)
	v.Sensors.PaddleGainPct = between(-8, 8)
	v.Vessel.FuelL = s.Vessel.TankL * between(0.3, 0.95)
	v.Clock.OffsetS = between(-30, 30)
	return &v
}
