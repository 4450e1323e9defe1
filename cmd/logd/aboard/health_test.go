package aboard

import (
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/socketcan"
	"trialday.example/logd/pgn"
)

func get(t *testing.T, h http.Handler, path string) *httptest.ResponseRecorder {
	t.Helper()
	w, r := httptest.NewRecorder(), httptest.NewRequest("GET", path, nil)
	r.Host = "localhost"
	h.ServeHTTP(w, r)
	return w
}

func handler(t *testing.T, d *daemon) http.Handler {
	t.Helper()
	h, err := d.handler()
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// measured finds the value of a metric, with its labels as they are printed.
func measured(t *testing.T, text, name string) float64 {
	t.Helper()
	for line := range strings.Lines(text) {
		if value, ok := strings.CutPrefix(line, name+" "); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
	}
	t.Errorf("no metric %s", name)
	return -1
}

func TestHealthAndMetricsTellHowItIs(t *testing.T) {
	c := config(t)
	c.Bus.Interfaces = nil // the test's bus is no interface of the kernel
	frames := append(satellite(morning, morning.Add(90*time.Second), 30), ticks(morning.Add(30*time.Second), 1000)...)
	frames[40].IsError, frames[40].IsExtended = true, false
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(frames)}})
	until(t, "the frames are kept and read", func() bool { return d.kept() == 1030 && d.lag() == 0 })
	until(t, "the survey has been told", func() bool {
		d.mu.Lock()
		defer d.mu.Unlock()
		return d.survey.clock.Known
	})
	h := handler(t, d)
	w := get(t, h, "/healthz")
	var health Health
	if err := json.Unmarshal(w.Body.Bytes(), &health); err != nil {
		t.Fatal(err)
	}
	if w.Code != http.StatusOK || !health.OK || !health.Recording || health.Frames != 1030 || health.Trial != "trial 1" || health.Lost != 0 {
		t.Errorf("%d %+v", w.Code, health)
	}
	text := get(t, h, "/metrics").Body.String()
	for name, want := range map[string]float64{
		`logd_frames_total{interface="can0"}`:       1030,
		`logd_error_frames_total{interface="can0"}`: 1,
		`logd_bus_up{interface="can0"}`:             1,
		`logd_journal_frames`:                       1030,
		`logd_lost_frames_total`:                    0,
		`logd_queue_frames`:                         0,
		`logd_recording`:                            1,
		`logd_trial`:                                1,
		`logd_reader_lag_frames{reader="figures"}`:  0,
		`logd_reader_lag_frames{reader="survey"}`:   0,
		`logd_pgn_frames_total{pgn="126992"}`:       30,
		`logd_pgn_frames_total{pgn="127488"}`:       999,
		`logd_clock_known`:                          1,
		`logd_clock_offset_seconds`:                 90,
	} {
		if got := measured(t, text, name); got != want {
			t.Errorf("%s is %g, want %g", name, got, want)
		}
	}
	for _, name := range []string{"logd_journal_bytes", "logd_disk_free_bytes", "go_goroutines"} {
		if measured(t, text, name) <= 0 {
			t.Errorf("%s is not positive", name)
		}
	}
	if w := get(t, h, "/nothing"); w.Code != http.StatusNotFound {
		t.Errorf("/nothing answers %d", w.Code)
	}
	stop()
}

func TestHealthTellsWhatIsWrong(t *testing.T) {
	c := config(t)
	c.Bus.Interfaces = []string{"nocan0"}
	disk := small(t, "size=1m")
	c.Journal.Dir = filepath.Join(disk, "trials")
	if err := syscall.Mount("test", disk, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(nil, "nocan0")}})
	h := handler(t, d)
	until(t, "both are told", func() bool { return len(d.problems()) == 2 })
	w := get(t, h, "/healthz")
	var health Health
	if err := json.Unmarshal(w.Body.Bytes(), &health); err != nil {
		t.Fatal(err)
	}
	if w.Code != http.StatusServiceUnavailable || health.OK || health.Recording ||
		!strings.Contains(health.Problems[0], "NOT RECORDING") || !strings.Contains(health.Problems[1], "plug") {
		t.Errorf("%d %+v", w.Code, health)
	}
	if got := measured(t, get(t, h, "/metrics").Body.String(), "logd_recording"); got != 0 {
		t.Errorf("recording is %g", got)
	}
	stop()
}

