package timeline

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"trialday.example/logd/calc"
)

const began = int64(1_900_000_000e9)

// utc dates the seconds of a test: a clock that drifts.
func utc(trial int64) int64 { return began + trial + trial/100_000 }

// sea makes seconds of an invented day: values wander, sensors come and go.
type sea struct {
	*rand.Rand
	engines int
	silent  [8]int // seconds of silence left, of each kind of value
	phase   float64
	at      int64
}

func newSea(seed uint64, engines int) *sea {
	return &sea{Rand: rand.New(rand.NewPCG(seed, 7)), engines: engines, at: 3e9}
}

func (s *sea) value(kind int, v float64) float64 {
	if s.silent[kind]--; s.silent[kind] > 0 {
		return math.NaN()
	}
	if s.Float64() < 0.001 {
		s.silent[kind] = s.IntN(400)
	}
	return v
}

func (s *sea) next() (m *calc.Moment, lat, lon float64) {
	s.phase += 0.01 * s.NormFloat64()
	m = &calc.Moment{At: s.at, SOG: s.value(0, 10+5*math.Sin(s.phase)+s.NormFloat64()), STW: math.NaN(),
		Fuel: s.value(1, 5e-5*(1+s.Float64())), Heading: s.value(2, 40*s.phase), Course: s.value(3, math.Pi*s.Float64()),
		Pitch: s.value(4, 0.1*s.NormFloat64()), Roll: s.value(5, 0.1*s.NormFloat64()), Depth: s.value(6, 20*s.Float64()), Power: s.value(6, 4e4*s.Float64())}
	for e := range m.RPM {
		m.RPM[e] = math.NaN()
		if e < s.engines {
			m.RPM[e] = s.value(7, 30+s.NormFloat64())
		}
	}
	s.at += second
	return m, s.value(0, 50+s.phase/100), s.value(0, -3+s.phase/100)
}

// day is a timeline beside the seconds it was made of.
type day struct {
	line     *Timeline
	moments  []*calc.Moment
	lat, lon []float64
}

func newDay(seed uint64, seconds, engines int) *day {
	d := &day{line: New()}
	s := newSea(seed, engines)
	for range seconds {
		m, lat, lon := s.next()
		d.moments, d.lat, d.lon = append(d.moments, m), append(d.lat, lat), append(d.lon, lon)
		d.line.Add(m, lat, lon)
	}
	d.line.Name([]string{"port", "starboard"})
	d.line.Date(utc)
	return d
}

// check compares a view with the seconds.
func (d *day) check(t *testing.T, v *View) {
	t.Helper()
	for i := range v.Time {
		from := d.second(t, v.Time[i])
		to := min(from+int(v.StepS), len(d.moments))
		for key, c := range v.Channels {
			d.checkCell(t, key, c, i, from, to)
		}
	}
}

// second finds the second that begins at a time.
func (d *day) second(t *testing.T, unix float64) int {
	t.Helper()
	i := int(math.Round((unix - float64(utc(d.moments[0].At))/1e9) / (1 + 1e-5)))
	if i < 0 || i >= len(d.moments) || math.Abs(float64(utc(d.moments[i].At))/1e9-unix) > 0.002 {
		t.Fatalf("no second begins at %f", unix)
	}
	return i
}

