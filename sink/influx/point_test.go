package influx

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"
)

// forClient is a point in the form of the server's Go client.
func forClient(p *Point) *write.Point {
	w := write.NewPointWithMeasurement(p.Measurement)
	for _, t := range p.Tags {
		w.AddTag(t.Key, t.Value)
	}
	for _, f := range p.Fields {
		w.AddField(f.Key, f.Value)
	}
	return w.SetTime(time.Unix(0, p.Time))
}

func sameAsClient(t *testing.T, p *Point) {
	t.Helper()
	var want strings.Builder
	write.PointToLineProtocolBuffer(forClient(p), &want, time.Nanosecond)
	if got := string(p.line(nil)); got != want.String() {
		t.Fatalf("%q\nof the client: %q", got, want.String())
	}
}

// Lines are to the letter those of the server's Go client (influxdb-client-go
// 2.14, line protocol): all points of a day, and what may stand in names and
// values.
func TestLinesAreThoseOfTheClient(t *testing.T) {
	points := pointsOf(t, options(offline(t, "triple"), framesOf(t, "accuracy").first(0.2).write(t, t.TempDir())))
	for i := range points {
		sameAsClient(t, &points[i])
	}
}

func FuzzLine(f *testing.F) {
	f.Add("Motor vessel = A, B", "it is \"so\" \\ so", 0.1, int64(-1))
	f.Add("é\n\\ \x00\xff", "a\\\"b", math.MaxFloat64, int64(math.MinInt64))
	f.Add("", "", 1e21, int64(0))
	f.Add("1", "x", -1e-7, int64(1))
	f.Add("1", "x", 123456789.0, int64(1))
	f.Fuzz(func(t *testing.T, name, text string, x float64, n int64) {
		sameAsClient(t, &Point{
			Measurement: runs, Time: n, Tags: []Tag{{"vessel", clean(name, "-")}, {"trial", "1"}},
			Fields: []Field{{"name", clean(text, "-")}, {"reason", strings.ToValidUTF8(text, "?")}, {"x", x}, {"n", n}, {"known", n > 0}},
		})
	})
}
