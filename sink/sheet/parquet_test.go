package sheet

import (
	"bytes"
	"encoding/csv"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"trialday.example/logd/sink/results"
)

// parquetFile is a file read back: a map a row, without the nulls.
type parquetFile struct {
	columns []string
	types   map[string]string
	rows    []map[string]any
}

func readParquet(t *testing.T, table *Table) parquetFile {
	t.Helper()
	var b bytes.Buffer
	if err := table.WriteParquet(&b); err != nil {
		t.Fatal(err)
	}
	f, err := parquet.OpenFile(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	out := parquetFile{types: map[string]string{}}
	for _, field := range f.Schema().Fields() {
		out.columns = append(out.columns, field.Name())
		out.types[field.Name()] = field.Type().String()
		if !field.Optional() {
			t.Errorf("%s is not optional", field.Name())
		}
	}
	r := parquet.NewReader(f)
	defer r.Close()
	for range f.NumRows() {
		row := map[string]any{}
		if err := r.Read(&row); err != nil {
			t.Fatal(err)
		}
		for name, v := range row {
			if v == nil {
				delete(row, name)
			}
		}
		out.rows = append(out.rows, row)
	}
	return out
}

// What is read back is what the CSV says, cell by cell, in the same order of
// columns, and what results.json has to its last digit.
func TestParquetHoldsTheResults(t *testing.T) {
	r, _ := amendedDay()
	r.Vessel.Engines[0].Name = "port, outer" // neither CSV nor Parquet may stumble over it
	r.Windows[2].RPM["port, outer"] = around(1000, 0.001)
	r.Windows[3].Frames = &results.FrameRange{First: 7, Last: 9_000_000_000}
	r.Steps[1].Note = "helm, \"loose\""
	for _, table := range Tables(r) {
		t.Run(table.Name, func(t *testing.T) {
			var text bytes.Buffer
			if err := table.WriteCSV(&text); err != nil {
				t.Fatal(err)
			}
			lines, err := csv.NewReader(&text).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			got := readParquet(t, table)
			if len(got.rows) != len(lines)-1 || len(got.columns) != len(lines[0]) {
				t.Fatalf("%d rows of %d columns, the CSV has %d of %d", len(got.rows), len(got.columns), len(lines)-1, len(lines[0]))
			}
			for k, name := range lines[0] {
				if want := strings.ReplaceAll(name, " ", "_"); got.columns[k] != want {
					t.Fatalf("column %d is %s, want %s", k, got.columns[k], want)
				}
				for i, row := range got.rows {
					if v := sameAsCell(row[got.columns[k]], got.types[got.columns[k]]); v != lines[i+1][k] {
						t.Errorf("row %d, %s: %q, in the CSV %q", i, name, v, lines[i+1][k])
					}
				}
			}
		})
	}
	r = asWritten(r)
	steps := readParquet(t, StepTable(r)).rows
	if v := steps[4]["economy_mi_per_usgal_hi95"]; v != r.Steps[4].EconomyMPG.Hi95 {
		t.Errorf("economy %v, want %v", v, r.Steps[4].EconomyMPG.Hi95)
	}
	windows := readParquet(t, WindowTable(r)).rows
	if windows[3]["last_frame"] != int64(9_000_000_000) || windows[0]["rpm_centre"] != r.Windows[0].RPM["centre"].Mean {
		t.Errorf("%v", windows[3])
	}
}

// sameAsCell renders what was read back as the CSV does.
func sameAsCell(v any, kind string) string {
	switch x := v.(type) {
	case int64:
		if strings.HasPrefix(kind, "TIMESTAMP") {
			return cell(time.UnixMilli(x).UTC())
		}
	case time.Time:
		return cell(x.UTC())
	case []byte:
		return string(x)
	}
	return cell(v)
}

func TestParquetOfLittle(t *testing.T) {
	for _, table := range Tables(&results.Results{}) {
		if got := readParquet(t, table); len(got.rows) != 0 || len(got.columns) < 4 {
			t.Errorf("%s of an empty day: %+v", table.Name, got)
		}
	}
	r, _ := withoutFuel(3)
	r.Steps[0].SpeedKn.Lo95 = math.NaN()
	row := readParquet(t, StepTable(r)).rows[0]
	for _, name := range []string{"fuel_l_per_h", "speed_kn_lo95", "note"} {
		if v, there := row[name]; there {
			t.Errorf("%s, which is not known, is %v", name, v)
		}
	}
	r.Vessel.Engines = []results.Engine{{Name: "a b"}, {Name: "a_b"}}
	if got := readParquet(t, WindowTable(r)); !strings.Contains(strings.Join(got.columns, " "), "rpm_a_b rpm_a_b_lo95") || !strings.Contains(strings.Join(got.columns, " "), "rpm_a_b_ rpm_a_b_lo95_") {
		t.Errorf("two engines whose names differ by a blank: %v", got.columns)
	}
}
