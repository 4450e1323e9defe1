package choose

import (
	"fmt"
	"testing"
	"time"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

// pair plays values of one quantity on both buses: each every so many tenths
// of a second of [from, to); backbone from source 1, the engines' own from 2.
type pair struct {
	quantity     pgn.Quantity
	number       uint32
	every        int64
	from, to     int64
	notAvailable bool
}

func TestTwins(t *testing.T) {
	rate, speed, warmth := pgn.FuelRate, pgn.EngineSpeed, pgn.EngineTemperature
	for _, tt := range []struct {
		name      string
		begin     bool
		back, own pair
		want      []string
	}{
		{"the engines' bus alone", false, pair{}, pair{rate, 65266, 1, 0, 60, false},
			[]string{"engine_state none -1>2 only source at 0"}},
		{"finer steps, after the hold", true, pair{rate, 127489, 5, 0, 60, false}, pair{rate, 65266, 1, 0, 60, false},
			[]string{"engine_state fuel_rate 1>2 finer steps at 10"}},
		{"finer steps, not much more seldom", true, pair{speed, 127488, 4, 0, 60, false}, pair{speed, 61444, 5, 0, 60, false},
			[]string{"engine_speed engine_speed 1>2 finer steps at 10"}},
		{"finer steps, much more seldom", true, pair{speed, 127488, 1, 0, 60, false}, pair{speed, 61444, 10, 0, 60, false}, nil},
		{"coarser steps", true, pair{warmth, 127489, 10, 0, 60, false}, pair{warmth, 65262, 10, 0, 60, false}, nil},
		{"coarser steps, much oftener", true, pair{warmth, 127489, 10, 0, 60, false}, pair{warmth, 65262, 5, 0, 60, false},
			[]string{"engine_state engine_temperature 1>2 better rate at 10"}},
		{"not available is no value", true, pair{rate, 127489, 5, 0, 60, false}, pair{rate, 65266, 1, 0, 60, true}, nil},
		{"never on the backbone", true, pair{}, pair{rate, 65266, 1, 0, 60, false},
			[]string{"engine_state fuel_rate -1>2 only source at 3"}},
		{"silent, and back", true, pair{rate, 127489, 5, 0, 60, false}, pair{rate, 65266, 1, 0, 20, false},
			[]string{"engine_state fuel_rate 1>2 finer steps at 10", "engine_state fuel_rate 2>1 failover at 23"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var got []string
			c := NewTwins(10*time.Second, func(c Change) {
				got = append(got, fmt.Sprintf("%s %s %d>%d %s at %d", c.Group, c.Quantity, int16(c.From), c.To, c.Why, c.Time/sec))
			})
			if tt.begin {
				c.Begin(0, 0)
			}
			last := map[bool]int{}
			for k := int64(0); k < 600; k++ {
				for bus, p := range []pair{tt.back, tt.own} {
					if p.every == 0 || k%p.every != 0 || k < p.from*10 || k >= p.to*10 {
						continue
					}
					s := sample.Sample{Time: k*sec/10 + int64(bus), Source: uint16(1 + bus), Quantity: p.quantity}
					if p.notAvailable {
						s.State = pgn.NotAvailable
					}
					last[c.Use(&s, Bus(bus), pgn.Lookup(p.number))]++
				}
			}
			if fmt.Sprint(got) != fmt.Sprint(tt.want) {
				t.Errorf("got  %v\nwant %v", got, tt.want)
			}
			if last[true] == 0 {
				t.Error("nothing was used")
			}
		})
	}
}
