package simulate

import (
	"testing"

	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/pgn"
)

// Engines on a second interface send there from their addresses, in order of
// time with the first interface, on which nothing else changes.
func TestEngineBus(t *testing.T) {
	text, err := scenarios.Load("installation")
	if err != nil {
		t.Fatal(err)
	}
	s, err := Parse(append(text, "\nengine_bus: {interface: can1, addresses: [7, 0, 9], gateways: true}\n"...))
	if err != nil {
		t.Fatal(err)
	}
	s.Script = s.Script[:1]
	heard := map[uint8]map[uint8]int{0: {}, 1: {}}
	last := int64(0)
	if _, err := s.Run(1, func(f *frame.Frame) error {
		h := pgn.ParseID(f.ID)
		if f.IsExtended && !f.IsError {
			heard[f.Bus][h.Source]++
			if m := pgn.Lookup(h.PGN); m != nil && (m.Ranges == pgn.TopBytes) != (f.Bus == 1) && h.PGN != pgn.AddressClaim {
				t.Fatalf("%s on bus %d", m.Name, f.Bus)
			}
		}
		if f.Time < last-20*millisecond {
			t.Fatalf("%d ns back in time", last-f.Time)
		}
		last = max(last, f.Time)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if len(heard[1]) != 3 || heard[1][7] < 1000 || heard[1][0] < 1000 || heard[1][9] < 1000 || heard[0][16] == 0 {
		t.Errorf("heard %v", heard)
	}
}
