package sheet

import (
	"math"

	"trialday.example/logd/sink/results"
)

// Table is figures in rows and columns, as a CSV or a Parquet file has them:
// units in the names of the columns, and nothing where a figure is not there.
type Table struct {
	Name    string
	columns []tableColumn
	rows    int
}

// kind is the type of a column's values: int64, float64, bool, string or, for a
// moment, time.Time in UTC.
type kind int

const (
	wholeKind kind = iota
	figureKind
	truthKind
	textKind
	momentKind
)

type tableColumn struct {
	name string
	kind kind
	at   func(row int) any // nil for none
}

// Tables are all tables of r.
func Tables(r *results.Results) []*Table { return []*Table{StepTable(r), WindowTable(r), RunTable(r)} }

// StepTable has one row a step.
func StepTable(r *results.Results) *Table {
	r = asWritten(r)
	t := &Table{Name: "steps", rows: len(r.Steps)}
	step := func(i int) *results.Step { return &r.Steps[i] }
	t.whole("step", func(i int) int { return step(i).ID })
	t.figure("rpm", func(i int) *float64 { return &step(i).RPM })
	names := []string{"speed_kn", "speed_mph", "fuel_l_per_h", "fuel_usgal_per_h", "economy_nm_per_l", "economy_l_per_nm",
		"economy_nm_per_usgal", "economy_mi_per_usgal", "range_nm"}
	for k, column := range stepColumns(r.Steps, metric) {
		t.interval(names[k], func(i int) *results.Interval { return column.of(step(i)) })
	}
	if r.FromTank() {
		t.text("fuel_from", func(i int) string { return step(i).FuelFrom })
	}
	t.electric(r)
	t.figure("load_pct", func(i int) *float64 { return step(i).LoadPct })
	t.figure("pitch_deg", func(i int) *float64 { return step(i).PitchDeg })
	t.figure("trim_pct", func(i int) *float64 { return step(i).TrimPct })
	t.whole("passes", func(i int) int { return step(i).Passes })
	t.truth("current_corrected", func(i int) bool { return step(i).CurrentCorrected })
	t.figure("current_kn", func(i int) *float64 { return step(i).CurrentKn })
	t.figure("current_set_deg", func(i int) *float64 { return step(i).CurrentSetDeg })
	t.figure("mass_kg", func(i int) *float64 { return step(i).MassKg })
	t.figure("sound_dba", func(i int) *float64 { return step(i).SoundDBA })
	t.text("note", func(i int) string { return step(i).Note })
	return t
}

// WindowTable has one row a window, accepted or not. Each engine has columns of
// its own, port to starboard.
func WindowTable(r *results.Results) *Table {
	r = asWritten(r)
	t := &Table{Name: "windows", rows: len(r.Windows)}
	window := func(i int) *results.Window { return &r.Windows[i] }
	t.whole("window", func(i int) int { return window(i).ID })
	t.whole("run", func(i int) int { return window(i).Run })
	t.moment("start_utc", func(i int) string { return window(i).Start })
	t.moment("end_utc", func(i int) string { return window(i).End })
	frames := func(i int) results.FrameRange { return orNone(window(i).Frames) }
	t.number("first_frame", func(i int) int64 { return frames(i).First })
	t.number("last_frame", func(i int) int64 { return frames(i).Last })
	t.truth("accepted", func(i int) bool { return window(i).Accepted })
	t.text("reason", func(i int) string { return window(i).Reason })
	t.text("amended", func(i int) string { return window(i).Amended })
	t.number("step", func(i int) int64 { return int64(orNone(window(i).Step)) })
	t.figure("heading_deg", func(i int) *float64 { return window(i).HeadingDeg })
	t.figure("cog_deg", func(i int) *float64 { return window(i).COGDeg })
	t.interval("sog_kn", func(i int) *results.Interval { return window(i).SOGKn })
	t.interval("stw_kn", func(i int) *results.Interval { return window(i).STWKn })
	t.interval("fuel_l_per_h", func(i int) *results.Interval { return window(i).FuelLPH })
	if r.Electric != nil {
		t.interval("battery_power_kw", func(i int) *results.Interval { return window(i).PowerKW })
	}
	for _, name := range engineNames(r) {
		t.interval("rpm "+name, func(i int) *results.Interval { return entry(window(i).RPM, name) })
		t.interval("fuel_l_per_h "+name, func(i int) *results.Interval { return entry(window(i).EngineFuelLPH, name) })
	}
	t.figure("load_pct", func(i int) *float64 { return window(i).LoadPct })
	t.figure("pitch_deg", func(i int) *float64 { return window(i).PitchDeg })
	t.figure("roll_deg", func(i int) *float64 { return window(i).RollDeg })
	t.figure("trim_pct", func(i int) *float64 { return window(i).TrimPct })
	t.figure("depth_m", func(i int) *float64 { return window(i).DepthM })
	t.figure("wind_kn", func(i int) *float64 { return window(i).WindKn })
	t.figure("wind_from_deg", func(i int) *float64 { return window(i).WindFromDeg })
	t.figure("wave_period_s", func(i int) *float64 { return window(i).WavePeriodS })
	return t
}

