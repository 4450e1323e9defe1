package calc

import (
	"math"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// tankSizes knows how much each fuel tank holds.
type tankSizes struct {
	capacity float64 // m³ configured, for a single sender that gives none
	size     [fuelTanks]float64
	present  [fuelTanks]bool // a level was heard
}

// of returns a tank's capacity as it sends it; the configured one, of all tanks
// together, can only stand for a single one. NaN where not known.
func (t *tankSizes) of(tank int) float64 {
	if t.size[tank] > 0 {
		return t.size[tank]
	}
	for i, present := range t.present {
		if present && i != tank {
			return math.NaN()
		}
	}
	return t.capacity
}

// levelHold is for how many ticks a tank's level is kept: senders repeat it
// every 2.5 s, and a level moves slowly.
const levelHold = 10

// tankLevel is what all fuel tanks heard hold in one tick; NaN where it is not
// known.
type tankLevel struct {
	volume float64 // m³; only in ticks in which a level came
	grain  float64 // m³: the least change seen so far, which is the senders' resolution; 0 until each has changed
	size   float64 // m³
}

// levelMeter gathers the fuel tanks' levels into ticks.
type levelMeter struct {
	tankSizes
	sum   [fuelTanks]mean
	held  [fuelTanks]float64
	age   [fuelTanks]int
	last  [fuelTanks]float64
	grain [fuelTanks]float64 // ratio; 0 until a change was seen
}

func (m *levelMeter) add(s *sample.Sample) {
	if s.Instance >= fuelTanks {
		return
	}
	switch s.Quantity {
	case pgn.FluidCapacity:
		m.size[s.Instance] = s.Value
	case pgn.FluidLevel:
		i := s.Instance
		const equal = 1e-9 // levels are multiples of 0.004 %
		if d := math.Abs(s.Value - m.last[i]); m.present[i] && d > equal && (m.grain[i] == 0 || d < m.grain[i]) {
			m.grain[i] = d
		}
		m.last[i], m.present[i] = s.Value, true
		m.sum[i].add(s.Value)
	}
}

// take ends a tick.
func (m *levelMeter) take() tankLevel {
	var l tankLevel
	heard, changed, squares := false, true, 0.0
	for i, present := range m.present {
		if !present {
			continue
		}
		m.age[i]++
		if m.sum[i].over() {
			m.held[i], m.age[i], heard = m.sum[i].value(), 0, true
			m.sum[i] = mean{}
		}
		if m.age[i] > levelHold {
			m.held[i] = math.NaN()
		}
		size := m.of(i)
		l.volume += m.held[i] * size
		l.size += size
		changed = changed && m.grain[i] > 0
		squares += m.grain[i] * m.grain[i] * size * size
	}
	if changed {
		l.grain = math.Sqrt(squares)
	}
	if !heard {
		l.volume = math.NaN()
	}
	return l
}
