package influx

import (
	"fmt"
	"sync"
	"testing"
)

// Twenty boats (three under the race detector) send at once to one server.
func TestManyBoatsAtOnce(t *testing.T) {
	s := influxDB(t)
	dir := framesOf(t, "accuracy").first(0.1).write(t, t.TempDir())
	boat := func(i int) Options {
		cfg := demoConfig(t, "triple", s, s.url)
		cfg.Vessel.Name = fmt.Sprintf("Boat %d (invented)", i)
		o := options(cfg, dir)
		o.Cursor = fmt.Sprintf("%s/cursor %d", dir, i)
		return o
	}
	var all sync.WaitGroup
	counts := make([]Counts, boats)
	for i := range boats {
		o := boat(i)
		all.Go(func() {
			sink, err := New(o)
			if err != nil {
				t.Error(err)
				return
			}
			defer sink.Close()
			if err := sink.Run(t.Context()); err != nil {
				t.Error(err)
			}
			counts[i] = sink.Stats.Counts()
		})
	}
	all.Wait()
	points := int64(0)
	for i := range boats {
		v := verify(t, boat(i))
		if v.Points != counts[i].Sent || counts[i].Rejected != 0 {
			t.Errorf("boat %d: %+v, %d points", i, counts[i], v.Points)
		}
		points += v.Points
	}
	t.Logf("%d boats, %d points: equal; series %s", boats, points, s.influxQL("SHOW SERIES EXACT CARDINALITY", ""))
}
