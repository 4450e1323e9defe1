package clock

import (
	"math"
	"time"

	"trialday.example/logd/pgn"
)

// Reading is what a time message says.
type Reading struct {
	UTC int64  // ns since 1970
	PGN uint32 // of the message
	// Own: the sender says that the time is from a clock of its own.
	Own bool
	// NoFix: the sender says that it has no fix, so that none of its time
	// messages can be believed. UTC is not set then.
	NoFix bool
}

// earliest is 2020-01-01. Receivers without a fix send dates of their making,
// or of 1024 weeks ago; all such are older.
var earliest = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC).UnixNano()

type layout struct{ date, time, source, method *pgn.Field }

var systemTime, gnssPosition, timeAndDate = fields(126992), fields(129029), fields(129033)

func fields(number uint32) layout {
	m := pgn.Lookup(number)
	return layout{m.Field("date"), m.Field("time"), m.Field("source"), m.Field("method")}
}

// Read takes the time from a message. It reports false for any other message
// and for one without a believable time.
func Read(number uint32, data []byte) (Reading, bool) {
	r := Reading{PGN: number}
	var l *layout
	switch number {
	case 126992:
		l = &systemTime
		// 0 and 1 satellites, 2 radio, above that clocks (from memory).
		source, state := l.source.Raw(data)
		r.Own = state != pgn.Valid || source > 2
	case 129029:
		l = &gnssPosition
		// 1 to 5 are fixes; 0 is none, above 5 estimates and simulations
		// (from memory).
		if method, state := l.method.Raw(data); state != pgn.Valid || method < 1 || method > 5 {
			r.NoFix = true
			return r, true
		}
	case 129033:
		l = &timeAndDate
	default:
		return r, false
	}
	days, state := l.date.Raw(data)
	if state != pgn.Valid {
		return r, false
	}
	clock := l.time.SI(data)
	const leap = 86401 // a day with a leap second (ITU-R TF.460)
	if clock.State != pgn.Valid || clock.V >= leap {
		return r, false
	}
	r.UTC = days*int64(24*time.Hour) + int64(math.Round(clock.V*1e4))*int64(100*time.Microsecond)
	return r, r.UTC >= earliest
}
