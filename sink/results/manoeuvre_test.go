package results

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/calc"
	"trialday.example/logd/calc/manoeuvre"
	"trialday.example/logd/calc/stat"
)

var testEdge = Edge{
	UTC:     func(t int64) int64 { return time.Date(2031, 5, 14, 8, 0, 0, 0, time.UTC).UnixNano() + t },
	Engines: []string{"port", "centre", "starboard"},
}

// written passes a report through the document, as JSON.
func written(t *testing.T, r *manoeuvre.Report) map[string]any {
	t.Helper()
	var doc Results
	doc.Figures(&calc.Report{Manoeuvres: *r}, testEdge)
	var b bytes.Buffer
	if err := doc.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(b.Bytes(), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

func first(t *testing.T, doc map[string]any, key string) map[string]any {
	t.Helper()
	list, _ := doc[key].([]any)
	if len(list) == 0 {
		t.Fatalf("nothing under %s", key)
	}
	return list[0].(map[string]any)
}

func TestManoeuvresInDisplayUnits(t *testing.T) {
	const knot = 1852.0 / 3600
	seconds := func(s float64) stat.Estimate { return stat.Estimate{Mean: s, SE: 0.05, DOF: 30} }
	about := func(v float64) stat.Estimate { return stat.Estimate{Mean: v, SE: 0.02 * v, DOF: 1e6} }
	doc := written(t, &manoeuvre.Report{
		Lag: manoeuvre.Lag{Filter: seconds(0.5), Latency: seconds(0.1), Measured: true},
		Accelerations: []manoeuvre.Acceleration{{
			Start: 90e9, StartSpeed: 2 * knot, EndSpeed: 30 * knot, RPM: 50, Engines: 5, FromRest: true, Plane: seconds(7),
			To: []manoeuvre.Reached{
				{Mark: manoeuvre.Mark{Speed: 20 * knot}, Time: seconds(6), Distance: 40},
				{Mark: manoeuvre.Mark{Speed: 20 * 1609.344 / 3600, Miles: true}, Time: seconds(5)},
			},
		}},
		Together: []manoeuvre.Together{{Attempts: []int{0}, Engines: 5, Plane: seconds(7)}},
		Turns: []manoeuvre.Turn{{
			Starboard: true, EntrySpeed: about(25 * knot), Steady: about(70), Tactical: about(84), Lengths: about(5), SpeedLoss: about(0.2),
			HeelPeak: about(math.Pi / 10), Time360: about(22),
		}},
		Stops:       []manoeuvre.Stop{{EntrySpeed: about(20 * knot), Time: seconds(9), HeadReach: about(60)}},
		Gears:       []manoeuvre.GearEvent{{Time: 10e9, Engine: 1, From: 1, To: 0, RPM: 11}},
		Engagements: []manoeuvre.Engagement{{Engaged: true, Engines: []int{0, 2, 1}, Delays: []float64{0, 0.5, 1}}},
		EngineOut:   []manoeuvre.EngineOut{{Driving: 5, Idle: 2, Speed: 8 * knot}},
	})
	number := func(key string, m map[string]any, want float64) {
		t.Helper()
		if v, ok := m[key].(float64); !ok || math.Abs(v-want) > 1e-3*math.Abs(want) {
			t.Errorf("%s is %v, want %g", key, m[key], want)
		}
	}
	a := first(t, doc, "accelerations")
	number("start_speed_kn", a, 2)
	number("rpm", a, 3000)
	number("mean", a["to_plane_s"].(map[string]any), 7)
	number("speed_kn", first(t, a, "to_speeds"), 20)
	number("distance_m", first(t, a, "to_speeds"), 40)
	number("speed_mph", first(t, a, "to_speeds_mph"), 20)
	if a["start"] != "2031-05-14T08:01:30.000Z" || a["from_rest"] != true || len(a["engines"].([]any)) != 2 {
		t.Errorf("%v", a)
	}
	turn := first(t, doc, "turns")
	number("entry_speed_kn", turn, 25)
	number("heel_peak_deg", turn, 18)
	number("speed_loss_pct", turn, 20)
	number("tactical_lengths", turn, 6)
	number("time_360_s", turn, 22)
	// Intervals, by the normal distribution, are in the units of their keys.
	intervals := turn["intervals"].(map[string]any)
	for key, want := range map[string]float64{"entry_speed_kn": 25, "heel_peak_deg": 18, "speed_loss_pct": 20, "tactical_diameter_m": 84, "tactical_lengths": 6} {
		v := intervals[key].(map[string]any)
		number("mean", v, want)
		number("hi95", v, want*(1+0.02*1.96))
	}
	if turn["direction"] != "starboard" || turn["order_from"] != "rudder" {
		t.Errorf("%v", turn)
	}
	number("entry_speed_kn", first(t, doc, "stops"), 20)
	g := first(t, doc, "gear_events")
	number("rpm", g, 660)
	if g["engine"] != "centre" || g["from"] != "neutral" || g["to"] != "forward" {
		t.Errorf("%v", g)
	}
	if e := first(t, doc, "engagement"); e["what"] != "engaged" || e["engines"].([]any)[2] != "centre" {
		t.Errorf("%v", e)
	}
	number("sog_kn", first(t, doc, "engine_out"), 8)
}

// What could not be derived is null, never zero and never an error.
func TestManoeuvresWithoutFigures(t *testing.T) {
	nan := math.NaN()
	none := stat.Estimate{Mean: nan, SE: nan, DOF: 1}
	doc := written(t, &manoeuvre.Report{
		Lag: manoeuvre.Lag{Filter: none, Latency: none},
		Accelerations: []manoeuvre.Acceleration{{
			StartSpeed: nan, EndSpeed: nan, RPM: nan, Plane: none, PlaneSpeed: nan, Froude: nan, PeakPitch: nan, Peak: nan,
			Heading: nan, CurrentSE: nan, To: []manoeuvre.Reached{{Time: none, Distance: nan}, {Time: stat.Estimate{Mean: 1, SE: nan, DOF: 1}, Distance: nan}},
		}},
		Together: []manoeuvre.Together{{Attempts: []int{0}, Plane: none, Peak: nan}},
		Turns: []manoeuvre.Turn{{
			Changed: nan, EntrySpeed: none, SteadySpeed: none, SpeedLoss: none, Time90: none, Time180: none, Time360: none, Advance: none,
			Transfer: none, Tactical: none, Steady: none, Lengths: none, Rate: none, HeelPeak: none, HeelSteady: none, Rudder: none, RPM: nan, CurrentSE: nan, Current: complex(nan, nan),
		}},
		Stops:     []manoeuvre.Stop{{EntrySpeed: none, Time: none, TrackReach: none, HeadReach: none, GroundPath: none, Astern: none, RPM: nan, CurrentSE: nan}},
		Gears:     []manoeuvre.GearEvent{{Engine: 7, From: -1, To: 0, RPM: nan}},
		EngineOut: []manoeuvre.EngineOut{{Speed: nan}},
		Slow:      []manoeuvre.Slow{{RPM: nan, Speed: nan, Rate: nan}},
	})
	a := first(t, doc, "accelerations")
	for _, key := range []string{"start_speed_kn", "to_plane_s", "peak_m_per_s2", "rpm"} {
		if a[key] != nil {
			t.Errorf("%s is %v", key, a[key])
		}
	}
	for _, list := range []string{"turns", "stops"} {
		if v := first(t, doc, list)["intervals"].(map[string]any); len(v) != 0 {
			t.Errorf("intervals of nothing in %s: %v", list, v)
		}
	}
	if v := first(t, doc, "turns")["heel_peak_deg"]; v != nil {
		t.Errorf("heel %v", v)
	}
	if v := first(t, doc, "stops")["seconds"]; v != nil {
		t.Errorf("stop %v", v)
	}
}

func TestNoManoeuvres(t *testing.T) {
	doc := written(t, &manoeuvre.Report{})
	for _, key := range strings.Fields("accelerations acceleration_means turns stops gear_events engagement engine_out slow_speed") {
		if list, ok := doc[key].([]any); !ok || len(list) != 0 {
			t.Errorf("%s is %v, want an empty list", key, doc[key])
		}
	}
	if doc["velocity_lag"] != nil {
		t.Errorf("a lag without a use: %v", doc["velocity_lag"])
	}
}
