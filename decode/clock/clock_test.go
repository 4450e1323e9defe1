package clock

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"trialday.example/logd/pgn"
)

const (
	sec = int64(time.Second)
	ms  = int64(time.Millisecond)
)

// morning is the true UTC at which the days of the tests begin.
var morning = time.Date(2024, 6, 3, 7, 0, 0, 0, time.UTC).UnixNano()

// receiver sends a reading every second.
type receiver struct {
	source   uint16
	pgn      uint32
	own      bool
	from     int64 // true time from which it sends
	off      int64 // by which its time is wrong
	delayMax int64
}

// day is a simulated day: the true time runs on, the recorder's clock does what
// the test says.
type day struct {
	length    int64
	utc       int64                  // true UTC at the start; morning if 0
	recorder  func(true int64) int64 // capture time at a true time since the start
	silent    func(true int64) bool  // nothing is recorded
	receivers []receiver
	seed      uint64

	clock  Clock
	truth  []int64 // true times of frames
	trial  []int64 // what became of them
	opened int     // index of the first frame after an open jump
}

func (d *day) run() *Clock {
	rng := rand.New(rand.NewPCG(d.seed, 7))
	if d.utc == 0 {
		d.utc = morning
	}
	d.opened = -1
	type due struct {
		at int64
		r  Reading
		s  uint16
	}
	next := make([]due, len(d.receivers))
	plan := func(i int, at int64) {
		r := d.receivers[i]
		delay := 20*ms + rng.Int64N(max(r.delayMax, 80*ms))
		next[i] = due{at + delay, Reading{UTC: d.utc + at + r.off, PGN: r.pgn, Own: r.own}, r.source}
	}
	for i, r := range d.receivers {
		plan(i, r.from)
	}
	for t := int64(0); t < d.length; t += 100 * ms {
		if d.silent != nil && d.silent(t) {
			for i := range next {
				if next[i].at <= t {
					plan(i, (t/sec+1)*sec)
				}
			}
			continue
		}
		d.frame(t, nil, 0)
		for i := range next {
			for next[i].at <= t+100*ms {
				d.frame(next[i].at, &next[i].r, next[i].s)
				plan(i, (next[i].r.UTC-d.utc-d.receivers[i].off)+sec)
			}
		}
	}
	if d.clock.Open() {
		d.shift(d.clock.Settle())
	}
	return &d.clock
}

func (d *day) frame(t int64, r *Reading, source uint16) {
	c := &d.clock
	capture := d.recorder(t)
	if c.Open() && (c.Jumped(capture) || d.trial[len(d.trial)-1]-d.trial[d.opened] > 10*sec) {
		d.shift(c.Settle())
	}
	at := c.Tick(capture)
	if c.Open() && d.opened < 0 {
		d.opened = len(d.trial)
	}
	d.truth, d.trial = append(d.truth, t), append(d.trial, at)
	if r == nil {
		return
	}
	if !c.Open() {
		c.Observe(*r, source, at)
		return
	}
	if pause, ok := c.Judge(*r, source, at); ok {
		d.shift(pause)
	}
}

func (d *day) shift(pause int64) {
	for i := d.opened; i >= 0 && i < len(d.trial); i++ {
		d.trial[i] += pause
	}
	d.opened = -1
}

// check compares every frame with the truth.
func (d *day) check(t *testing.T, tolerance int64) {
	t.Helper()
	last, lastUTC := int64(math.MinInt64), int64(math.MinInt64)
	worst, at := int64(0), int64(0)
	kept := d.clock.Record()
	for i, trial := range d.trial {
		utc := d.clock.UTC(trial)
		if k := kept.UTC(trial); k != utc {
			t.Fatalf("the record says %d at %d, the clock %d", k, trial, utc)
		}
		if trial < last {
			t.Fatalf("trial time runs back at %v", time.Duration(d.truth[i]))
		}
		if utc < lastUTC {
			t.Fatalf("UTC runs back at %v", time.Duration(d.truth[i]))
		}
		last, lastUTC = trial, utc
		if e := abs(utc - d.utc - d.truth[i]); e > worst {
			worst, at = e, d.truth[i]
		}
	}
	if worst > tolerance {
		t.Errorf("UTC is wrong by up to %v at %v, want at most %v", time.Duration(worst), time.Duration(at), time.Duration(tolerance))
	}
	if u := d.clock.Uncertainty(); d.clock.Known() && worst > u {
		t.Errorf("UTC is wrong by %v, stated uncertainty %v", time.Duration(worst), time.Duration(u))
	}
}

