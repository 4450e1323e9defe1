package clock

import "testing"

// A stretch is known if readings were heard on its side of every guessed pause,
// whether before it or after.
func TestKnownBetween(t *testing.T) {
	var c Clock
	read := func(at int64) {
		c.Observe(Reading{PGN: 129033, UTC: morning + at}, 1, at)
	}
	tick := func(from, to, shift int64) int64 {
		at := int64(0)
		for s := from; s < to; s += sec {
			at = c.Tick(s + shift)
		}
		return at
	}
	if c.KnownBetween(0, sec) {
		t.Error("known before anything was heard")
	}
	tick(0, 60*sec, 0)
	if c.KnownBetween(0, 30*sec) {
		t.Error("known though nothing was heard")
	}
	for s := 55 * sec; s < 60*sec; s += sec {
		read(s)
	}
	if !c.KnownBetween(0, 30*sec) || !c.KnownBetween(0, 59*sec) {
		t.Error("readings do not date what was before them")
	}
	// The recorder wakes in another year and nobody tells for how long it slept.
	c.Tick(-1e15)
	seam := c.now
	c.Settle()
	last := tick(sec, 60*sec, -1e15)
	if !c.KnownBetween(0, seam-sec) {
		t.Error("the stretch before the guessed pause is not known any more")
	}
	if c.KnownBetween(0, last) || c.KnownBetween(seam+sec, last) {
		t.Error("known behind a guessed pause though nothing was heard since")
	}
	for s := last; s < last+5*sec; s += sec {
		read(s)
	}
	if !c.KnownBetween(0, last) || !c.KnownBetween(seam+sec, last) {
		t.Error("not known though it was heard")
	}
}
