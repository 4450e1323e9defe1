package results

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
)

func ptr[T any](x T) *T { return &x }

func write(t *testing.T, r Results) string {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func example() Results {
	return Results{
		Schema: Schema,
		Vessel: Vessel{Name: "A <&> B", LengthM: ptr(13.4), Mass: []MassItem{{"people", 300}}},
		Clock:  Clock{Known: true, OffsetS: 1.7e9 + 0.1234567},
		Steps: []Step{{ID: 1, RPM: 2999.99999, SpeedKn: Interval{31.1234567, 31, 31.2},
			FuelLPH: &Interval{368.3, 360, 376}}},
		Windows: []Window{{ID: 1, RPM: map[string]Interval{"port": {1, 1, 1}, "centre": {2, 2, 2}, "starboard": {3, 3, 3}}}},
		Quality: Quality{Losses: map[string]int64{"b": 2, "a": 1}},
	}
}

func TestWriteIsDeterministicAndReadsBack(t *testing.T) {
	first := write(t, example())
	for range 20 {
		if again := write(t, example()); again != first {
			t.Fatal("two writings differ")
		}
	}
	r, err := ReadJSON(strings.NewReader(first))
	if err != nil {
		t.Fatal(err)
	}
	if second := write(t, *r); second != first {
		t.Errorf("written, read and written again:\n%s\nwant\n%s", second, first)
	}
	if !strings.Contains(first, "A <&> B") {
		t.Error("text is escaped for HTML in JSON")
	}
}

func TestNumbersAreRounded(t *testing.T) {
	text := write(t, example())
	for _, want := range []string{`"offset_s": 1700000000.123`, `"rpm": 3000,`, `"mean": 31.1235`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in\n%s", want, text)
		}
	}
	for x, want := range map[float64]float64{0.0845123456: 0.0845123, 123456.789: 123456.789, -0.000001234567: -0.00000123457} {
		if got := round(x); got != want {
			t.Errorf("round(%v) = %v, want %v", x, got, want)
		}
	}
}

// No list and no table is ever null, so that a reader need not ask.
func TestNothingNilBecomesNullExceptFigures(t *testing.T) {
	text := write(t, Results{Schema: Schema, Windows: make([]Window, 1), Steps: make([]Step, 1), Devices: make([]Device, 1)})
	for _, want := range []string{`"runs": []`, `"missing": []`, `"gaps": []`, `"losses": {}`, `"addresses": []`,
		`"engines": []`, `"rpm": {}`, `"windows": []`, `"level_economy_steps": []`, `"fuel_lph": null`, `"length_m": null`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s", want)
		}
	}
}

func TestNoNaNIsWritten(t *testing.T) {
	nan := math.NaN()
	r := example()
	r.Vessel.BeamM = &nan
	r.Steps[0].RangeNM = &Interval{nan, nan, nan}
	r.Steps[0].SpeedKn = Interval{30, math.Inf(-1), math.Inf(1)}
	text := write(t, r)
	if !json.Valid([]byte(text)) {
		t.Fatal("not JSON")
	}
	for _, want := range []string{`"beam_m": null`, `"range_nm": null`, `"lo95": null`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s", want)
		}
	}
	back, err := ReadJSON(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if got := back.Steps[0].SpeedKn; got.Mean != 30 || !math.IsNaN(got.Lo95) {
		t.Errorf("an open interval reads as %+v, not as unknown bounds", got)
	}
	r.Steps[0].SpeedKn.Mean = nan
	if err := r.WriteJSON(&bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), "steps[0].speed_kn.mean") {
		t.Errorf("a speed that is no number: %v", err)
	}
}

func TestWritingDoesNotChangeTheResults(t *testing.T) {
	r, want := example(), example()
	write(t, r)
	if !reflect.DeepEqual(r, want) {
		t.Error("the results were changed")
	}
}

func TestReadRefusesAnotherSchema(t *testing.T) {
	for _, text := range []string{`{"schema": "other/9"}`, `{}`, `[]`, ``, `{"schema"`} {
		if _, err := ReadJSON(strings.NewReader(text)); err == nil {
			t.Errorf("%q was read", text)
		}
	}
	if _, err := ReadJSON(strings.NewReader(`{"schema": "` + Schema + `", "later": 1}`)); err != nil {
		t.Errorf("a later key: %v", err)
	}
}