func (d *day) checkCell(t *testing.T, key string, c Channel, i, from, to int) {
	t.Helper()
	ch, engine := channelOf(t, key)
	lo, hi, sum, n, vector := math.Inf(1), math.Inf(-1), 0.0, 0, [2]float64{}
	for _, m := range d.moments[from:to] {
		v := ch.of(m, engine)
		if math.IsNaN(v) {
			continue
		}
		sin, cos := math.Sincos(v)
		vector[0], vector[1] = vector[0]+cos, vector[1]+sin
		v *= ch.scale
		lo, hi, sum = min(lo, v), max(hi, v), sum+v
		n++
	}
	if (n == 0) != math.IsNaN(c.Mean[i]) {
		t.Fatalf("%s: %g from %d values in seconds %d to %d", key, c.Mean[i], n, from, to)
	}
	if n == 0 {
		return
	}
	rounding := 0.0005 + 1.5*ch.quantum*ch.scale
	near := func(got, want float64) bool { return math.Abs(got-want) <= rounding+1e-6*math.Abs(want) }
	if ch.direction {
		want := math.Atan2(vector[1], vector[0]) * degree
		length := math.Hypot(vector[0], vector[1]) / float64(n)
		if off := math.Remainder(c.Mean[i]-want, 360); math.Abs(off) > 0.0006+2*ch.quantum*degree/length || c.Mean[i] < 0 || c.Mean[i] >= 360 {
			t.Fatalf("%s: %g in seconds %d to %d, want %g", key, c.Mean[i], from, to, want)
		}
		return
	}
	if !near(c.Min[i], lo) || !near(c.Max[i], hi) || !near(c.Mean[i], sum/float64(n)) {
		t.Fatalf("%s: %g, %g, %g in seconds %d to %d, want %g, %g, %g", key, c.Min[i], c.Mean[i], c.Max[i], from, to, lo, sum/float64(n), hi)
	}
}

func channelOf(t *testing.T, key string) (ch *channel, engine int) {
	t.Helper()
	for i := range channels {
		name, found := strings.CutPrefix(key, channels[i].key)
		switch {
		case !found:
		case name == "" || name == "port":
			return &channels[i], 0
		case name == "starboard":
			return &channels[i], 1
		}
	}
	t.Fatalf("channel %q", key)
	return nil, 0
}

// Whatever the range and the zoom, a cell is what its seconds are.
func TestViewsAreWhatTheSecondsAre(t *testing.T) {
	for _, seconds := range []int{1, 2, 5, 64, 1000, 5000} {
		d := newDay(uint64(seconds), seconds, 2)
		r := rand.New(rand.NewPCG(1, uint64(seconds)))
		first, last := float64(utc(d.moments[0].At))/1e9, float64(utc(d.moments[seconds-1].At))/1e9
		whole := d.line.View(math.Inf(-1), math.Inf(1), seconds)
		if len(whole.Time) != seconds || whole.StepS != 1 {
			t.Fatalf("%d points of %g s for %d seconds", len(whole.Time), whole.StepS, seconds)
		}
		d.check(t, whole)
		for range 60 {
			from := first + r.Float64()*(last-first)
			to := from + r.ExpFloat64()*(last-first)/4
			points := 1 + r.IntN(500)
			v := d.line.View(from, to, points)
			if n := len(v.Time); n > 2*points+2 || n == 0 || v.Time[0] > from+0.01 || v.Time[n-1]+v.StepS < min(to, last) {
				t.Fatalf("%d points of %g s from %f, asked for %d from %f to %f", n, v.StepS, v.Time[0], points, from, to)
			}
			d.check(t, v)
		}
	}
}

// A day too long for its memory becomes coarser, and no less true.
func TestLongDaysAreCoarser(t *testing.T) {
	d := newDay(3, maxCells+70, 2)
	v := d.line.View(math.Inf(-1), math.Inf(1), 1e6)
	if v.StepS != fanout || len(v.Time) != (maxCells+70+fanout-1)/fanout {
		t.Fatalf("%d points of %g s", len(v.Time), v.StepS)
	}
	d.check(t, v)
	d.check(t, d.line.View(math.Inf(-1), math.Inf(1), 700))
	again := reread(t, d.line)
	same(t, v, again.View(math.Inf(-1), math.Inf(1), 1e6))
	same(t, d.line.Track(math.Inf(-1), math.Inf(1), 5000), again.Track(math.Inf(-1), math.Inf(1), 5000))
}