// checkTrial compares trial time with true time.
func (d *day) checkTrial(t *testing.T, tolerance int64) {
	t.Helper()
	for i, trial := range d.trial {
		if e := abs(trial - d.truth[i]); e > tolerance {
			t.Fatalf("trial time is wrong by %v at %v", time.Duration(e), time.Duration(d.truth[i]))
		}
	}
}

func gnss(source uint16) receiver { return receiver{source: source, pgn: 129029} }

// set makes a recorder's clock that starts at start and is changed by steps at
// true times.
func set(start int64, steps map[int64]int64) func(int64) int64 {
	return func(t int64) int64 {
		v := start + t
		for at, by := range steps {
			if t >= at {
				v += by
			}
		}
		return v
	}
}

func TestStartsIn1970AndHearsGNSSLate(t *testing.T) {
	r := gnss(1)
	r.from = 3600 * sec
	d := &day{length: 2 * 3600 * sec, recorder: set(17*sec, nil), receivers: []receiver{r}}
	c := d.run()
	d.check(t, 150*ms)
	d.checkTrial(t, 0)
	if !c.Known() || c.Steps() != 0 || abs(c.Offset()-(morning-17*sec)) > 150*ms {
		t.Errorf("known %v, %d steps, offset %v", c.Known(), c.Steps(), time.Duration(c.Offset()))
	}
}

func TestClockSetInMidDay(t *testing.T) {
	for _, tt := range []struct {
		name      string
		start     int64
		at, by    int64
		gnssFrom  int64
		steps     int
		trialGood bool // trial time has no false pause
	}{
		{"forward 40 s after first GNSS", morning, 1800 * sec, 40 * sec, 0, 1, true},
		{"back 40 s after first GNSS", morning, 1800 * sec, -40 * sec, 0, 1, true},
		{"forward 2.5 s after first GNSS", morning, 1800 * sec, 2500 * ms, 0, 1, true},
		{"from 1970 after first GNSS", 0, 1800 * sec, morning, 0, 1, true},
		{"to 1970 after first GNSS", morning, 1800 * sec, -morning, 0, 1, true},
		{"back 40 s before first GNSS", morning, 600 * sec, -40 * sec, 1200 * sec, 1, true},
		{"from 1970 before first GNSS", 0, 600 * sec, morning, 1200 * sec, 1, true},
		// Nothing tells it from a pause: the day before it is then 40 s early.
		{"forward 40 s before first GNSS", morning, 600 * sec, 40 * sec, 1200 * sec, 0, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := gnss(1)
			r.from = tt.gnssFrom
			d := &day{length: 3600 * sec, recorder: set(tt.start, map[int64]int64{tt.at: tt.by}), receivers: []receiver{r}}
			c := d.run()
			if c.Steps() != tt.steps {
				t.Errorf("%d steps, want %d", c.Steps(), tt.steps)
			}
			if tt.trialGood {
				d.checkTrial(t, 300*ms)
				d.check(t, 300*ms)
			} else if e := abs(c.UTC(d.trial[len(d.trial)-1]) - morning - d.truth[len(d.truth)-1]); e > 200*ms {
				t.Errorf("after the step UTC is wrong by %v", time.Duration(e))
			}
		})
	}
}

func TestStepsBothWays(t *testing.T) {
	d := &day{length: 3600 * sec, receivers: []receiver{gnss(1)},
		recorder: set(morning, map[int64]int64{600 * sec: 3600 * sec, 900 * sec: -7200 * sec, 905 * sec: 3600 * sec})}
	if c := d.run(); c.Steps() != 3 {
		t.Errorf("%d steps", c.Steps())
	}
	d.checkTrial(t, 500*ms)
	d.check(t, 300*ms)
}

