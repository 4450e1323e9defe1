package day

import (
	"cmp"
	"slices"

	"trialday.example/logd/calc"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// gapLimit, ns: a quantity that had been arriving and is silent for longer has
// a gap. The slowest of the watched ones come once a second.
const gapLimit = int64(3e9)

// maxGaps bounds what is listed; a sensor with a loose plug makes thousands.
const maxGaps = 500

// gap is a stretch without a quantity, in trial time.
type gap struct {
	What     pgn.Quantity
	Engine   int // index, -1 for what is not an engine's
	From, To int64
}

// name tells the quantity, and of which engine.
func (g gap) name(engines []string) string {
	if g.Engine < 0 {
		return g.What.String()
	}
	return g.What.String() + " " + engineName(engines, uint8(g.Engine))
}

// gapWatch notes when a quantity that had been arriving stays away.
type gapWatch struct {
	last [len(watched)][calc.MaxEngines]int64 // trial time of the last value + 1; 0 for never
	gaps []gap
	more int64 // not listed
}

// watched are the quantities that figures hang on.
var watched = [...]pgn.Quantity{
	pgn.SpeedOverGround, pgn.Heading, pgn.EngineSpeed, pgn.FuelRate, pgn.EngineLoad, pgn.SpeedThroughWater, pgn.Pitch,
}

// isWatched finds the place of a quantity in watched, from 1; 0 for the others. It
// is asked for every sample.
var isWatched = func() (place [256]uint8) {
	for i, q := range watched {
		place[q] = uint8(i + 1)
	}
	return place
}()

func (g *gapWatch) add(s *sample.Sample) {
	i := int(isWatched[s.Quantity]) - 1
	if i < 0 || s.State != pgn.Valid {
		return
	}
	e := 0
	if ofEngine(s.Quantity) {
		e = int(s.Instance) % calc.MaxEngines
	}
	if last := g.last[i][e]; last != 0 && s.Time-last > gapLimit {
		g.note(i, e, last, s.Time)
	}
	g.last[i][e] = s.Time + 1
}

// finish closes the gaps that last until the end.
func (g *gapWatch) finish(end int64) {
	for i := range g.last {
		for e, last := range g.last[i] {
			if last != 0 && end-last > gapLimit {
				g.note(i, e, last, end)
			}
		}
	}
	slices.SortStableFunc(g.gaps, func(a, b gap) int { return cmp.Compare(a.From, b.From) })
}

// note lists the gap of the quantity watched[i].
func (g *gapWatch) note(i, engine int, from, to int64) {
	if len(g.gaps) >= maxGaps {
		g.more++
		return
	}
	if !ofEngine(watched[i]) {
		engine = -1
	}
	g.gaps = append(g.gaps, gap{watched[i], engine, from, to})
}

func ofEngine(q pgn.Quantity) bool {
	return q == pgn.EngineSpeed || q == pgn.FuelRate || q == pgn.EngineLoad
}