// The track shows where the boat last was in each cell, and no place where
// none was known.
func TestTrack(t *testing.T) {
	d := newDay(4, 3000, 1)
	for _, points := range []int{3000, 200, 7, 1} {
		tr := d.line.Track(math.Inf(-1), math.Inf(1), points)
		for i := range tr.Time {
			from := d.second(t, tr.Time[i])
			to := len(d.moments)
			if i+1 < len(tr.Time) {
				to = d.second(t, tr.Time[i+1])
			}
			lat, lon := math.NaN(), math.NaN()
			for k := from; k < to; k++ {
				if !math.IsNaN(d.lat[k]) && !math.IsNaN(d.lon[k]) {
					lat, lon = d.lat[k], d.lon[k]
				}
			}
			if math.IsNaN(lat) != math.IsNaN(tr.LatDeg[i]) || math.Abs(lat-tr.LatDeg[i]) > 1e-7 || math.Abs(lon-tr.LonDeg[i]) > 1e-7 {
				t.Fatalf("%d points, seconds %d to %d: %v %v, want %v %v", points, from, to, tr.LatDeg[i], tr.LonDeg[i], lat, lon)
			}
		}
	}
}

func TestNothingIsNoFault(t *testing.T) {
	for _, line := range []*Timeline{New(), reread(t, New())} {
		line.Date(utc)
		v := line.View(math.Inf(-1), math.Inf(1), 1000)
		if len(v.Time) != 0 || len(v.Channels) != 0 {
			t.Errorf("%+v", v)
		}
		if text, err := json.Marshal(line.Track(0, 1, 0)); err != nil || string(text) != `{"time":[],"lat_deg":[],"lon_deg":[],"sog_kn":[]}` {
			t.Errorf("%s, %v", text, err)
		}
	}
	d := newDay(1, 100, 1)
	for _, span := range [][2]float64{{0, 1}, {4e9, 5e9}, {2, 1}, {math.NaN(), math.NaN()}, {math.Inf(1), math.Inf(-1)}} {
		if v := d.line.View(span[0], span[1], 10); len(v.Time) != 0 {
			t.Errorf("%v: %d points", span, len(v.Time))
		}
	}
}

func same(t *testing.T, a, b any) {
	t.Helper()
	x, err1 := json.Marshal(a)
	y, err2 := json.Marshal(b)
	if err1 != nil || err2 != nil || !bytes.Equal(x, y) {
		t.Fatalf("differ, %v, %v: %.300s %.300s", err1, err2, x, y)
	}
}

func written(t testing.TB, line *Timeline) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := line.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func reread(t testing.TB, line *Timeline) *Timeline {
	t.Helper()
	again, err := Read(written(t, line))
	if err != nil {
		t.Fatal(err)
	}
	return again
}

// What is read is what was written, at every zoom, and writing is a function of
// the day.
func TestFilesKeepTheDay(t *testing.T) {
	d := newDay(9, 4321, 2)
	again := reread(t, d.line)
	for _, points := range []int{1, 10, 333, 5000} {
		same(t, d.line.View(math.Inf(-1), math.Inf(1), points), again.View(math.Inf(-1), math.Inf(1), points))
		same(t, d.line.Track(math.Inf(-1), math.Inf(1), points), again.Track(math.Inf(-1), math.Inf(1), points))
	}
	if !bytes.Equal(written(t, d.line), written(t, newDay(9, 4321, 2).line)) || !bytes.Equal(written(t, d.line), written(t, again)) {
		t.Error("the files of one day differ")
	}
}

// A damaged file is refused in one line that names it and the remedy.
func TestDamagedFilesAreRefused(t *testing.T) {
	whole := written(t, newDay(2, 500, 2).line)
	r := rand.New(rand.NewPCG(8, 8))
	for range 300 {
		text := bytes.Clone(whole)
		if r.IntN(3) == 0 {
			text = text[:r.IntN(len(text))]
		} else {
			text[r.IntN(len(text))] ^= 1 << r.IntN(8)
		}
		if _, err := Read(text); err == nil {
			t.Fatal("accepted")
		}
	}
	name := filepath.Join(t.TempDir(), File)
	if err := os.WriteFile(name, whole[:len(whole)-1], 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := Open(name)
	if err == nil || !strings.HasPrefix(err.Error(), name+": the timeline is damaged") || !strings.Contains(err.Error(), "replay") || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v", err)
	}
	if _, err := Open(name + "x"); !os.IsNotExist(err) {
		t.Errorf("%v", err)
	}
}