func TestPowerOff(t *testing.T) {
	off := func(t int64) bool { return t > 1800*sec && t < 1980*sec }
	for _, tt := range []struct {
		name     string
		recorder func(int64) int64
		gnssFrom int64
		steps    int
		exact    int64
	}{
		{"clock runs on", set(morning, nil), 0, 0, 0},
		{"clock runs on, GNSS later", set(morning, nil), 2400 * sec, 0, 0},
		{"wakes in 1970", set(morning, map[int64]int64{1900 * sec: -morning}), 0, 1, 300 * ms},
		{"wakes 10 s after it stopped", set(morning, map[int64]int64{1900 * sec: -170 * sec}), 0, 1, 300 * ms},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := gnss(1)
			r.from = tt.gnssFrom
			d := &day{length: 3600 * sec, recorder: tt.recorder, silent: off, receivers: []receiver{r}}
			if c := d.run(); c.Steps() != tt.steps {
				t.Errorf("%d steps", c.Steps())
			}
			d.checkTrial(t, tt.exact)
			d.check(t, 300*ms)
		})
	}
}

// GNSS that needs 40 s after a power cut comes too late for the hold: the pause
// is guessed, but UTC is right on both sides.
func TestGuessedPauseDoesNotSpoilUTC(t *testing.T) {
	off := func(t int64) bool { return t > 1800*sec && t < 1980*sec }
	d := &day{utc: morning, opened: -1, length: 3600 * sec, recorder: set(morning, map[int64]int64{1900 * sec: -morning})}
	rng := rand.New(rand.NewPCG(1, 1))
	for t := int64(0); t < d.length; t += 100 * ms {
		if off(t) {
			continue
		}
		var r *Reading
		if t%sec == 0 && (t <= 1800*sec || t >= 2020*sec) {
			r = &Reading{UTC: morning + t - rng.Int64N(100*ms), PGN: 129029}
		}
		d.frame(t, r, 1)
	}
	d.check(t, 150*ms)
	if d.clock.Steps() != 1 {
		t.Errorf("%d steps", d.clock.Steps())
	}
}

func TestDrift(t *testing.T) {
	for _, ppm := range []float64{-50, 0, 50} {
		d := &day{length: 4 * 3600 * sec, receivers: []receiver{gnss(1)}, seed: 3,
			recorder: func(t int64) int64 { return morning + t - int64(ppm*1e-6*float64(t)) }}
		c := d.run()
		d.check(t, 120*ms)
		if got := c.Drift() * 1e6; math.Abs(got-ppm) > 3 {
			t.Errorf("drift %.1f ppm, want %.1f", got, ppm)
		}
	}
}

func TestLyingReceiver(t *testing.T) {
	liar := gnss(1)
	liar.off = -24 * 3600 * sec
	slow := receiver{source: 4, pgn: 126992, own: true, off: 300 * sec}
	for _, tt := range []struct {
		name      string
		recorder  int64
		receivers []receiver
		wrong     int
	}{
		{"one of three", 0, []receiver{liar, gnss(2), gnss(3)}, 1},
		{"one of two, recorder decides", morning + 5*sec, []receiver{liar, gnss(2)}, 1},
		{"a clock of its own against a fix", morning + 300*sec, []receiver{slow, gnss(2)}, 1},
		{"only a clock of its own", morning, []receiver{{source: 4, pgn: 126992, own: true}}, 0},
		{"one receiver in three messages is one voice", 0, []receiver{
			liar, {source: 1, pgn: 126992, off: liar.off}, {source: 1, pgn: 129033, off: liar.off}, gnss(2), gnss(3)}, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d := &day{length: 1200 * sec, recorder: set(tt.recorder, nil), receivers: tt.receivers}
			c := d.run()
			d.check(t, 150*ms)
			if c.Disbelieved() != tt.wrong {
				t.Errorf("%d disbelieved, want %d", c.Disbelieved(), tt.wrong)
			}
		})
	}
}

// A receiver that is wrong until its first fix is right in the end.
func TestWrongAtFirst(t *testing.T) {
	d := &day{utc: morning, opened: -1, recorder: set(0, nil)}
	for t := int64(0); t < 3600*sec; t += sec {
		utc := morning + t
		if t < 600*sec {
			utc -= 5 * 3600 * sec
		}
		d.frame(t, &Reading{UTC: utc, PGN: 126992}, 1)
	}
	d.check(t, 50*ms)
}