func TestSourcesThatCountAreInTheMetrics(t *testing.T) {
	c := config(t)
	src := socketcan.Listen([]string{"nocan0"})
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src}})
	text := get(t, handler(t, d), "/metrics").Body.String()
	if got := measured(t, text, `logd_kernel_dropped_frames_total{source="0"}`); got != 0 {
		t.Errorf("%g dropped", got)
	}
	stop()
}

func TestThePageIsServedWhenItsAddressCanBeHad(t *testing.T) {
	c := config(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(nil)}, Listen: func() (net.Listener, error) { return l, nil }})
	resp, err := http.Get("http://" + l.Addr().String() + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	body, _ := io.ReadAll(resp.Body)
	resp.Body.Close()
	if !strings.Contains(string(body), "logd_recording 1") {
		t.Errorf("%s", body)
	}
	stop()
	if _, err := http.Get("http://" + l.Addr().String() + "/metrics"); err == nil {
		t.Error("served after the end")
	}
}

func TestTheServiceManagerIsTold(t *testing.T) {
	c := config(t)
	c.Bus.Interfaces = nil
	var mu sync.Mutex
	var told []string
	has := func(part string) bool {
		mu.Lock()
		defer mu.Unlock()
		return strings.Contains(strings.Join(told, "|"), part)
	}
	_, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(ticks(morning, 10))}, Watchdog: 300 * time.Millisecond,
		Notify: func(s string) {
			mu.Lock()
			defer mu.Unlock()
			told = append(told, s)
		}})
	until(t, "it is ready", func() bool { return has("READY=1") })
	until(t, "the watchdog is served", func() bool { return has("WATCHDOG=1\nSTATUS=recording trial 1") })
	if has("STOPPING") {
		t.Error("stopping too early")
	}
	stop()
	if !has("STOPPING=1") {
		t.Error("it was not told that it stops")
	}
}

// The watchdog is not served when the recorder stands still.
func TestTheWatchdogNoticesAStandstill(t *testing.T) {
	c := config(t)
	told := 0
	d := newDaemon(Options{Config: c, Log: logs(t), Watchdog: time.Second, Notify: func(string) { told++ }}, waiting)
	d.recorder.status.alive.Store(since() - int64(2*time.Second))
	d.stroke()
	if told != 0 {
		t.Errorf("told %d times", told)
	}
	d.recorder.status.alive.Store(since())
	if d.stroke(); told != 1 {
		t.Errorf("told %d times", told)
	}
}

func TestASurveyIsBounded(t *testing.T) {
	c := config(t)
	s := NewSurvey(&c, func() []string { return []string{"can0"} }, nil)
	for i := range uint32(5000) {
		f := frame.Frame{Time: int64(i) * 1e6}
		f.IsExtended, f.Length = true, 8
		f.ID = pgn.Header{PGN: 0xF000 + i, Source: byte(i), Destination: pgn.Broadcast}.ID()
		s.Frame(&f)
	}
	if len(s.frames) != maxPGNs || s.other != 5000-maxPGNs {
		t.Errorf("%d PGNs, %d others", len(s.frames), s.other)
	}
}

func TestASurveyTellsRatesAndDevices(t *testing.T) {
	c := config(t)
	s := NewSurvey(&c, func() []string { return []string{"can0"} }, nil)
	m := pgn.Lookup(127257) // attitude
	data := m.New()
	m.Field("pitch").Put(data, pgn.Value{V: 0.05})
	for i := range 101 {
		f := frame.Frame{Time: morning.Add(time.Duration(i) * 100 * time.Millisecond).UnixNano()}
		f.ID, f.IsExtended, f.Length = pgn.Header{PGN: 127257, Source: 9, Destination: pgn.Broadcast}.ID(), true, uint8(len(data))
		copy(f.Data[:], data)
		s.Frame(&f)
	}
	s.Finish()
	if !s.Has(pgn.Pitch) || s.Has(pgn.Roll) || s.Has(pgn.Heading) {
		t.Error("what has a value and what not")
	}
	for _, v := range s.Values() {
		if v.Quantity == pgn.Pitch && (v.Rate < 10 || v.Rate > 10.2 || s.Devices()[v.Source].Address() != 9) {
			t.Errorf("%+v", v)
		}
		if v.Quantity == pgn.Roll && (v.Rate != 0 || v.Empty < 10) {
			t.Errorf("not available is %+v", v)
		}
	}
}
