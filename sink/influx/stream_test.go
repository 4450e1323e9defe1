package influx

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"trialday.example/logd/calc"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/clock"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/journal"
)

func offline(t testing.TB, boat string) configs.Config {
	return demoConfig(t, boat, &realServer{db: "none"}, "http://127.0.0.1:1")
}

// Read as it grows, in pieces of any size and with the program started anew in
// between, a journal gives the same points as read afterwards: each with the
// same time, tags and fields, in the same order. Samples never leave before
// their run has ended.
func TestLiveAndLaterAreTheSamePoints(t *testing.T) {
	for _, c := range []struct {
		boat, scenario string
		share          float64
	}{{"triple", "accuracy", 0.2}, {"single", "demo-single", 0.15}} {
		t.Run(c.boat, func(t *testing.T) {
			frames := framesOf(t, c.scenario).first(c.share)
			want := pointsOf(t, options(offline(t, c.boat), frames.write(t, t.TempDir())))
			if len(want) < 1000 {
				t.Fatalf("%d points only", len(want))
			}
			dir := t.TempDir()
			w, err := journal.Create(dir, journal.Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer w.Close()
			o := options(offline(t, c.boat), dir)
			over := false
			o.Final = func() bool { return over }
			var live []Point
			var s *stream
			piece := 7
			for i := range frames.frames {
				f := &frames.frames[i]
				if err := w.Append(f, frames.buses[f.Bus]); err != nil {
					t.Fatal(err)
				}
				if i%piece != 0 {
					continue
				}
				piece = 1 + (piece*5+1)%9001
				if err := w.Flush(); err != nil {
					t.Fatal(err)
				}
				if i%3 == 0 && s != nil { // started anew: the points that went are made again
					s.close()
					s, live = nil, nil
				}
				if s == nil {
					s = open(t, o)
				}
				live = append(live, drain(t, s, io.EOF)...)
			}
			if err := w.Flush(); err != nil {
				t.Fatal(err)
			}
			over = true
			live = append(live, drain(t, s, errEnd)...)
			s.close()
			for i := range min(len(live), len(want)) {
				if !reflect.DeepEqual(live[i], want[i]) {
					t.Fatalf("point %d: live %+v, later %+v", i, live[i], want[i])
				}
			}
			if len(live) != len(want) {
				t.Fatalf("live %d points, later %d", len(live), len(want))
			}
		})
	}
}

func open(t testing.TB, o Options) *stream {
	t.Helper()
	id, err := identify(o.Journal, &o.Config)
	if err != nil {
		t.Fatal(err)
	}
	s, err := openStream(&o, id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func drain(t testing.TB, s *stream, end error) []Point {
	t.Helper()
	var all []Point
	for {
		points, err := s.next()
		if errors.Is(err, end) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, points...)
	}
}

// seriesOf is what tells a series from another.
func seriesOf(p *Point) string {
	tags := make([]string, len(p.Tags))
	for i, tag := range p.Tags {
		tags[i] = tag.Key + "=" + tag.Value
	}
	slices.Sort(tags)
	return p.Measurement + "," + strings.Join(tags, ",")
}

// No two samples of a series share a time, each lies in its run, and steady ones
// in an accepted window.
func TestSamplesLieInTheirRuns(t *testing.T) {
	frames := framesOf(t, "accuracy").first(0.5)
	cfg := offline(t, "triple")
	points := pointsOf(t, options(cfg, frames.write(t, t.TempDir())))
	type interval struct{ from, to int64 }
	run := map[string]interval{}
	steady := map[string][]interval{}
	value := func(p *Point, key string) any {
		for _, f := range p.Fields {
			if f.Key == key {
				return f.Value
			}
		}
		return nil
	}
	for i := range points {
		p := &points[i]
		if from, ok := value(p, "start").(int64); ok && p.tag("run") != "" {
			in := interval{from, value(p, "end").(int64)}
			if p.Measurement == runs {
				run[p.tag("run")] = in
			} else if value(p, "accepted") == true {
				steady[p.tag("run")] = append(steady[p.tag("run")], in)
			}
		}
	}
	seen := map[string]bool{}
	inside, outside := 0, 0
	for i := range points {
		p := &points[i]
		truth, isSample := value(p, "steady").(bool)
		if !isSample {
			continue
		}
		key := fmt.Sprint(seriesOf(p), p.Time)
		if seen[key] {
			t.Fatalf("two points at one time: %+v", p)
		}
		seen[key] = true
		in, last := run[p.tag("run")], p.tag("run") == fmt.Sprint(len(run))
		if p.Time < in.from || p.Time >= in.to+10 && !last {
			t.Fatalf("%+v is not in its run, %+v", p, in)
		}
		holds := slices.ContainsFunc(steady[p.tag("run")], func(i interval) bool { return p.Time >= i.from && p.Time < i.to })
		if holds != truth {
			t.Fatalf("%+v: steady, but windows are %+v", p, steady[p.tag("run")])
		}
		if truth {
			inside++
		} else {
			outside++
		}
	}
	if inside < 1000 || outside < 1000 {
		t.Errorf("%d steady, %d not", inside, outside)
	}
}

// A recorder that starts in 1970: every point is dated right, though the time
// was heard only later.
func TestNothingIsDatedBeforeTheTimeIsKnown(t *testing.T) {
	frames := framesOf(t, "demo-single").first(0.3)
	cfg := offline(t, "single")
	want := frames.results(cfg)
	points := pointsOf(t, options(cfg, frames.write(t, t.TempDir())))
	if frames.frames[0].Time > 1e18 || !want.Clock.Known {
		t.Fatal("the scenario's recorder does not start in 1970")
	}
	from, to := parseTime(want.Trial.Start), parseTime(want.Trial.End)
	earliest := int64(math.MaxInt64)
	for i := range points {
		earliest = min(earliest, points[i].Time)
		if at := points[i].Time; at < from-2e9 || at > to+2e9 {
			t.Fatalf("%+v is dated outside of %s to %s", points[i], want.Trial.Start, want.Trial.End)
		}
	}
	if earliest > from+2e9 {
		t.Errorf("the first point is %v s late", float64(earliest-from)/1e9)
	}
}

// Without any receiver nothing leaves until the trial is closed; then it is
// dated by the recorder's clock, and says so.
func TestTimeNeverKnown(t *testing.T) {
	all := framesOf(t, "accuracy").first(0.2)
	deaf := &dayFrames{buses: all.buses}
	for _, f := range all.frames {
		switch pgn.ParseID(f.ID).PGN {
		case 126992, 129029, 129033:
		default:
			deaf.frames = append(deaf.frames, f)
		}
	}
	o := options(offline(t, "triple"), deaf.write(t, t.TempDir()))
	over := false
	o.Final = func() bool { return over }
	s := open(t, o)
	defer s.close()
	if early := drain(t, s, io.EOF); len(early) != 0 {
		t.Fatalf("%d points left though the time was not known", len(early))
	}
	over = true
	points := drain(t, s, errEnd)
	if len(points) < 1000 {
		t.Fatalf("%d points", len(points))
	}
	first := deaf.frames[0].Time
	for i := range points {
		if d := points[i].Time - first; d < -1e9 || d > 3600e9 {
			t.Fatalf("%+v is not by the recorder's clock", points[i])
		}
		for _, f := range points[i].Fields {
			if f.Key == "clock_known" && f.Value != false {
				t.Errorf("%s says that the clock is known", points[i].Measurement)
			}
		}
	}
}

// At rest a quantity is thinned to its rate; under way nothing is.
func TestThinning(t *testing.T) {
	frames := framesOf(t, "accuracy").first(0.3)
	count := func(rate float64, thin ...configs.Thin) (resting, underWay, depths int) {
		cfg := offline(t, "triple")
		cfg.Influx.RateHz, cfg.Influx.Thin = rate, thin
		points := pointsOf(t, options(cfg, frames.write(t, t.TempDir())))
		slow := map[string]bool{}
		for i := range points {
			for _, f := range points[i].Fields {
				if f.Key == "kind" {
					slow[points[i].tag("run")] = f.Value == "at_rest" || f.Value == "manoeuvring"
				}
			}
		}
		for i := range points {
			for _, f := range points[i].Fields {
				switch {
				case points[i].Measurement != engine && f.Key != "depth" || f.Key == "steady":
				case f.Key == "depth" && slow[points[i].tag("run")]:
					depths++
				case slow[points[i].tag("run")]:
					resting++
				default:
					underWay++
				}
			}
		}
		return resting, underWay, depths
	}
	allRest, allWay, allDepths := count(0)
	rest, way, depths := count(1)
	if way != allWay || rest >= allRest/2 || rest == 0 {
		t.Errorf("at 1 Hz: %d of %d at rest, %d of %d under way", rest, allRest, way, allWay)
	}
	_, _, fewer := count(0, configs.Thin{Quantity: "depth", RateHz: 0.2})
	if fewer == 0 || fewer > depths/3 || depths > allDepths {
		t.Errorf("depth: %d of %d at 0.2 Hz", fewer, depths)
	}
}

// Whatever comes, the tags and the series of a trial are bounded.
func TestCardinalityIsBounded(t *testing.T) {
	cfg := offline(t, "triple")
	m := newMaker(&cfg, identity{"vessel", "trial", "id"}, func() []string { return []string{"can0"} })
	// 200 devices.
	for a := range 200 {
		f := frame.Frame{Time: int64(a+1) * 1e6}
		f.ID, f.Length, f.IsExtended = pgn.Header{PGN: 127250, Source: uint8(a), Destination: 255, Priority: 2}.ID(), 8, true
		m.decoder.Frame(&f)
	}
	devices := len(m.decoder.Devices())
	if devices < 200 {
		t.Fatalf("%d devices", devices)
	}
	var c clock.Clock
	c.Tick(0)
	quantities := []pgn.Quantity{}
	for q := pgn.Quantity(1); q < pgn.NumQuantities; q++ {
		if measurementOf[q] == "" {
			t.Errorf("%s goes to no measurement", q)
		}
		quantities = append(quantities, q)
	}
	series, values := map[string]bool{}, map[string]map[string]bool{}
	inRun := map[string]map[string]bool{}
	at := int64(0)
	for id := 1; id <= MaxRuns+200; id++ {
		r := calc.Run{ID: id, Kind: calc.Turning, Start: at, End: at + 400e9}
		m.begin(&r, nil, &c, true, false)
		for i := range 400 {
			at += 1e9
			m.Sample(sample.Sample{Time: at - 1, Value: 1, Quantity: quantities[(i*7+id)%len(quantities)],
				Instance: uint8(i*13 + id), Source: uint16((i*31 + id*17) % devices)})
		}
		m.end()
		for i := range m.out {
			p := &m.out[i]
			s := seriesOf(p)
			series[s] = true
			if inRun[p.tag("run")] == nil {
				inRun[p.tag("run")] = map[string]bool{}
			}
			inRun[p.tag("run")][s] = true
			for _, tag := range p.Tags {
				if values[tag.Key] == nil {
					values[tag.Key] = map[string]bool{}
				}
				values[tag.Key][tag.Value] = true
			}
		}
		m.out = m.out[:0]
	}
	for key, most := range map[string]int{"run": MaxRuns + 1, "source": MaxSources + 1, "engine": calc.MaxEngines + 1,
		"tank": maxTanks + 1, "battery": maxTanks + 1, "vessel": 1, "trial": 1} {
		if n := len(values[key]); n > most || n == 0 {
			t.Errorf("%s has %d values, at most %d are allowed", key, n, most)
		}
	}
	worst := 0
	for _, s := range inRun {
		worst = max(worst, len(s))
	}
	if worst > MaxRunSeries+2+calc.MaxEngines+1 || len(series) > MaxSeries {
		t.Errorf("%d series in a run, %d in all; at most %d and %d", worst, len(series), MaxRunSeries, MaxSeries)
	}
	t.Logf("a hostile day: %d series of at most %d, %d in the worst run", len(series), MaxSeries, worst)
}

// Names that would break a line or a tag are made harmless.
func TestTagsAreClean(t *testing.T) {
	for in, want := range map[string]string{
		"Boat A": "Boat A", "": "-", " \t ": "-", "a\nb": "a b", `tail\`: "tail/", "x\xff": "x",
		strings.Repeat("é", 100): strings.Repeat("é", maxTagBytes/2),
	} {
		if got := clean(in, "-"); got != want {
			t.Errorf("%q became %q, want %q", in, got, want)
		}
	}
	cfg := offline(t, "triple")
	cfg.Engines[0].Name, cfg.Engines[1].Name, cfg.Engines[2].Name = "all", "x\n", "x"
	tags := engineTags(&cfg)
	if tags[0] != "engine 1" || tags[1] != "x" || tags[2] != "engine 3" {
		t.Errorf("engines %q", tags)
	}
}

// Between two starts with another configuration, version or server, nothing is
// taken from the cursor; with the same it goes on.
func TestCursorBelongsToItsStream(t *testing.T) {
	dir := framesOf(t, "accuracy").first(0.01).write(t, t.TempDir())
	o := options(offline(t, "triple"), dir)
	id, err := identify(dir, &o.Config)
	if err != nil {
		t.Fatal(err)
	}
	file := t.TempDir() + "/cursor"
	c := cursor{Stream: fingerprint(&o, id), Points: 77}
	if err := c.save(file); err != nil {
		t.Fatal(err)
	}
	if got := readCursor(file, fingerprint(&o, id)); got.Points != 77 {
		t.Errorf("%+v", got)
	}
	for name, change := range map[string]func(*Options){
		"version": func(o *Options) { o.Version = "next" },
		"server":  func(o *Options) { o.Config.Influx.URL = "http://127.0.0.1:2" },
		"bucket":  func(o *Options) { o.Config.Influx.Bucket = "x" },
		"rate":    func(o *Options) { o.Config.Influx.RateHz = 2 },
		"steady":  func(o *Options) { o.Config.Steady.MinS = 30 },
	} {
		other := o
		change(&other)
		if got := readCursor(file, fingerprint(&other, id)); got.Points != 0 {
			t.Errorf("%s changed and the cursor was kept", name)
		}
	}
	same := o
	same.Config.Influx.TimeoutS, same.Config.Influx.TokenFile = 3, "elsewhere"
	if got := readCursor(file, fingerprint(&same, id)); got.Points != 77 {
		t.Error("the cursor was lost though the points are the same")
	}
}

// A trial in a logbook has the name of its directory.
func TestIdentity(t *testing.T) {
	root := t.TempDir() + "/0007-sea-trial"
	dir := framesOf(t, "accuracy").first(0.01).write(t, root+"/frames")
	cfg := offline(t, "triple")
	if id, err := identify(dir, &cfg); err != nil || id.trial != cfg.Trial.Name {
		t.Errorf("%+v, %v", id, err)
	}
	if err := replace(root+"/trial.json", []byte("{}")); err != nil {
		t.Fatal(err)
	}
	if id, err := identify(Frames(root), &cfg); err != nil || id.trial != "0007-sea-trial" || id.vessel != cfg.Vessel.Name {
		t.Errorf("%+v, %v", id, err)
	}
	if cursorFile(dir) != root+"/"+cursorName {
		t.Errorf("cursor in %s", cursorFile(dir))
	}
	cfg.Trial.Name, cfg.Vessel.Name = "", ""
	other := framesOf(t, "accuracy").first(0.01).write(t, t.TempDir())
	if id, err := identify(other, &cfg); err != nil || !strings.HasPrefix(id.trial, "journal ") || id.vessel != "unnamed" {
		t.Errorf("%+v, %v", id, err)
	}
	if _, err := identify(t.TempDir(), &cfg); !errors.Is(err, errNoFrames) {
		t.Errorf("an empty journal: %v", err)
	}
}

// An empty journal is waited for, and is nothing to send once it is final.
func TestEmptyJournal(t *testing.T) {
	o := options(offline(t, "triple"), t.TempDir())
	o.Once = false
	asked := 0
	o.Final = func() bool { asked++; return asked > 3 }
	passed := newFakeTime()
	o.Pace = passed.pace()
	if c := run(t, o); c.Requests != 0 || len(passed.slept) != 3 {
		t.Errorf("%+v after %v", c, passed.slept)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	o.Final = func() bool { return false }
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Run(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

// A journal that grew after it was sent as a whole is sent again, with a warning.
func TestJournalGrewAfterItsEnd(t *testing.T) {
	s := influxDB(t)
	all := framesOf(t, "accuracy").first(0.1)
	dir := all.first(0.5).write(t, t.TempDir())
	var log strings.Builder
	o := options(demoConfig(t, "triple", s, s.url), dir)
	o.Log = logTo(&log)
	first := run(t, o)
	if again := run(t, o); again.Requests != 0 || log.Len() > 0 {
		t.Errorf("%+v, %s", again, log.String())
	}
	(&dayFrames{frames: all.frames[len(all.frames)/2:], buses: all.buses}).write(t, dir)
	more := run(t, o)
	if more.Sent <= first.Sent || !strings.Contains(log.String(), "sent again") {
		t.Errorf("%+v after %+v, %s", more, first, log.String())
	}
}

func TestUnknownQuantityToThin(t *testing.T) {
	cfg := offline(t, "triple")
	cfg.Influx.Thin = []configs.Thin{{Quantity: "dept", RateHz: 1}}
	if _, err := New(options(cfg, t.TempDir())); err == nil || !strings.Contains(err.Error(), "influx.thin[0]") {
		t.Errorf("got %v", err)
	}
}
