//go:build !race

package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// sea is how a tank and its sender behave.
type sea struct {
	slosh    float64 // standard deviation of a level, ratio
	damping  float64 // time constant of the sender, s; 0 for none
	grain    float64 // resolution, ratio
	tilt     float64 // ratio by 1 rad of pitch
	attitude bool    // heard
	drift    float64 // rad, standard deviation of a change of pitch over the window
	section  float64 // standard deviation of the tank's section at the day's level, ratio
}

const (
	seaTank = 1.5                // m³
	seaBurn = 100.0 / 3600 / 1e3 // m³/s
)

// levels are those of one pass of so many seconds, by the sender's own messages
// each 2.5 s.
func (s *sea) levels(r *rand.Rand, seconds int, section float64) Levels {
	var ticks []tick
	t := newTicker(func(k *tick) { ticks = append(ticks, *k) })
	drift, start := s.drift*r.NormFloat64(), 0.3+0.6*r.Float64()
	var shown float64
	for i := range seconds * 2 {
		now := int64(i) * second / 2
		part := float64(i) / float64(seconds*2)
		pitch := 0.05 + drift*part + 0.015*math.Sin(float64(i))
		t.add(&sample.Sample{Time: now, Quantity: pgn.EngineSpeed, Value: 40})
		if s.attitude {
			t.add(&sample.Sample{Time: now, Quantity: pgn.Pitch, Value: pitch})
			t.add(&sample.Sample{Time: now, Quantity: pgn.Roll, Value: 0.01 * r.NormFloat64()})
		}
		level := start - seaBurn*float64(i)/2/seaTank/section + s.tilt*pitch + s.slosh*r.NormFloat64()
		if i == 0 || s.damping == 0 {
			shown = level
		} else {
			shown += (level - shown) * 0.5 / s.damping
		}
		if i%5 != 0 {
			continue
		}
		sent := shown
		if s.grain > 0 {
			sent = math.Round(sent/s.grain) * s.grain
		}
		t.add(&sample.Sample{Time: now, Quantity: pgn.FluidCapacity, Value: seaTank})
		t.add(&sample.Sample{Time: now, Quantity: pgn.FluidLevel, Value: sent})
	}
	t.close()
	return levelsOf(ticks)
}

// day is the burn of each of four steps of two passes. All burn the same and turn as
// fast, but what is expected of them is a fifth too much, as the propeller law may be.
func (s *sea) day(r *rand.Rand, seconds int, b Boat) []TankBurn {
	const steps, passes = 4, 2
	section := 1 + s.section*r.NormFloat64()
	var windows []Window
	for range steps * passes {
		windows = append(windows, Window{Levels: s.levels(r, seconds, section)})
	}
	day := dayLevelsOf(windows, b)
	day.perCube = 1.2 * seaBurn
	var out []TankBurn
	for i := 0; i < len(windows); i += passes {
		out = append(out, tankBurn([]passGroup{{windows: []*Window{&windows[i]}}, {windows: []*Window{&windows[i+1]}}}, b, day, 1))
	}
	return out
}

// The true burn lies in the interval as often as it says, whatever the tank and
// the sender are like.
func TestTankBurnCoverage(t *testing.T) {
	const days = 100
	for name, c := range map[string]struct {
		sea  sea
		told float64 // Boat.Section
		most float64 // of coverage: an interval that is always right says too little
	}{
		"even tank, calm":          {sea{slosh: 0.002, grain: 4e-5, tilt: 0.25, attitude: true, drift: 0.001}, 0, 0.98},
		"even tank, rough":         {sea{slosh: 0.015, grain: 4e-5, tilt: 0.25, attitude: true, drift: 0.003}, 0, 0.98},
		"damped sender":            {sea{slosh: 0.02, damping: 10, grain: 4e-5, tilt: 0.1, attitude: true}, 0, 0.98},
		"heavily damped sender":    {sea{slosh: 0.03, damping: 25, grain: 4e-5, tilt: 0.1, attitude: true}, 0, 0.99},
		"coarse sender":            {sea{slosh: 0.002, grain: 0.005, tilt: 0.05, attitude: true}, 0, 1},
		"coarse sender, no slosh":  {sea{slosh: 0, grain: 0.01, tilt: 0}, 0, 1},
		"no attitude":              {sea{slosh: 0.003, grain: 4e-5, tilt: 0.25, drift: 0.001}, 0, 1},
		"uneven tank":              {sea{slosh: 0.002, grain: 4e-5, tilt: 0.25, attitude: true, section: 0.1}, 0.2, 1},
		"uneven tank, rough water": {sea{slosh: 0.01, grain: 4e-5, tilt: 0.25, attitude: true, section: 0.1}, 0.2, 1},
	} {
		r := rand.New(rand.NewPCG(7, 11))
		known, inside, shown, shownInside := 0.0, 0.0, 0.0, 0.0
		for range days {
			for _, burn := range c.sea.day(r, 480, Boat{Tank: seaTank, Section: c.told}) {
				if math.IsNaN(burn.Burn.Mean) {
					continue // a level that never changed
				}
				known++
				right := 0.0
				if lo, hi := burn.Burn.Interval(); lo <= seaBurn && seaBurn <= hi {
					right = 1
				}
				inside += right
				if burn.Worth() {
					shown++
					shownInside += right
				}
			}
		}
		t.Logf("%s: %.1f %% inside, shown %.0f of %.0f, of these %.1f %% inside", name, 100*inside/known, shown, known, 100*shownInside/shown)
		if got := inside / known; got < 0.925 || got > c.most {
			t.Errorf("%s: the truth is in the interval in %.1f %%", name, 100*got)
		}
	}
}
