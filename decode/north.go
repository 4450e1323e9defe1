package decode

import (
	"math"
	"time"

	"trialday.example/logd/pgn"
)

// PGNs that are more to the decoder than their table row.
const (
	vesselHeading = 127250
	engineRapid   = 127488
	engineDynamic = 127489
	transmission  = 127493
	tripFuel      = 127497
	controller1   = 61444
	positionRapid = 129025
	batteryStatus = 127508
	dcPower       = 127751
)

// variationAge is how long a variation is used after it was last heard. A boat
// at 40 kn meets another variation by half a degree in that time at most
// (from memory of charts, away from the poles).
const variationAge = int64(time.Hour)

// north turns magnetic directions into true ones:
// magnetic = compass + deviation, true = magnetic + variation, east positive.
// The variation is that of the message itself, else the one last heard from
// the device chosen for it. Where there is none the direction stays magnetic.
type north struct {
	known     bool
	variation float64
	heard     int64
}

func (n *north) learn(variation float64, at int64) {
	n.known, n.variation, n.heard = true, variation, at
}

func (n *north) turn(m *message, q pgn.Quantity, v pgn.Value) (pgn.Quantity, pgn.Value) {
	variation, known := n.variation, n.known && m.at-n.heard <= variationAge
	if m.def.PGN == vesselHeading {
		h := pgn.VesselHeading(m.data)
		if own := h.Variation(); own.State == pgn.Valid {
			variation, known = own.V, true
		}
		if deviation := h.Deviation(); deviation.State == pgn.Valid {
			v.V += deviation.V
		}
	}
	if known {
		v.V += variation
		if q == pgn.HeadingMagnetic {
			q = pgn.Heading
		} else {
			q = pgn.CourseOverGround
		}
	}
	if v.State == pgn.Valid {
		v.V = circle(v.V)
	}
	return q, v
}

// circle brings an angle into [0, 2π).
func circle(a float64) float64 {
	a = math.Mod(a, 2*math.Pi)
	if a < 0 {
		a += 2 * math.Pi
	}
	return a
}

// rapid notes which devices send their position rapidly (129025). Their slower
// and later 129029 repeats the position and is not used for it meanwhile.
type rapid struct{ last []int64 }

const rapidAge = int64(2 * time.Second)

func (r *rapid) note(source uint16, at int64) {
	for len(r.last) <= int(source) {
		r.last = append(r.last, math.MinInt64/2)
	}
	r.last[source] = at
}

func (r *rapid) recent(source uint16, at int64) bool {
	return int(source) < len(r.last) && at-r.last[source] <= rapidAge
}
