package influx

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"testing"
	"time"
)

// The same write path against VictoriaMetrics, which takes v2 writes too. It
// keeps milliseconds and numbers only, and stores what is sent twice twice
// unless it is started with -dedup.minScrapeInterval.
func TestWritesToVictoriaMetrics(t *testing.T) {
	bin, port := program(t, "victoria-metrics"), freePort(t)
	s := &realServer{t: t, db: "unused", url: fmt.Sprintf("http://127.0.0.1:%d", port), args: []string{bin,
		"-storageDataPath", t.TempDir(), "-httpListenAddr", fmt.Sprintf("127.0.0.1:%d", port),
		"-retentionPeriod", "10y", "-dedup.minScrapeInterval", "1ms", "-loggerLevel", "ERROR"}}
	s.start(false)
	t.Cleanup(s.kill)

	yesterday := time.Now().Add(-24 * time.Hour).UTC().Format("2006-01-02T15:00:00Z")
	o := options(demoConfig(t, "triple", s, s.url), framesAt(t, "accuracy", yesterday).first(0.3).write(t, t.TempDir()))
	first := run(t, o)
	o.Cursor = t.TempDir() + "/lost"
	if again := run(t, o); first.Rejected+again.Rejected != 0 || again.Sent != first.Sent {
		t.Fatalf("%+v %+v", first, again)
	}
	want := map[string]map[int64][]float64{}
	for _, p := range pointsOf(t, o) {
		for _, f := range p.Fields {
			key := p.Measurement + "_" + f.Key
			for _, tag := range []string{"battery", "engine", "run", "source", "tank"} {
				key += "," + p.tag(tag)
			}
			if want[key] == nil {
				want[key] = map[int64][]float64{}
			}
			ms := p.Time / 1e6
			want[key][ms] = append(want[key][ms], asNumber(f.Value))
		}
	}
	// What was written is seen a moment later, a flush or not.
	got, values := s.export(), 0
	for end := time.Now().Add(time.Minute); countOf(got) < countOf(want) && time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		got = s.export()
	}
	for key, at := range want {
		if len(got[key]) != len(at) {
			t.Errorf("%s: %d values stored, want %d", key, len(got[key]), len(at))
			continue
		}
		for ms, v := range got[key] {
			values++
			if !oneOf(v, at[ms]) {
				t.Errorf("%s at %d: %v stored, want one of %v", key, ms, v, at[ms])
			}
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d series stored, want %d", len(got), len(want))
	}
	t.Logf("%d points sent twice, %d values in %d series stored once", first.Sent, values, len(got))
}

// countOf is the number of values in all series.
func countOf[V any](series map[string]map[int64]V) (n int) {
	for _, at := range series {
		n += len(at)
	}
	return n
}

// asNumber is what becomes of a value there: texts become 0.
func asNumber(v any) float64 {
	switch v := v.(type) {
	case float64:
		return v
	case int64:
		return float64(v)
	case bool:
		if v {
			return 1
		}
	}
	return 0
}

// oneOf allows for the server's own rounding of stored values.
func oneOf(v float64, of []float64) bool {
	for _, w := range of {
		if d := v - w; d*d <= 1e-20*w*w+1e-24 {
			return true
		}
	}
	return false
}

// export reads everything that is stored.
func (s *realServer) export() map[string]map[int64]float64 {
	s.t.Helper()
	// What was written last is seen once it is flushed.
	if r, err := http.Get(s.url + "/internal/force_flush"); err == nil {
		r.Body.Close()
	}
	r, err := http.Get(s.url + "/api/v1/export?" + url.Values{"match[]": {`{vessel!=""}`}, "reduce_mem_usage": {"0"}}.Encode())
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Body.Close()
	out := map[string]map[int64]float64{}
	lines := bufio.NewScanner(r.Body)
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		var row struct {
			Metric     map[string]string
			Values     []float64
			Timestamps []int64
		}
		if err := json.Unmarshal(lines.Bytes(), &row); err != nil {
			s.t.Fatal(err)
		}
		key := row.Metric["__name__"]
		for _, tag := range []string{"battery", "engine", "run", "source", "tank"} {
			key += "," + row.Metric[tag]
		}
		if out[key] == nil {
			out[key] = map[int64]float64{}
		}
		for i, ms := range row.Timestamps {
			if _, double := out[key][ms]; double {
				s.t.Errorf("%s at %d is stored twice", key, ms)
			}
			out[key][ms] = row.Values[i]
		}
	}
	if lines.Err() != nil {
		s.t.Fatal(lines.Err())
	}
	return out
}
