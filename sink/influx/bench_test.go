package influx

import (
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"
)

// BenchmarkPoints is the cost of making all points of a journal again, which a
// restart pays before it goes on where it was.
func BenchmarkPoints(b *testing.B) {
	frames := framesOf(b, "accuracy").first(0.5)
	o := options(offline(b, "triple"), frames.write(b, b.TempDir()))
	b.ReportAllocs()
	for b.Loop() {
		pointsOf(b, o)
	}
	b.ReportMetric(float64(len(frames.frames)*b.N)/b.Elapsed().Seconds(), "frames/s")
}

// BenchmarkLine makes lines of points, by turns with the encoder of the
// server's Go client alone, which is given the same points in its own form;
// x-client is how many times as long ours takes.
func BenchmarkLine(b *testing.B) {
	points := pointsOf(b, options(offline(b, "triple"), framesOf(b, "accuracy").first(0.2).write(b, b.TempDir())))
	theirs := make([]*write.Point, len(points))
	for i := range points {
		theirs[i] = forClient(&points[i])
	}
	var text strings.Builder
	var line []byte
	var client time.Duration
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		began := time.Now()
		text.Reset()
		for _, p := range theirs {
			write.PointToLineProtocolBuffer(p, &text, time.Nanosecond)
		}
		client += time.Since(began)
		b.StartTimer()
		line = line[:0]
		for i := range points {
			line = points[i].line(line)
		}
	}
	b.ReportMetric(float64(len(points)*b.N)/b.Elapsed().Seconds(), "points/s")
	b.ReportMetric(b.Elapsed().Seconds()/client.Seconds(), "x-client")
}

// BenchmarkCatchUp sends a journal to a real server as fast as it goes, by turns
// with a bare writer that posts the same points, encoded beforehand and in the
// same batches, over one connection; each time into an empty database. of-bare is
// the share that the sender reaches of the points a second that the server takes
// from the bare writer. On a busy machine it is less: the sender needs processors
// beside the server's, the bare writer hardly any.
func BenchmarkCatchUp(b *testing.B) {
	dir := framesOf(b, "accuracy").write(b, b.TempDir())
	cfg := demoConfig(b, "triple", influxDB(b), "")
	all := pointsOf(b, options(cfg, dir))
	bodies := batches(all, cfg.Influx.BatchLines)
	var sender, bare time.Duration
	turns := []func(){
		func() {
			s := influxDB(b)
			began := time.Now()
			post(b, s, bodies)
			bare += time.Since(began)
		},
		func() {
			s := influxDB(b)
			o := options(demoConfig(b, "triple", s, s.url), dir)
			o.Cursor = filepath.Join(b.TempDir(), "cursor")
			began := time.Now()
			c := run(b, o)
			sender += time.Since(began)
			if c.Sent != int64(len(all)) || c.Rejected != 0 {
				b.Fatalf("%+v of %d points", c, len(all))
			}
		},
	}
	for i := 0; b.Loop(); i++ {
		turns[i%2]() // each is first as often as the other
		turns[1-i%2]()
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(float64(len(all)*b.N)/sender.Seconds(), "points/s")
	b.ReportMetric(bare.Seconds()/sender.Seconds(), "of-bare")
}

// batches are the texts of so many points each.
func batches(points []Point, size int) (texts []string) {
	for batch := range slices.Chunk(points, size) {
		var text []byte
		for i := range batch {
			text = batch[i].line(text)
		}
		texts = append(texts, string(text))
	}
	return texts
}

// post writes texts as plainly as it can be done.
func post(b *testing.B, s *realServer, texts []string) {
	b.Helper()
	to := s.url + "/api/v2/write?" + url.Values{"bucket": {s.bucket()}, "precision": {"ns"}}.Encode()
	for _, text := range texts {
		r, err := http.Post(to, "text/plain", strings.NewReader(text))
		if err != nil {
			b.Fatal(err)
		}
		_, _ = io.Copy(io.Discard, r.Body)
		r.Body.Close()
		if r.StatusCode != http.StatusNoContent {
			b.Fatal(r.Status)
		}
	}
}
