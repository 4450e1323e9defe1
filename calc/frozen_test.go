package calc

import "testing"

// A window counts as long as it does not reach into a frozen stretch; its own
// reason stays.
func TestWindowsThatReachIntoAFrozenStretch(t *testing.T) {
	windows := []Window{{Start: 0, End: 30 * second}, {Start: 40 * second, End: 70 * second}, {Start: 70 * second, End: 99 * second, Reason: TooShort},
		{Start: 100 * second, End: 160 * second}, {Start: 199 * second, End: 230 * second}}
	e := &Evidence{Found: Found{Windows: windows}, Frozen: []Frozen{{SpeedFrozen, 65 * second, 120 * second}, {RPMFrozen, 110 * second, 199.5e9}}}
	want := []Reason{Accepted, SpeedFrozen, TooShort, SpeedFrozen, Accepted}
	for i, w := range DeriveSteps(e, Settings{}, nil).Windows {
		if w.Reason != want[i] {
			t.Errorf("window %d: %q, want %q", i+1, w.Reason, want[i])
		}
		if windows[i].Reason == SpeedFrozen {
			t.Error("the evidence is changed")
		}
	}
}
