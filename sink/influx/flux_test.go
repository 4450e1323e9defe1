//go:build !race

package influx

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/configs"
	"trialday.example/logd/configs/flux"
	"trialday.example/logd/sink/results"
)

// asked is a trial on a server, beside its results.
type asked struct {
	t      *testing.T
	server *realServer
	cfg    configs.Config
	want   *results.Results
}

// ask runs a query file.
func (a *asked) ask(name, run string) []map[string]any {
	a.t.Helper()
	text, err := flux.Query(name)
	if err != nil {
		a.t.Fatal(err)
	}
	from, to := parseTime(a.want.Trial.Start), parseTime(a.want.Trial.End)
	text = strings.NewReplacer("${bucket}", a.server.bucket(), "${vessel}", a.cfg.Vessel.Name, "${trial}", a.cfg.Trial.Name, "${run}", run,
		"v.timeRangeStart", stamp(from-60e9), "v.timeRangeStop", stamp(to+60e9), "v.windowPeriod", "10s").Replace(text)
	return a.server.flux(text)
}

// near fails where a figure is not the expected one, to a ratio.
func (a *asked) near(what string, got any, want, ratio float64) {
	a.t.Helper()
	v, ok := got.(float64)
	if !ok || !(math.Abs(v-want) <= ratio*math.Abs(want)+1e-12) {
		a.t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func (a *asked) same(what string, got, want any) {
	a.t.Helper()
	if fmt.Sprint(got) != fmt.Sprint(want) {
		a.t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// at fails where a time is not the expected one. The line to UTC at a run's end
// is not quite that of the day's end.
func (a *asked) at(what string, got any, want string) {
	a.t.Helper()
	ns, ok := got.(int64)
	if t, isTime := got.(time.Time); isTime {
		ns, ok = t.UnixNano(), true
	}
	if d := ns - parseTime(want); !ok || d < -250e6 || d > 250e6 {
		a.t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func (a *asked) rows(name, run string, n int) []map[string]any {
	a.t.Helper()
	rows := a.ask(name, run)
	if len(rows) != n || n == 0 {
		a.t.Fatalf("%s: %d rows, want %d", name, len(rows), n)
	}
	return rows
}

// Every query file is run on a real server, and its answer is what results.json
// says of the same day.
func TestQueriesAnswerAsResults(t *testing.T) {
	s := influxDB(t)
	days := []struct {
		boat, scenario string
		share          float64
	}{{"triple", "accuracy", 1}, {"single", "demo-single", 0.4}}
	var all []*asked
	for _, d := range days {
		cfg := demoConfig(t, d.boat, s, s.url)
		frames := framesOf(t, d.scenario).first(d.share)
		run(t, options(cfg, frames.write(t, t.TempDir())))
		all = append(all, &asked{t, s, cfg, frames.results(cfg)})
	}
	tested := map[string]bool{}
	for _, q := range []struct {
		name string
		test func(*asked)
	}{
		{"day-overview", dayOverview}, {"day-speed", daySpeed}, {"day-rpm", dayRPM}, {"day-burn", dayBurn},
		{"run-explorer", runExplorer}, {"run-samples", runSamples}, {"steady-samples", steadySamples},
		{"speed-burn-rpm", speedBurn}, {"economy-range", economyRange}, {"engines", engineByEngine},
		{"turns-accelerations", turns}, {"manoeuvre-samples", manoeuvreSamples},
		{"data-quality", dataQuality}, {"windows-rejected", windowsRejected},
	} {
		tested[q.name] = true
		for i, a := range all {
			t.Run(fmt.Sprintf("%s/%s", q.name, days[i].boat), func(t *testing.T) {
				one := *a
				one.t = t
				q.test(&one)
			})
		}
	}
	t.Run("fleet", func(t *testing.T) { fleet(t, all) })
	tested["fleet"], tested["fleet-economy"] = true, true
	t.Run("variables", func(t *testing.T) { variables(t, all[0]) })
	for _, name := range flux.Names() {
		if !tested[name] {
			t.Errorf("the query %s is not tested", name)
		}
	}
}

func dayOverview(a *asked) {
	r := a.rows("day-overview", "", 1)[0]
	a.at("start", r["start"], a.want.Trial.Start)
	a.at("end", r["end"], a.want.Trial.End)
	a.same("runs", r["runs"], len(a.want.Runs))
	a.same("windows", r["windows"], len(a.want.Windows))
	a.same("steps", r["steps"], len(a.want.Steps))
	a.same("frames", r["frames"], a.want.Quality.Frames)
	a.same("clock", r["clock_known"], a.want.Clock.Known)
	top := stepOf(a.want, a.want.Best.TopSpeedStep)
	a.near("top speed", r["top_speed_kn"], top.SpeedKn.Mean, 1e-12)
	a.near("lo95", r["top_speed_kn_lo95"], top.SpeedKn.Lo95, 1e-12)
	best := stepOf(a.want, a.want.Best.BestEconomyStep)
	a.near("economy", r["best_economy_nm_per_l"], best.EconomyNMPerL.Mean, 1e-12)
	a.near("range", r["best_range_nm"], best.RangeNM.Mean, 1e-12)
	a.near("test mass", r["test_mass_kg"], *a.want.Vessel.TestMassKg, 1e-12)
}

// during averages a column of the rows in an accepted window, its ends left out.
func during(rows []map[string]any, w *results.Window, column string, match func(map[string]any) bool) float64 {
	from, to := parseTime(w.Start)+10e9, parseTime(w.End)
	sum, n := 0.0, 0
	for _, r := range rows {
		at := r["_time"].(time.Time).UnixNano()
		if v, ok := r[column].(float64); ok && at > from && at < to && match(r) {
			sum += v
			n++
		}
	}
	return sum / float64(n)
}

func every(map[string]any) bool { return true }

// byTime compares a series of 10 s means with the mean of each accepted window.
func (a *asked) byTime(name, column string, want func(*results.Window) []float64, match func(engine int) func(map[string]any) bool) {
	a.t.Helper()
	rows := a.ask(name, "")
	compared := 0
	for i := range a.want.Windows {
		w := &a.want.Windows[i]
		if !w.Accepted || parseTime(w.End)-parseTime(w.Start) < 25e9 {
			continue
		}
		for e, v := range want(w) {
			compared++
			a.near(fmt.Sprintf("%s, window %d", name, w.ID), during(rows, w, column, match(e)), v, 0.01)
		}
	}
	if compared == 0 {
		a.t.Error("nothing compared")
	}
}

func daySpeed(a *asked) {
	a.byTime("day-speed", "speed_kn", func(w *results.Window) []float64 { return []float64{w.SOGKn.Mean} },
		func(int) func(map[string]any) bool { return every })
}

func (a *asked) ofEngine(e int) func(map[string]any) bool {
	return func(r map[string]any) bool { return r["engine"] == a.want.Vessel.Engines[e].Name }
}

func (a *asked) perEngine(of func(*results.Window) map[string]results.Interval) func(*results.Window) []float64 {
	return func(w *results.Window) []float64 {
		var out []float64
		for _, e := range a.want.Vessel.Engines {
			out = append(out, of(w)[e.Name].Mean)
		}
		return out
	}
}

func dayRPM(a *asked) {
	a.byTime("day-rpm", "rpm", a.perEngine(func(w *results.Window) map[string]results.Interval { return w.RPM }), a.ofEngine)
}

func dayBurn(a *asked) {
	a.byTime("day-burn", "fuel_lph", a.perEngine(func(w *results.Window) map[string]results.Interval { return w.EngineFuelLPH }), a.ofEngine)
}

func runExplorer(a *asked) {
	points := int64(0)
	for i, r := range a.rows("run-explorer", "", len(a.want.Runs)) {
		w := a.want.Runs[i]
		a.same("run", r["run"], w.ID)
		a.same("kind", r["kind"], w.Kind)
		a.at("start", r["start"], w.Start)
		a.at("end", r["end"], w.End)
		if r["points"] != nil {
			points += r["points"].(int64)
		}
		lo, _ := r["sog_min_kn"].(float64)
		mean, _ := r["sog_mean_kn"].(float64)
		hi, _ := r["sog_max_kn"].(float64)
		if lo > mean || mean > hi {
			a.t.Errorf("run %d: %v %v %v", w.ID, lo, mean, hi)
		}
	}
	if points == 0 {
		a.t.Error("no points in the runs")
	}
}

func runSamples(a *asked) {
	w := a.firstAccepted()
	sum, n := 0.0, 0
	for _, r := range a.ask("run-samples", fmt.Sprint(w.Run)) {
		at := r["_time"].(time.Time).UnixNano()
		in := at >= parseTime(w.Start)+300e6 && at < parseTime(w.End)-300e6
		if in {
			sum += r["speed_kn"].(float64)
			n++
			if r["steady"] != true {
				a.t.Fatalf("a sample in the window is not steady: %v", r)
			}
		}
		if course := r["course_deg"].(float64); course < 0 || course > 360 {
			a.t.Fatalf("course %v", course)
		}
	}
	a.near("speed", sum/float64(n), w.SOGKn.Mean, 0.002)
}

func (a *asked) firstAccepted() *results.Window {
	a.t.Helper()
	for i := range a.want.Windows {
		if a.want.Windows[i].Accepted {
			return &a.want.Windows[i]
		}
	}
	a.t.Fatal("no accepted window")
	return nil
}

func steadySamples(a *asked) {
	of := map[string][]*results.Window{}
	for i := range a.want.Windows {
		if w := &a.want.Windows[i]; w.Accepted {
			of[fmt.Sprint(w.Run)] = append(of[fmt.Sprint(w.Run)], w)
		}
	}
	for _, r := range a.rows("steady-samples", "", len(of)) {
		w := of[r["run"].(string)]
		if len(w) == 1 {
			a.near("speed of run "+r["run"].(string), r["sog_kn"], w[0].SOGKn.Mean, 0.003)
		}
	}
}

func speedBurn(a *asked) {
	n := 0
	for i := range a.want.Windows {
		if a.want.Windows[i].Accepted {
			n++
		}
	}
	for _, r := range a.rows("speed-burn-rpm", "", n) {
		w := &a.want.Windows[r["window"].(int64)-1]
		a.same("run", r["run"], w.Run)
		a.at("start", r["_time"], w.Start)
		a.near("speed", r["sog_kn"], w.SOGKn.Mean, 1e-12)
		a.near("speed, upper", r["sog_kn_hi95"], w.SOGKn.Hi95, 1e-12)
		a.near("burn", r["fuel_lph"], w.FuelLPH.Mean, 1e-12)
		// The mean of the driving engines: between the slowest and the fastest.
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range w.RPM {
			lo, hi = min(lo, v.Mean), max(hi, v.Mean)
		}
		if rpm := r["rpm"].(float64); rpm < lo*(1-1e-9) || rpm > hi*(1+1e-9) {
			a.t.Errorf("rpm: %v, want %v to %v", rpm, lo, hi)
		}
		if w.Step != nil {
			a.same("step", r["step"], *w.Step)
		} else {
			a.same("step", r["step"], nil)
		}
	}
}

func economyRange(a *asked) {
	for i, r := range a.rows("economy-range", "", len(a.want.Steps)) {
		s := &a.want.Steps[i]
		a.same("step", r["step"], s.ID)
		a.same("passes", r["passes"], s.Passes)
		a.same("corrected", r["current_corrected"], s.CurrentCorrected)
		for _, f := range []struct {
			key  string
			want float64
		}{
			{"rpm", s.RPM}, {"speed_kn", s.SpeedKn.Mean}, {"speed_kn_lo95", s.SpeedKn.Lo95}, {"speed_kn_hi95", s.SpeedKn.Hi95},
			{"fuel_lph", s.FuelLPH.Mean}, {"economy_nm_per_l", s.EconomyNMPerL.Mean}, {"economy_nm_per_l_lo95", s.EconomyNMPerL.Lo95},
			{"economy_l_per_nm", s.EconomyLPerNM.Mean}, {"range_nm", s.RangeNM.Mean}, {"range_burn_off_nm", *s.RangeBurnOffNM},
			{"load_pct", *s.LoadPct}, {"mass_kg", *s.MassKg},
		} {
			a.near(f.key, r[f.key], f.want, 1e-12)
		}
		a.at("start", r["start"], a.want.Windows[s.Windows[0]-1].Start)
	}
}

func engineByEngine(a *asked) {
	n := 0
	for i := range a.want.Windows {
		if a.want.Windows[i].Accepted {
			n += len(a.want.Windows[i].EngineFuelLPH)
		}
	}
	for _, r := range a.rows("engines", "", n) {
		w, name := &a.want.Windows[r["window"].(int64)-1], r["engine"].(string)
		a.near("rpm", r["rpm"], w.RPM[name].Mean, 1e-12)
		a.near("burn", r["fuel_lph"], w.EngineFuelLPH[name].Mean, 1e-12)
		sum := 0.0
		for _, v := range w.EngineFuelLPH {
			sum += v.Mean
		}
		mean := sum / float64(len(w.EngineFuelLPH))
		if got := r["from_mean_pct"].(float64); math.Abs(got-100*(w.EngineFuelLPH[name].Mean/mean-1)) > 1e-9 {
			a.t.Errorf("from the mean: %v", got)
		}
	}
}

func turns(a *asked) {
	kinds := map[int]string{}
	for _, r := range a.want.Runs {
		if r.Kind == "turning" || r.Kind == "accelerating" {
			kinds[r.ID] = r.Kind
		}
	}
	for _, r := range a.rows("turns-accelerations", "", len(kinds)) {
		run := &a.want.Runs[r["run"].(int64)-1]
		a.same("kind", r["kind"], kinds[run.ID])
		a.near("duration", r["duration_s"], float64(parseTime(run.End)-parseTime(run.Start))/1e9, 0.01)
		a.near("change", r["change_kn"], r["sog_max_kn"].(float64)-r["sog_min_kn"].(float64), 1e-9)
	}
}

func manoeuvreSamples(a *asked) {
	for _, run := range a.want.Runs {
		if run.Kind != "turning" {
			continue
		}
		fields := map[string]int{}
		for _, r := range a.ask("manoeuvre-samples", fmt.Sprint(run.ID)) {
			fields[r["_field"].(string)]++
			at := r["_time"].(time.Time).UnixNano()
			if at < parseTime(run.Start)-300e6 || at > parseTime(run.End)+300e6 {
				a.t.Fatalf("%v is not in run %d, %s to %s", r["_time"], run.ID, run.Start, run.End)
			}
		}
		long := float64(parseTime(run.End)-parseTime(run.Start)) / 1e9
		for _, f := range []string{"speed_kn", "heading_deg"} {
			if float64(fields[f]) < 0.9*long {
				a.t.Errorf("%d samples of %s in %v s", fields[f], f, long)
			}
		}
		return
	}
	a.t.Error("no turn that day")
}

func dataQuality(a *asked) {
	got := map[string]float64{}
	for _, r := range a.ask("data-quality", "") {
		got[r["_field"].(string)] = r["_value"].(float64)
	}
	q := &a.want.Quality
	for name, want := range map[string]int64{
		"frames": q.Frames, "messages": q.Messages, "error_frames": q.ErrorFrames,
		"unknown_frames": q.UnknownPGNFrames, "messages_lost": q.FastPacketLost, "clock_steps": int64(a.want.Clock.Steps),
	} {
		if v, ok := got[name]; !ok || v != float64(want) {
			a.t.Errorf("%s: %v, want %d", name, v, want)
		}
	}
}

func windowsRejected(a *asked) {
	want := map[string]int{}
	for _, w := range a.want.Windows {
		if !w.Accepted {
			want[w.Reason]++
		}
	}
	rows := a.ask("windows-rejected", "")
	for _, r := range rows {
		a.same(r["reason"].(string), r["window"], want[r["reason"].(string)])
	}
	a.same("reasons", len(rows), len(want))
}

func fleet(t *testing.T, all []*asked) {
	// A range that holds both days.
	first := *all[0]
	first.t = t
	both := *first.want
	for _, a := range all {
		if a.want.Trial.Start < both.Trial.Start {
			both.Trial.Start = a.want.Trial.Start
		}
		if a.want.Trial.End > both.Trial.End {
			both.Trial.End = a.want.Trial.End
		}
	}
	first.want = &both
	of := map[string]*asked{}
	for _, a := range all {
		of[a.cfg.Vessel.Name] = a
	}
	for _, r := range first.rows("fleet", "", len(all)) {
		a := of[r["vessel"].(string)]
		first.same("trial", r["trial"], a.cfg.Trial.Name)
		first.near("top speed", r["top_speed_kn"], stepOf(a.want, a.want.Best.TopSpeedStep).SpeedKn.Mean, 1e-12)
	}
	n := 0
	for _, a := range all {
		n += len(a.want.Steps)
	}
	for _, r := range first.rows("fleet-economy", "", n) {
		s := &of[r["vessel"].(string)].want.Steps[r["step"].(int64)-1]
		first.near("speed", r["speed_kn"], s.SpeedKn.Mean, 1e-12)
		first.near("economy", r["economy_nm_per_l"], s.EconomyNMPerL.Mean, 1e-12)
	}
}

// variables asks what the dashboards ask to offer vessels, trials and runs.
func variables(t *testing.T, a *asked) {
	want := map[string][]string{"vessel": {a.cfg.Vessel.Name}, "trial": {a.cfg.Trial.Name}}
	for _, r := range a.want.Runs {
		want["run"] = append(want["run"], fmt.Sprint(r.ID))
	}
	from, to := parseTime(a.want.Trial.Start), parseTime(a.want.Trial.End)
	for _, d := range flux.Dashboards() {
		text, err := d.JSON()
		if err != nil {
			t.Fatal(err)
		}
		var page struct {
			Templating struct {
				List []struct{ Name, Definition string }
			}
		}
		if err := json.Unmarshal(text, &page); err != nil {
			t.Fatal(err)
		}
		for _, v := range page.Templating.List {
			if v.Definition == "" {
				continue
			}
			got := map[string]bool{}
			for _, r := range a.server.flux(strings.NewReplacer("${bucket}", a.server.bucket(), "${vessel}", a.cfg.Vessel.Name,
				"${trial}", a.cfg.Trial.Name, "v.timeRangeStart", stamp(from-60e9), "v.timeRangeStop", stamp(to+60e9)).Replace(v.Definition)) {
				got[fmt.Sprint(r["_value"])] = true
			}
			for _, value := range want[v.Name] {
				if !got[value] {
					t.Errorf("%s: %s does not offer %q", d.Name, v.Name, value)
				}
			}
			if len(got) != len(want[v.Name]) {
				t.Errorf("%s: %s offers %d values, want %d", d.Name, v.Name, len(got), len(want[v.Name]))
			}
		}
	}
}