// Times follow UTC through drift, jumps and pauses.
func TestDates(t *testing.T) {
	jumpy := func(s int) int64 {
		v := began + int64(s)*second + int64(s)*20_000
		if s >= 700 {
			v += 3600e9
		}
		if s >= 701 {
			v += 17e9
		}
		return v
	}
	list := dated(2000, jumpy)
	for s := range 2000 {
		want := float64(jumpy(s)) / 1e9
		if got := unix(list, s); math.Abs(got-want) > 0.0021 {
			t.Fatalf("second %d at %f, want %f", s, got, want)
		}
		if got := secondAt(list, want+0.5); got != s {
			t.Fatalf("second %d is found as %d", s, got)
		}
	}
	if len(list) > 60 {
		t.Errorf("%d dates", len(list))
	}
}

// Looking goes on while the day does.
func TestLookingWhileTheDayGoesOn(t *testing.T) {
	line := New()
	var looking sync.WaitGroup
	done := make(chan struct{})
	for range 2 {
		looking.Go(func() {
			for {
				v := line.View(math.Inf(-1), math.Inf(1), 100)
				line.Track(math.Inf(-1), math.Inf(1), 100)
				for _, c := range v.Channels {
					if len(c.Mean) != len(v.Time) {
						t.Errorf("%d values at %d times", len(c.Mean), len(v.Time))
					}
				}
				select {
				case <-done:
					return
				default:
				}
			}
		})
	}
	s := newSea(1, 2)
	for i := range 2000 {
		line.Add(s.next())
		if i%10 == 0 {
			line.Date(utc)
			line.Name([]string{"engine"})
		}
	}
	close(done)
	looking.Wait()
}

// FuzzRead: whatever a file holds, it is refused or can be looked at.
func FuzzRead(f *testing.F) {
	f.Add(written(f, newDay(1, 50, 1).line))
	f.Add(written(f, New()))
	f.Fuzz(func(t *testing.T, text []byte) {
		if line, err := Read(text); err == nil {
			look(t, line)
		}
	})
}

// FuzzBody: the same behind checksum and compression.
func FuzzBody(f *testing.F) {
	f.Add(unpacked(newDay(1, 50, 1).line))
	f.Add(unpacked(New()))
	coarse := newDay(1, 50, 1).line
	coarse.coarsen()
	f.Add(unpacked(coarse))
	f.Fuzz(func(t *testing.T, text []byte) {
		r := reader{rest: text}
		if line := r.timeline(); !r.bad {
			look(t, line)
		}
	})
}

func look(t *testing.T, line *Timeline) {
	for _, points := range []int{0, 1, 7, 5000} {
		v := line.View(math.Inf(-1), math.Inf(1), points)
		line.View(float64(began)/1e9, float64(began)/1e9+20, points)
		line.Track(math.Inf(-1), math.Inf(1), points)
		if _, err := json.Marshal(v); err != nil {
			t.Fatal(err)
		}
	}
}

// A day of 12 hours with eight engines: making it, writing, opening and looking
// at it.
func BenchmarkDay(b *testing.B) {
	const seconds = 12 * 3600
	line := newDay(1, seconds, calc.MaxEngines).line
	file := written(b, line)
	b.Run("write", func(b *testing.B) {
		for b.Loop() {
			written(b, line)
		}
		b.ReportMetric(float64(len(file))/1e6, "MB")
	})
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			if _, err := Read(file); err != nil {
				b.Fatal(err)
			}
		}
	})
	for _, points := range []int{1000, 4000} {
		b.Run("view", func(b *testing.B) {
			for b.Loop() {
				line.View(math.Inf(-1), math.Inf(1), points)
			}
		})
	}
	b.Run("track", func(b *testing.B) {
		for b.Loop() {
			line.Track(math.Inf(-1), math.Inf(1), 2000)
		}
	})
	b.Run("date", func(b *testing.B) {
		for b.Loop() {
			line.Date(utc)
		}
	})
}

// unpacked is the body of a file.
func unpacked(t *Timeline) []byte {
	var text bytes.Buffer
	b := body{bufio.NewWriter(&text)}
	b.timeline(t)
	b.Flush()
	return text.Bytes()
}
