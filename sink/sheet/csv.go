package sheet

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"time"

	"trialday.example/logd/sink/results"
)

// WriteStepsCSV writes one line a step. Units stand in the header; a figure that
// is not there is an empty cell.
func WriteStepsCSV(w io.Writer, r *results.Results) error { return StepTable(r).WriteCSV(w) }

// WriteWindowsCSV writes one line a window, accepted or not, in the same way.
// Each engine has columns of its own, port to starboard.
func WriteWindowsCSV(w io.Writer, r *results.Results) error { return WindowTable(r).WriteCSV(w) }

// WriteCSV writes the table with a header line (RFC 4180).
func (t *Table) WriteCSV(w io.Writer) error {
	c := csv.NewWriter(w)
	line := make([]string, len(t.columns))
	for k := range t.columns {
		line[k] = t.columns[k].name
	}
	c.Write(line) // errors are kept by the writer
	for i := range t.rows {
		for k := range t.columns {
			line[k] = cell(t.columns[k].at(i))
		}
		c.Write(line)
	}
	c.Flush()
	return c.Error()
}

// cell renders a value of a table, "" for none.
func cell(v any) string {
	switch x := v.(type) {
	case int64:
		return strconv.FormatInt(x, 10)
	case float64:
		return number(x)
	case bool:
		return strconv.FormatBool(x)
	case time.Time:
		return x.Format("2006-01-02T15:04:05.000Z07:00")
	case string:
		return x
	}
	return ""
}

// number has six significant digits, like results.json.
func number(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	return strconv.FormatFloat(x, 'g', 6, 64)
}
