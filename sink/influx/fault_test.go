package influx

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/klauspost/compress/gzip"
)

// shortDay is a journal of some steps of the accuracy scenario, and options to
// send it in batches of few lines.
func shortDay(t testing.TB, s *realServer, url string, share float64, lines int) Options {
	t.Helper()
	cfg := demoConfig(t, "triple", s, url)
	cfg.Influx.BatchLines = lines
	cfg.Influx.TimeoutS = 5
	return options(cfg, framesOf(t, "accuracy").first(share).write(t, t.TempDir()))
}

// direct is the same journal, asked of the server without a proxy between.
func direct(o Options, s *realServer) Options {
	o.Config.Influx.URL = s.url
	o.Config.Influx.TimeoutS = 60 // the short one is for the faults
	return o
}

// Everything that can go wrong on the way, over and over before a real server:
// what is stored in the end is what the journal gives, once.
func TestFaultsOnTheWay(t *testing.T) {
	s := influxDB(t)
	random := rand.New(rand.NewPCG(1, 2))
	var mu sync.Mutex
	did := map[string]int{}
	p := newProxy(t, s.url, func(n int64, w http.ResponseWriter, r *http.Request, forward func() int) bool {
		mu.Lock()
		fault := random.IntN(20)
		mu.Unlock()
		note := func(name string) {
			mu.Lock()
			did[name]++
			mu.Unlock()
		}
		stall := func() { // longer than the sink's patience, or until it has gone
			select {
			case <-r.Context().Done():
			case <-time.After(time.Second):
			}
			reset(w)
		}
		switch fault {
		case 0:
			note("429")
			answer(w, 429, "7", "")
		case 1:
			note("503")
			answer(w, 503, "11", "cache-max-memory-size exceeded")
		case 2:
			note("500")
			answer(w, 500, "", "timeout")
		case 3:
			note("502")
			answer(w, 502, "", "<html>bad gateway</html>")
		case 4:
			note("reset before")
			reset(w)
		case 5:
			note("reset after")
			forward()
			reset(w)
		case 6:
			note("stall before")
			_, _ = io.Copy(io.Discard, r.Body)
			stall()
		case 7:
			note("half-open: stored, and no answer")
			forward()
			stall()
		default:
			return false
		}
		return true
	})
	o := shortDay(t, s, p.URL, 0.2, 150)
	o.Config.Influx.TimeoutS = 0.2
	passed := newFakeTime()
	o.Pace = passed.pace()
	c := run(t, o)
	v := verify(t, direct(o, s))
	if c.Rejected != 0 || c.Failed == 0 || len(did) < 8 {
		t.Errorf("%+v; faults %v", c, did)
	}
	for _, asked := range []time.Duration{7 * time.Second, 11 * time.Second} {
		found := false
		for _, d := range passed.slept {
			found = found || d >= asked && d <= asked+time.Second
		}
		if !found {
			t.Errorf("Retry-After of %v was not kept", asked)
		}
	}
	t.Logf("%d points, %d requests, %d of them failed: %v", v.Points, c.Requests, c.Failed, did)
}

