package clock

// KnownBetween reports whether UTC is from GNSS time heard on the same side of
// every guessed pause, for all trial times from one to the other. Where it is
// not, UTC may still move by as much as the guess was wrong.
func (c *Clock) KnownBetween(from, to int64) bool {
	m := &c.model
	any := false
	for i := range m.parts {
		starts := i == 0 || m.parts[i].start <= to
		ends := i+1 < len(m.parts) && m.parts[i+1].start <= from
		if !starts || ends {
			continue
		}
		if !m.fitted(&m.parts[i]).known {
			return false
		}
		any = true
	}
	return any
}
