package clock

// Record is what is known of UTC at one moment of the day, to be kept: a copy
// that the clock does not change any more.
type Record struct {
	Known       bool
	Own         int64   // the recorder's own time minus trial time, UTC for want of pieces
	Offset      int64   // see Clock.Offset
	Drift       float64 // see Clock.Drift
	Steps       int     // see Clock.Steps
	Uncertainty int64   // see Clock.Uncertainty
	Pieces      []Piece // in order of time
}

// Piece is a straight line from trial time to UTC, in ns:
//
//	UTC = max(Floor, trial + Offset + Drift*(trial-Centre))
//
// It holds from Start until the next begins; the first holds before, too.
type Piece struct {
	Start, Floor   int64
	Centre, Offset int64
	Drift          float64
}

func (p *Piece) utc(at int64) int64 {
	l := line{centre: p.Centre, offset: p.Offset, drift: p.Drift}
	return max(p.Floor, l.utc(at))
}

// Record is what is known now.
func (c *Clock) Record() Record {
	r := Record{
		Known: c.Known(), Own: c.model.own, Offset: c.Offset(), Drift: c.Drift(), Steps: c.Steps(), Uncertainty: c.Uncertainty(),
	}
	for p := range c.model.pieces {
		r.Pieces = append(r.Pieces, p)
	}
	return r
}

// UTC is nanoseconds since 1970 at a trial time, as the clock had it.
func (r *Record) UTC(trial int64) int64 {
	if len(r.Pieces) == 0 {
		return trial + r.Own
	}
	use := &r.Pieces[0]
	for i := range r.Pieces {
		if p := &r.Pieces[i]; p.Start <= trial {
			use = p
		}
	}
	return use.utc(trial)
}