// A point that the server does not take is found, told and left out; the rest
// of its batch is stored.
func TestBadPointIsIsolated(t *testing.T) {
	s := influxDB(t)
	o := shortDay(t, s, s.url, 0.2, 5000)
	points := pointsOf(t, o)
	bad := 0
	for i := range points {
		p := &points[i]
		if p.Measurement != windows {
			continue
		}
		if bad == 0 {
			// The same field is a text in that shard already.
			r, err := http.Post(s.url+"/api/v2/write?bucket="+s.bucket(), "text/plain",
				strings.NewReader("windows,vessel=before window=\"text\" "+stampNS(p.Time)))
			if err != nil || r.StatusCode != http.StatusNoContent {
				t.Fatal(err, r)
			}
		}
		for _, f := range p.Fields {
			if f.Key == "window" {
				bad++
			}
		}
	}
	var log bytes.Buffer
	o.Log = logTo(&log)
	c := run(t, o)
	if bad == 0 || c.Rejected != int64(bad) {
		t.Errorf("%d rejected, want %d", c.Rejected, bad)
	}
	if len(c.First) == 0 || !strings.Contains(c.First[0].Why, "conflict") || !strings.HasPrefix(c.First[0].Line, "windows,") {
		t.Errorf("not told: %+v", c.First)
	}
	if !strings.Contains(log.String(), "left out") {
		t.Errorf("not logged: %s", log.String())
	}
	v, err := Verify(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range v.First {
		if !strings.HasPrefix(d, "windows,") {
			t.Errorf("beside the bad points: %s", d)
		}
	}
	t.Logf("%d bad points among %d found in %d requests", bad, v.Points, c.Requests)
}

// Too many lines at once are sent in parts, and nothing is blamed for it.
func TestTooLargeIsSentInParts(t *testing.T) {
	s := influxDB(t)
	p := newProxy(t, s.url, func(_ int64, w http.ResponseWriter, r *http.Request, _ func() int) bool {
		text, err := io.ReadAll(r.Body)
		if err != nil {
			t.Error(err)
		}
		z, err := gzip.NewReader(bytes.NewReader(text))
		if err != nil {
			t.Error(err)
			return false
		}
		lines, _ := io.ReadAll(z)
		r.Body = io.NopCloser(bytes.NewReader(text))
		if bytes.Count(lines, []byte("\n")) <= 300 {
			return false
		}
		answer(w, http.StatusRequestEntityTooLarge, "", "")
		return true
	})
	o := shortDay(t, s, p.URL, 0.2, 1000)
	if c := run(t, o); c.Rejected != 0 {
		t.Errorf("%+v", c)
	}
	verify(t, direct(o, s))
}

// Where every point is rejected it is not the points: nothing is given up.
func TestEveryPointRejected(t *testing.T) {
	s := influxDB(t)
	p := newProxy(t, s.url, func(_ int64, w http.ResponseWriter, _ *http.Request, _ func() int) bool {
		answer(w, 400, "", "partial write: points beyond retention policy dropped=1")
		return true
	})
	o := shortDay(t, s, p.URL, 0.2, 1000)
	sink, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer sink.Close()
	if err := sink.Run(t.Context()); err == nil || !strings.Contains(err.Error(), "retention") {
		t.Errorf("got %v", err)
	}
	if c := sink.Stats.Counts(); c.Points != 0 || c.Rejected != 0 {
		t.Errorf("%+v", c)
	}
	if _, err := os.Stat(cursorFile(o.Journal)); !errors.Is(err, os.ErrNotExist) {
		t.Error("the cursor was moved")
	}
}

// Whatever is made and packed ahead, the cursor on the disk never stands behind
// more points than the server has confirmed, and in the end behind all of them.
func TestCursorNeverRunsAhead(t *testing.T) {
	var confirmed, requests int64
	o := options(offline(t, "triple"), framesOf(t, "accuracy").first(0.2).write(t, t.TempDir()))
	file := cursorFile(o.Journal)
	written := func() int64 {
		var c cursor
		if text, err := os.ReadFile(file); err == nil && json.Unmarshal(text, &c) != nil {
			t.Errorf("cursor: %s", text)
		}
		return c.Points
	}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		packed, err := io.ReadAll(r.Body)
		if err != nil {
			t.Error(err)
		}
		lines, err := unpack(packed)
		if err != nil || r.Header.Get("Content-Encoding") != "gzip" {
			t.Errorf("not packed: %v", err)
		}
		if at := written(); at > confirmed {
			t.Errorf("cursor at %d, confirmed %d", at, confirmed)
		}
		if requests++; requests%3 == 0 {
			answer(w, http.StatusServiceUnavailable, "", "")
			return
		}
		confirmed += int64(len(lines))
		w.WriteHeader(http.StatusNoContent)
	}))
	defer s.Close()
	o.Config.Influx.URL, o.Config.Influx.BatchLines = s.URL, 300
	passed := newFakeTime()
	o.Pace = passed.pace()
	o.Pace.Now = func() time.Time { // so late each time that the cursor is saved
		_ = passed.sleep(t.Context(), time.Second)
		return passed.now()
	}
	if c := run(t, o); c.Sent != confirmed || written() != confirmed || c.Failed < 10 {
		t.Errorf("%+v, %d confirmed, cursor at %d", c, confirmed, written())
	}
}

// A wrong token and a missing bucket are told with what to do; when somebody
// has seen to it, it goes on by itself. The token is never told.
func TestRefusedUntilSeenTo(t *testing.T) {
	const user, word = "boat", "veryhidden1"
	s := ownInflux(t, user+":"+word, true)
	token := writeText(t, user+":wrongword9\n")
	o := shortDay(t, s, s.url, 0.2, 5000)
	o.Config.Influx.TokenFile = token
	o.Config.Influx.Bucket = "absent/autogen"

	sink, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	err = sink.Run(t.Context())
	sink.Close()
	if err == nil || !strings.Contains(err.Error(), "401") || !strings.Contains(err.Error(), "token") {
		t.Fatalf("got %v", err)
	}
	if strings.Contains(err.Error(), "wrongword9") {
		t.Errorf("the token is in the error: %v", err)
	}

	var log bytes.Buffer
	o.Once, o.Log = false, logTo(&log)
	passed := newFakeTime()
	o.Pace = passed.pace()
	turn := 0
	o.Pace.Sleep = func(ctx context.Context, d time.Duration) error {
		switch turn++; turn {
		case 2:
			if err := os.WriteFile(token, []byte(user+":"+word), 0o600); err != nil {
				t.Error(err)
			}
		case 4:
			s.influxQL("CREATE DATABASE absent", user+":"+word)
		}
		return passed.sleep(ctx, d)
	}
	c := run(t, o)
	if c.Rejected != 0 || turn != 4 {
		t.Errorf("%+v after %d waits", c, turn)
	}
	for _, want := range []string{"401", "404", "absent"} {
		if !strings.Contains(log.String(), want) {
			t.Errorf("%s is not logged: %s", want, log.String())
		}
	}
	for _, d := range passed.slept {
		if d < maxWait/2 {
			t.Errorf("tried again after %v only", d)
		}
	}
	verify(t, o)
	state, _ := json.Marshal(sink.Stats.Counts())
	cursor, _ := os.ReadFile(filepath.Join(o.Journal, cursorName))
	for _, hidden := range []string{word, "wrongword9"} {
		if strings.Contains(log.String()+string(state)+string(cursor), hidden) {
			t.Errorf("%s is told: %s", hidden, log.String())
		}
	}
}
