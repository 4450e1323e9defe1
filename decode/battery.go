package decode

import (
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/pgn"
)

// batteries keeps to one of two messages that give a battery's voltage and
// current. While 127751 gives both, 127508 is not used: its current is ten times
// coarser and its voltage ends at 327.64 V, and power must be made of the voltage
// and the current of one message. Once 127751 has been silent, or without one of
// the two, for the patience, 127508 is used again.
type batteries struct{ last [256]finer }

// finer is when 127751 last gave a battery's voltage and current.
type finer struct {
	at   int64
	used bool
}

// coarse are the quantities that 127508 gives.
var coarse = [...]pgn.Quantity{pgn.BatteryVoltage, pgn.BatteryCurrent}

// fineFields are what 127751 must give to be used.
var fineFields = [...]*pgn.Field{pgn.Lookup(dcPower).Field("voltage"), pgn.Lookup(dcPower).Field("current")}

// fine takes a 127751: the battery's group goes to its device.
func (b *batteries) fine(m *message, c *choose.Chooser) {
	if len(m.data) < 2 {
		return
	}
	for _, f := range fineFields {
		if f.SI(m.data).State != pgn.Valid {
			return
		}
	}
	k := m.data[1]
	if last := &b.last[k]; !last.used {
		c.Take(choose.Battery, k, m.source, m.at, choose.FinerSteps)
		last.used = true
	}
	b.last[k].at = m.at
}

// covered reports whether a 127508 is not to be used. The first that is again
// gets the battery's group for its device.
func (b *batteries) covered(m *message, c *choose.Chooser) bool {
	if len(m.data) == 0 {
		return false
	}
	last := &b.last[m.data[0]]
	if !last.used {
		return false
	}
	if m.at-last.at <= choose.Battery.Patience() {
		return true
	}
	last.used = false
	c.Take(choose.Battery, m.data[0], m.source, m.at, choose.Failover)
	return false
}
