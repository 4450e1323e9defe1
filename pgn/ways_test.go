package pgn

import "testing"

func TestWays(t *testing.T) {
	const own = " on the engines' own bus"
	for q, want := range map[Quantity]string{
		EngineSpeed: "PGN 127488, or 61444" + own, EngineLoad: "PGN 127489, or 61443" + own,
		FuelRate: "PGN 127489, or 65266" + own, Gear: "PGN 127493, or 61445" + own, TripFuel: "PGN 127497, or 65257" + own,
		Heading: "", SpeedOverGround: "PGN 129026", FluidLevel: "PGN 127505", Pitch: "PGN 127257", None: "",
	} {
		if got := q.Ways(); got != want {
			t.Errorf("%v: %q, want %q", q, got, want)
		}
	}
}
