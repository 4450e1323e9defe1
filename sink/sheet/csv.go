package sheet

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"

	"trialday.example/logd/sink/results"
)

// WriteStepsCSV writes one line a step. Units stand in the header; a figure that
// is not there is an empty cell.
func WriteStepsCSV(w io.Writer, r *results.Results) error {
	header := []string{"step", "rpm"}
	for _, name := range []string{"speed_kn", "speed_mph", "fuel_l_per_h", "fuel_usgal_per_h", "economy_nm_per_l", "economy_l_per_nm",
		"economy_nm_per_usgal", "economy_mi_per_usgal", "range_nm"} {
		header = append(header, bounded(name)...)
	}
	header = append(header, "load_pct", "pitch_deg", "trim_pct", "passes", "current_corrected", "current_kn", "current_set_deg", "mass_kg", "note")
	c := csv.NewWriter(w)
	c.Write(header) // errors are kept by the writer
	columns := stepColumns(r.Steps, metric)
	for i := range r.Steps {
		s := &r.Steps[i]
		line := []string{strconv.Itoa(s.ID), number(s.RPM)}
		for _, column := range columns {
			line = append(line, bounds(column.of(s))...)
		}
		c.Write(append(line, cell(s.LoadPct), cell(s.PitchDeg), cell(s.TrimPct), strconv.Itoa(s.Passes),
			strconv.FormatBool(s.CurrentCorrected), cell(s.CurrentKn), cell(s.CurrentSetDeg), cell(s.MassKg), s.Note))
	}
	c.Flush()
	return c.Error()
}

// WriteWindowsCSV writes one line a window, accepted or not, in the same way.
// Each engine has columns of its own, port to starboard.
func WriteWindowsCSV(w io.Writer, r *results.Results) error {
	names := engineNames(r)
	header := []string{"window", "run", "start_utc", "end_utc", "accepted", "reason", "step", "heading_deg", "cog_deg"}
	header = append(append(append(header, bounded("sog_kn")...), bounded("stw_kn")...), bounded("fuel_l_per_h")...)
	for _, name := range names {
		header = append(append(header, bounded("rpm "+name)...), bounded("fuel_l_per_h "+name)...)
	}
	header = append(header, "load_pct", "pitch_deg", "roll_deg", "trim_pct", "depth_m", "wind_kn", "wind_from_deg", "wave_period_s")
	c := csv.NewWriter(w)
	c.Write(header)
	for i := range r.Windows {
		c.Write(windowCells(&r.Windows[i], names))
	}
	c.Flush()
	return c.Error()
}

func windowCells(w *results.Window, names []string) []string {
	step := ""
	if w.Step != nil {
		step = strconv.Itoa(*w.Step)
	}
	line := []string{strconv.Itoa(w.ID), strconv.Itoa(w.Run), w.Start, w.End, strconv.FormatBool(w.Accepted), w.Reason, step,
		cell(w.HeadingDeg), cell(w.COGDeg)}
	line = append(append(append(line, bounds(w.SOGKn)...), bounds(w.STWKn)...), bounds(w.FuelLPH)...)
	for _, name := range names {
		line = append(append(line, bounds(entry(w.RPM, name))...), bounds(entry(w.EngineFuelLPH, name))...)
	}
	return append(line, cell(w.LoadPct), cell(w.PitchDeg), cell(w.RollDeg), cell(w.TrimPct), cell(w.DepthM), cell(w.WindKn),
		cell(w.WindFromDeg), cell(w.WavePeriodS))
}

func entry(m map[string]results.Interval, name string) *results.Interval {
	if i, ok := m[name]; ok {
		return &i
	}
	return nil
}

func bounded(name string) []string { return []string{name, name + " lo95", name + " hi95"} }

func bounds(i *results.Interval) []string {
	if i == nil {
		return []string{"", "", ""}
	}
	return []string{number(i.Mean), number(i.Lo95), number(i.Hi95)}
}

func cell(x *float64) string {
	if x == nil {
		return ""
	}
	return number(*x)
}

// number has six significant digits, like results.json.
func number(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	return strconv.FormatFloat(x, 'g', 6, 64)
}