func TestNoFixSilencesSender(t *testing.T) {
	d := &day{utc: morning, opened: -1, recorder: set(0, nil)}
	for t := int64(0); t < 1000*sec; t += sec {
		if t < 900*sec {
			d.frame(t, &Reading{PGN: 129029, NoFix: true}, 1)
			d.frame(t, &Reading{UTC: morning + t - 3600*sec, PGN: 126992}, 1)
			continue
		}
		d.frame(t, &Reading{UTC: morning + t, PGN: 126992}, 1)
	}
	d.check(t, 50*ms)
}

func TestTwoReceivers(t *testing.T) {
	second := gnss(2)
	second.from, second.delayMax = 600*sec, 400*ms
	d := &day{length: 3600 * sec, recorder: set(0, nil), receivers: []receiver{gnss(1), second}}
	c := d.run()
	d.check(t, 150*ms)
	if u := c.Uncertainty(); u < 250*ms || u > 900*ms {
		t.Errorf("uncertainty %v", time.Duration(u))
	}
}

func TestMidnightAndLeapDay(t *testing.T) {
	for _, start := range []time.Time{
		time.Date(2024, 2, 28, 23, 30, 0, 0, time.UTC),
		time.Date(2024, 2, 29, 23, 30, 0, 0, time.UTC),
		time.Date(2025, 12, 31, 23, 30, 0, 0, time.UTC),
	} {
		d := &day{utc: start.UnixNano(), length: 3600 * sec, recorder: set(0, nil), receivers: []receiver{gnss(1)}}
		d.run()
		d.check(t, 150*ms)
	}
}

func TestWithoutGNSS(t *testing.T) {
	// The recorder's own time, where it was last believable.
	d := &day{length: 1200 * sec, recorder: set(0, map[int64]int64{600 * sec: morning})}
	c := d.run()
	d.check(t, 100*ms)
	if c.Known() || c.Uncertainty() != math.MaxInt64 {
		t.Errorf("known %v, uncertainty %d", c.Known(), c.Uncertainty())
	}
}

// Guessed pauses together are no longer than a day's longest pause; without a
// bound, two interfaces an hour apart would add an hour at every other frame.
func TestGuessedPausesAddUpToNoMoreThanTheLongest(t *testing.T) {
	var c Clock
	for i := range int64(1000) {
		c.Tick(morning + i*ms + i%2*3600*sec)
	}
	c.Settle()
	if now := c.Tick(morning + sec); now > int64(MaxPause) {
		t.Errorf("one second becomes %v", time.Duration(now))
	}
}

// A receiver that wakes with a date years away after the recorder's clock jumped
// does not make the day years long.
func TestPauseOfYearsIsNotBelieved(t *testing.T) {
	const source, years = 1, 20 * 365 * 24 * 3600 * sec
	var c Clock
	reading := func(utc int64) Reading { return Reading{PGN: 129029, UTC: utc} }
	for at := int64(0); at < 60*sec; at += sec {
		c.Observe(reading(morning+at), source, c.Tick(morning+at))
	}
	back := morning + 3600*sec
	for at := int64(0); at < 60*sec; at += sec {
		now := c.Tick(back + at)
		if pause, decided := c.Judge(reading(back+at+years), source, now); decided {
			t.Fatalf("a pause of %v is believed", time.Duration(pause))
		}
	}
	if c.Settle(); c.Tick(back+60*sec) > 2*3600*sec {
		t.Errorf("trial time is %v", time.Duration(c.Tick(back+60*sec)))
	}
}

// Frames of two interfaces slightly out of order are no steps.
func TestDisorder(t *testing.T) {
	var c Clock
	c.Tick(morning)
	for i := range int64(1000) {
		c.Tick(morning + i*10*ms - i%2*50*ms)
	}
	if got := c.Tick(morning + 20*sec/2); got != 10*sec || c.Steps() != 0 {
		t.Errorf("trial time %v after 10 s, %d steps", time.Duration(got), c.Steps())
	}
}

