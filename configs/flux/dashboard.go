package flux

import (
	"encoding/json"
	"strings"
)

// Dashboard is a page of panels.
type Dashboard struct {
	Name, Title string
	Variables   []string // that its queries use, beside the bucket
	Panels      []Panel
}

// Panel is the answer to a query, drawn.
type Panel struct {
	Title string
	Query string // name of the file
	Kind  string // timeseries, table, xychart, stat
	Unit  string
	X     string // column of the x axis of an xychart
	// Place on a page 24 wide.
	Column, Row, Wide, High int
}

// Dashboards are those that are shipped: one question each, the answer on top
// and its grounds below.
func Dashboards() []Dashboard {
	one := []string{"vessel", "trial"}
	run := []string{"vessel", "trial", "run"}
	return []Dashboard{
		{"day", "Trial: the day", one, []Panel{
			{"Figures of the day", "day-overview", "table", "", "", 0, 0, 24, 4},
			{"Speed over ground, kn", "day-speed", "timeseries", "kn", "", 0, 4, 24, 8},
			{"Engine speed, rpm", "day-rpm", "timeseries", "rpm", "", 0, 12, 12, 8},
			{"Burn of each engine, L/h", "day-burn", "timeseries", "L/h", "", 12, 12, 12, 8},
		}},
		{"runs", "Trial: run by run", run, []Panel{
			{"Runs of the day", "run-explorer", "table", "", "", 0, 0, 24, 9},
			{"Speed and course in the chosen run", "run-samples", "timeseries", "", "", 0, 9, 24, 10},
		}},
		{"speed-and-burn", "Trial: speed and burn against rpm", one, []Panel{
			{"Steady windows: speed and burn over rpm", "speed-burn-rpm", "xychart", "", "rpm", 0, 0, 24, 11},
			{"Steady windows", "speed-burn-rpm", "table", "", "", 0, 11, 16, 9},
			{"Mean of the steady samples of each run", "steady-samples", "table", "kn", "", 16, 11, 8, 9},
		}},
		{"economy", "Trial: economy and range", one, []Panel{
			{"Economy and range over speed", "economy-range", "xychart", "", "speed_kn", 0, 0, 24, 11},
			{"Steps", "economy-range", "table", "", "", 0, 11, 24, 9},
		}},
		{"engines", "Trial: engine by engine", one, []Panel{
			{"Burn over rpm", "engines", "xychart", "L/h", "rpm", 0, 0, 24, 11},
			{"Each engine in each window, and its distance from the mean", "engines", "table", "", "", 0, 11, 24, 9},
		}},
		{"manoeuvres", "Trial: turns and accelerations", run, []Panel{
			{"Turns and accelerations", "turns-accelerations", "table", "", "", 0, 0, 24, 8},
			{"The chosen run", "manoeuvre-samples", "timeseries", "", "", 0, 8, 24, 11},
		}},
		{"quality", "Trial: data quality", one, []Panel{
			{"Read and lost", "data-quality", "table", "", "", 0, 0, 12, 12},
			{"Stretches not steady, by reason", "windows-rejected", "table", "", "", 12, 0, 12, 12},
		}},
		{"fleet", "All vessels and trials", nil, []Panel{
			{"Trials", "fleet", "table", "", "", 0, 0, 24, 8},
			{"Economy over speed", "fleet-economy", "xychart", "nm/L", "speed_kn", 0, 8, 24, 12},
		}},
	}
}

type object map[string]any

// JSON is the dashboard as it is imported.
func (d *Dashboard) JSON() ([]byte, error) {
	panels := make([]object, len(d.Panels))
	for i := range d.Panels {
		p, err := d.Panels[i].object(i + 1)
		if err != nil {
			return nil, err
		}
		panels[i] = p
	}
	variables := []object{
		{"name": "source", "label": "Server", "type": "datasource", "query": "influxdb"},
		{"name": "bucket", "label": "Bucket", "type": "textbox", "query": "trials/autogen"},
	}
	for _, name := range d.Variables {
		variables = append(variables, choice(name))
	}
	text, err := json.MarshalIndent(object{
		"uid": "trialday-" + d.Name, "title": d.Title, "tags": []string{"trial"}, "schemaVersion": 36,
		"editable": true, "timezone": "utc", "time": object{"from": "now-30d", "to": "now"},
		"templating": object{"list": variables}, "panels": panels,
	}, "", "  ")
	return append(text, '\n'), err
}

var source = object{"type": "influxdb", "uid": "${source}"}

func (p *Panel) object(id int) (object, error) {
	query, err := Query(p.Query)
	if err != nil {
		return nil, err
	}
	options := object{}
	if p.Kind == "xychart" {
		options = object{"seriesMapping": "auto", "dims": object{"x": p.X}}
	}
	return object{
		"id": id, "title": p.Title, "type": p.Kind, "description": about(query), "datasource": source,
		"gridPos":     object{"x": p.Column, "y": p.Row, "w": p.Wide, "h": p.High},
		"fieldConfig": object{"defaults": object{"unit": unit(p.Unit)}, "overrides": []object{}},
		"options":     options,
		"targets":     []object{{"refId": "A", "datasource": source, "query": query}},
	}, nil
}

// unit is a unit as a suffix.
func unit(u string) string {
	if u == "" {
		return "none"
	}
	return "suffix: " + u
}

// about is the comment that a query begins with.
func about(query string) string {
	var words []string
	for line := range strings.Lines(query) {
		comment, ok := strings.CutPrefix(line, "//")
		if !ok {
			break
		}
		words = append(words, strings.TrimSpace(comment))
	}
	return strings.Join(words, " ")
}

// choices are asked in the order in which one narrows the next.
var choices = map[string]string{
	"vessel": "",
	"trial":  ` |> filter(fn: (r) => r.vessel == "${vessel}")`,
	"run":    ` |> filter(fn: (r) => r.vessel == "${vessel}" and r.trial == "${trial}")`,
}

// choice is a variable whose values are those of a tag.
func choice(name string) object {
	measurement := "trials"
	if name == "run" {
		measurement = "runs"
	}
	query := `from(bucket: "${bucket}") |> range(start: v.timeRangeStart, stop: v.timeRangeStop)` +
		` |> filter(fn: (r) => r._measurement == "` + measurement + `" and r._field == "start")` + choices[name] +
		` |> group(columns: ["` + name + `"]) |> first() |> group()` +
		` |> keep(columns: ["` + name + `"]) |> rename(columns: {` + name + `: "_value"})`
	return object{
		"name": name, "label": strings.ToUpper(name[:1]) + name[1:], "type": "query", "datasource": source,
		"query": object{"query": query}, "definition": query, "refresh": 2, "sort": 3,
	}
}
