package installation

import "math"

const degree = math.Pi / 180

const (
	// restSpeed, m/s (0.6 kn): slower is at rest.
	restSpeed = 0.3
	// restSpan, s: pitch and roll are averaged over many periods of either.
	restSpan = 30
	// attitudeFloor, rad: scatter of such means where they happen to agree.
	attitudeFloor = 0.1 * degree
	// rollLimit, pitchLimit, rad: a crew on one side lists a small boat by a
	// degree, and boats do not lie quite level fore and aft (common practice, no
	// source).
	rollLimit  = 1.5 * degree
	pitchLimit = 2 * degree
)

// rest gathers pitch and roll at rest with no propeller turning.
type rest struct {
	open        [2]stretch // of pitch and roll
	pitch, roll mean
}

func (r *rest) cell(c *cell) {
	if !(c.v[speed] < restSpeed) || c.engaged() {
		r.open = [2]stretch{}
		return
	}
	for i, q := range [2]quantity{pitch, roll} {
		v := c.v[q]
		if math.IsNaN(v) {
			continue
		}
		if r.open[i].add(v); r.open[i].n < restSpan {
			continue
		}
		level, _ := r.open[i].take(restSpan)
		if q == pitch {
			r.pitch.add(level)
		} else {
			r.roll.add(level)
		}
	}
}

func (r *rest) findings() []Finding {
	var out []Finding
	out = append(out, exceeds(Finding{Kind: RollZero, Value: r.roll.estimate(attitudeFloor), N: int(r.roll.n)}, rollLimit)...)
	return append(out, exceeds(Finding{Kind: PitchZero, Value: r.pitch.estimate(attitudeFloor), N: int(r.pitch.n)}, pitchLimit)...)
}