func TestAnswersDoNotDependOnQuestions(t *testing.T) {
	a := &day{length: 1800 * sec, recorder: set(morning, map[int64]int64{600 * sec: 30 * sec}), receivers: []receiver{gnss(1), gnss(2)}}
	b := *a
	a.run()
	b.recorder = func(t int64) int64 {
		b.clock.UTC(t)
		b.clock.Uncertainty()
		return a.recorder(t)
	}
	b.run()
	if a.clock.UTC(1e12) != b.clock.UTC(1e12) || a.clock.Uncertainty() != b.clock.Uncertainty() {
		t.Error("asking changed the answer")
	}
}

func TestRead(t *testing.T) {
	put := func(number uint32, values map[string]float64) []byte {
		m := pgn.Lookup(number)
		data := m.New()
		for name, v := range values {
			m.Field(name).Put(data, pgn.Value{V: v})
		}
		return data
	}
	// 2024-06-03 is day 19877 of 1970-01-01 (date -u -d 2024-06-03 +%s, over 86400).
	const days, clock = 19877 * 86400, 25200.5
	want := morning + 500*ms
	for _, tt := range []struct {
		name  string
		pgn   uint32
		data  []byte
		want  Reading
		valid bool
	}{
		{"system time, satellites", 126992, put(126992, map[string]float64{"date": days, "time": clock, "source": 0}), Reading{UTC: want, PGN: 126992}, true},
		{"system time, crystal", 126992, put(126992, map[string]float64{"date": days, "time": clock, "source": 5}), Reading{UTC: want, PGN: 126992, Own: true}, true},
		{"time and date", 129033, put(129033, map[string]float64{"date": days, "time": clock}), Reading{UTC: want, PGN: 129033}, true},
		{"fix", 129029, put(129029, map[string]float64{"date": days, "time": clock, "method": 1}), Reading{UTC: want, PGN: 129029}, true},
		{"no fix", 129029, put(129029, map[string]float64{"date": days, "time": clock, "method": 0}), Reading{PGN: 129029, NoFix: true}, true},
		{"date not available", 129033, put(129033, map[string]float64{"time": clock}), Reading{}, false},
		{"time not available", 129033, put(129033, map[string]float64{"date": days}), Reading{}, false},
		{"2004, 1024 weeks ago", 129033, put(129033, map[string]float64{"date": days - 1024*7*86400, "time": clock}), Reading{}, false},
		{"cut short", 129033, put(129033, map[string]float64{"date": days, "time": clock})[:5], Reading{}, false},
		{"another message", 127250, make([]byte, 8), Reading{}, false},
	} {
		got, ok := Read(tt.pgn, tt.data)
		if ok != tt.valid || ok && got != tt.want {
			t.Errorf("%s: got %+v %v, want %+v %v", tt.name, got, ok, tt.want, tt.valid)
		}
	}
}

func FuzzClock(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12})
	f.Fuzz(func(t *testing.T, b []byte) {
		var c Clock
		last, capture := int64(0), morning
		for len(b) >= 4 {
			capture += int64(int8(b[0])) << (b[1] & 63)
			if c.Open() && (c.Jumped(capture) || b[2]&1 == 0) {
				last += c.Settle()
			}
			at := c.Tick(capture)
			if at < last {
				t.Fatalf("trial time runs back from %d to %d", last, at)
			}
			last = at
			r := Reading{UTC: morning + at + int64(int8(b[3]))<<(b[2]>>2), PGN: 126992}
			r.UTC = min(max(r.UTC, earliest), 65532*24*3600*sec) // as Read gives it
			if !c.Open() {
				c.Observe(r, uint16(b[2]&3), at)
			} else if pause, ok := c.Judge(r, uint16(b[2]&3), at); ok {
				if pause < 0 {
					t.Fatalf("negative pause %d", pause)
				}
				last += pause
			}
			b = b[4:]
		}
		c.Uncertainty()
		if c.UTC(0) > c.UTC(last) {
			t.Fatalf("UTC runs back from %d at 0 to %d at %d", c.UTC(0), c.UTC(last), last)
		}
	})
}

func BenchmarkTick(b *testing.B) {
	var c Clock
	at := morning
	for b.Loop() {
		at += ms
		c.Tick(at)
	}
}
