//go:build !race

package influx

import (
	"testing"
)

// A day sent once, and again without its cursor, is stored once; nothing is
// missing and nothing is double, by number and sum of every field in every run.
func TestDayIsStoredOnce(t *testing.T) {
	s := influxDB(t)
	o := options(demoConfig(t, "single", s, s.url), framesOf(t, "demo-single").first(0.35).write(t, t.TempDir()))
	first := run(t, o)
	if first.Rejected != 0 || first.Sent < 10000 {
		t.Fatalf("%+v", first)
	}
	once := verify(t, o)
	if again := run(t, o); again.Sent != 0 || again.Requests != 0 {
		t.Errorf("with its cursor %d points went again", again.Sent)
	}
	o.Cursor = t.TempDir() + "/lost"
	if again := run(t, o); again.Sent != first.Sent {
		t.Errorf("without its cursor %d points went, first %d", again.Sent, first.Sent)
	}
	verify(t, o)
	t.Logf("%d points, %d values, %d bytes as lines", once.Points, once.Values, first.Bytes)
}
