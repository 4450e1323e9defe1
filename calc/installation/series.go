package installation

import (
	"math"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// watched is a quantity that is looked at sample by sample.
type watched struct {
	quantity pgn.Quantity
	engine   bool // one series an engine
	circle   bool // an angle that wraps around
	// jump is a change, SI, that the quantity cannot make and take back within
	// two times spacing (ns); 0: not looked for. Limits are our own, from what
	// boats can do.
	jump    float64
	spacing int64
	// twins is how far apart, SI, the values of two senders must be to be told from
	// one that is restless; 0: not looked for.
	twins float64
	// moves tells whether what happened while the value stood still must have
	// moved it.
	moves func(w *witness) bool
}

const (
	quick = 3 * second / 10
	slow  = 5 * second / 2
)

// list is everything watched. Speeds cannot change by 3 m/s and back in two
// samples, an engine not by 300 rpm within 0.6 s.
var list = [...]watched{
	{quantity: pgn.SpeedOverGround, jump: 3, twins: 0.5, spacing: slow, moves: (*witness).throttled},
	{quantity: pgn.SpeedThroughWater, jump: 3, twins: 0.5, spacing: slow, moves: (*witness).paced},
	{quantity: pgn.Latitude, jump: 1e-5, spacing: slow, moves: (*witness).travelled},
	{quantity: pgn.Longitude, jump: 1e-5, circle: true, spacing: slow, moves: (*witness).travelled},
	{quantity: pgn.Heading, jump: 30 * degree, twins: 3 * degree, circle: true, spacing: quick, moves: (*witness).steered},
	{quantity: pgn.HeadingMagnetic, jump: 30 * degree, twins: 3 * degree, circle: true, spacing: quick, moves: (*witness).steered},
	{quantity: pgn.Pitch, jump: 10 * degree, spacing: quick, moves: (*witness).paced},
	{quantity: pgn.Roll, jump: 15 * degree, spacing: quick, moves: (*witness).paced},
	{quantity: pgn.RateOfTurn, jump: 30 * degree, spacing: quick, moves: (*witness).turned},
	{quantity: pgn.RudderAngle, jump: 20 * degree, twins: 3 * degree, spacing: quick, moves: (*witness).turned},
	{quantity: pgn.Depth, jump: 5, spacing: slow, moves: (*witness).travelled},
	{quantity: pgn.WindSpeedApparent, jump: 15, spacing: quick, moves: (*witness).paced},
	{quantity: pgn.EngineSpeed, engine: true, jump: 5, twins: 0.5, spacing: quick, moves: (*witness).paced},
	{quantity: pgn.FuelRate, engine: true, jump: 30e-3 / 3600, spacing: second, moves: (*witness).revved},
	{quantity: pgn.EngineLoad, engine: true, spacing: second, moves: (*witness).revved},
}

// at finds the place of a quantity in list, -1 for none.
var at = places()

func places() (p [pgn.NumQuantities]int) {
	for i := range p {
		p[i] = -1
	}
	for i := range list {
		p[list[i].quantity] = i
	}
	return p
}

// series keeps a track of each quantity watched.
type series struct {
	tracks [len(list)][MaxEngines]track
	recent [patience]cell // seconds that are not shown to the tracks yet
	n      int
	moving bool // the boat made way in the last second
}

// patience, s: what happened so shortly before a value moved again counts for
// nothing, as sensors and their messages lag.
const patience = 5

// makesWay, m/s: slower, values that stand still are no surprise.
const makesWay = 1.0

// track is one series: its last two samples, the value it stands still at, and
// what was found so far.
type track struct {
	known  int // samples kept: of one device, without a hole
	value  [2]float64
	time   [2]int64
	source uint16
	still  still
	spikes spikes
	twins  twins
}

func (s *series) init() {
	for i := range s.tracks {
		for e := range s.tracks[i] {
			s.tracks[i][e].still.reset()
		}
	}
}

func (s *series) add(v *sample.Sample) {
	if v.Quantity >= pgn.NumQuantities || at[v.Quantity] < 0 {
		return
	}
	i, e := at[v.Quantity], 0
	if list[i].engine {
		if e = int(v.Instance); e >= MaxEngines {
			return
		}
	}
	s.tracks[i][e].add(v, &list[i], s.moving)
}

// hole, ns: samples further apart are not neighbours.
const hole = 10 * second

func (t *track) add(v *sample.Sample, w *watched, moving bool) {
	if t.known > 0 && (v.Source != t.source || v.Time-t.time[1] > hole) {
		t.known = 0
		t.still.end(w)
	}
	t.source = v.Source
	t.still.add(v.Time, v.Value, w, moving)
	if t.known == 2 && w.jump > 0 {
		t.spikes.add(t, v, w)
	}
	if t.known == 2 && w.twins > 0 {
		t.twins.add(t, v, w)
	}
	t.value[0], t.time[0] = t.value[1], t.time[1]
	t.value[1], t.time[1] = v.Value, v.Time
	t.known = min(t.known+1, 2)
}

func (s *series) cell(now *cell) {
	s.moving = now.v[speed] > makesWay
	c := s.recent[s.n%patience]
	s.recent[s.n%patience] = *now
	if s.n++; s.n <= patience {
		return
	}
	for i := range s.tracks {
		for e := range s.tracks[i] {
			s.tracks[i][e].still.see(&c, e, list[i].engine)
		}
	}
}

func (s *series) findings() []Finding {
	var out []Finding
	for i := range s.tracks {
		w := &list[i]
		for e := range s.tracks[i] {
			t := &s.tracks[i][e]
			t.still.end(w)
			for _, f := range [3][]Finding{t.still.findings(), t.spikes.findings(), t.twins.findings()} {
				for _, f := range f {
					f.Quantity, f.Instance, f.Source, f.T = w.quantity, uint8(e), t.source, math.NaN()
					out = append(out, f)
				}
			}
		}
	}
	return out
}

// apart is how far b is from a.
func (w *watched) apart(a, b float64) float64 {
	d := b - a
	if w.circle && !(math.Abs(d) < math.Pi) { // else it is its own remainder
		return math.Remainder(d, 2*math.Pi)
	}
	return d
}