// RunTable has one row a run.
func RunTable(r *results.Results) *Table {
	r = asWritten(r)
	t := &Table{Name: "runs", rows: len(r.Runs)}
	t.whole("run", func(i int) int { return r.Runs[i].ID })
	t.text("kind", func(i int) string { return r.Runs[i].Kind })
	t.moment("start_utc", func(i int) string { return r.Runs[i].Start })
	t.moment("end_utc", func(i int) string { return r.Runs[i].End })
	return t
}

// orNone returns what is pointed to, or the value that stands for none.
func orNone[T any](p *T) T {
	if p == nil {
		var none T
		return none
	}
	return *p
}

func entry(m map[string]results.Interval, name string) *results.Interval {
	if i, ok := m[name]; ok {
		return &i
	}
	return nil
}

func (t *Table) add(name string, k kind, at func(i int) any) {
	t.columns = append(t.columns, tableColumn{name, k, at})
}

func (t *Table) whole(name string, of func(i int) int) {
	t.add(name, wholeKind, func(i int) any { return int64(of(i)) })
}

// number counts from 1; 0 is nothing.
func (t *Table) number(name string, of func(i int) int64) {
	t.add(name, wholeKind, func(i int) any {
		if n := of(i); n > 0 {
			return n
		}
		return nil
	})
}

func (t *Table) truth(name string, of func(i int) bool) {
	t.add(name, truthKind, func(i int) any { return of(i) })
}

// text is nothing where it is "".
func (t *Table) text(name string, of func(i int) string) {
	t.add(name, textKind, func(i int) any {
		if s := of(i); s != "" {
			return s
		}
		return nil
	})
}

// moment is an RFC 3339 time.
func (t *Table) moment(name string, of func(i int) string) {
	t.add(name, momentKind, func(i int) any {
		if at, ok := parseTime(of(i)); ok {
			return at
		}
		return nil
	})
}

func (t *Table) figure(name string, of func(i int) *float64) {
	t.add(name, figureKind, func(i int) any {
		if x := of(i); x != nil && !math.IsNaN(*x) && !math.IsInf(*x, 0) {
			return *x
		}
		return nil
	})
}

// interval is three columns: the mean and the ends of its 95 % interval.
func (t *Table) interval(name string, of func(i int) *results.Interval) {
	for _, part := range []struct {
		suffix string
		of     func(*results.Interval) *float64
	}{
		{"", func(x *results.Interval) *float64 { return &x.Mean }},
		{" lo95", func(x *results.Interval) *float64 { return &x.Lo95 }},
		{" hi95", func(x *results.Interval) *float64 { return &x.Hi95 }},
	} {
		t.figure(name+part.suffix, func(i int) *float64 {
			if x := of(i); x != nil {
				return part.of(x)
			}
			return nil
		})
	}
}
