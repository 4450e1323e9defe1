package influx

import (
	"context"
	"io"
	"log"
	"net/http"
	"testing"
	"time"

	clienthttp "github.com/influxdata/influxdb-client-go/v2/api/http"
)

func quiet() *log.Logger { return log.New(io.Discard, "", 0) }

// Waits double up to the limit, are shortened by jitter by half at the most,
// and are never shorter than what the server asks for.
func TestBackoff(t *testing.T) {
	for _, jitter := range []float64{0, 0.5, 0.999} {
		b := &backoff{}
		want := firstWait
		for range 20 {
			got := b.next(&failure{}, jitter)
			if got > want || got < want/2 {
				t.Errorf("jitter %v: %v, want %v to %v", jitter, got, want/2, want)
			}
			want = min(2*want, maxWait)
		}
		if got := b.next(&failure{wait: time.Hour}, jitter); got < time.Hour || got > time.Hour+firstWait {
			t.Errorf("an hour was asked for and %v waited", got)
		}
		if got := (&backoff{}).next(&failure{wait: 1000 * time.Hour}, jitter); got > maxAsked+firstWait {
			t.Errorf("%v waited because the server said so", got)
		}
		if got := (&backoff{}).next(&failure{kind: refused}, jitter); got < maxWait/2 {
			t.Errorf("refused, and tried again after %v", got)
		}
	}
}

// Retry-After is in seconds or a date (RFC 9110, 10.2.3); the date counts from
// the server's own clock.
func TestRetryAfter(t *testing.T) {
	date := time.Date(2031, 6, 2, 9, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		err  clienthttp.Error
		want time.Duration
	}{
		{clienthttp.Error{RetryAfter: 30}, 30 * time.Second},
		{clienthttp.Error{Header: http.Header{"Retry-After": {date.Add(time.Minute).Format(http.TimeFormat)}, "Date": {date.Format(http.TimeFormat)}}}, time.Minute},
		{clienthttp.Error{Header: http.Header{"Retry-After": {date.Add(-time.Minute).Format(http.TimeFormat)}, "Date": {date.Format(http.TimeFormat)}}}, 0},
		{clienthttp.Error{Header: http.Header{"Retry-After": {"soon"}}}, 0},
		{clienthttp.Error{}, 0},
	} {
		if got := retryAfter(&c.err); got != c.want {
			t.Errorf("%+v: %v, want %v", c.err.Header, got, c.want)
		}
	}
}

// While behind no more is sent than the limit.
func TestCatchUpLimit(t *testing.T) {
	s := influxDB(t)
	o := shortDay(t, s, s.url, 0.2, 500)
	passed := newFakeTime()
	o.Pace, o.Limit = passed.pace(), 1000
	began := passed.now()
	c := run(t, o)
	took := passed.now().Sub(began).Seconds()
	if rate := float64(c.Sent) / took; rate > 1100 || rate < 500 {
		t.Errorf("%d points in %v s", c.Sent, took)
	}
}

// Stopped while it waits, it stops at once and keeps what was confirmed.
func TestStopsWhileWaiting(t *testing.T) {
	s := influxDB(t)
	p := newProxy(t, s.url, func(n int64, w http.ResponseWriter, _ *http.Request, _ func() int) bool {
		if n <= 3 {
			return false
		}
		reset(w)
		return true
	})
	o := shortDay(t, s, p.URL, 0.2, 500)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	o.Pace = newFakeTime().pace()
	o.Pace.Sleep = func(ctx context.Context, d time.Duration) error {
		stop()
		return sleep(ctx, d)
	}
	sink, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer sink.Close()
	if err := sink.Run(ctx); err == nil {
		t.Error("no error")
	}
	if c := sink.Stats.Counts(); c.Points < 1500 || c.LastError == "" || !c.Behind {
		t.Errorf("%+v", c)
	}
	o.Pace = nil
	o.Config.Influx.URL = s.url // another server as far as the cursor knows: all is sent again
	run(t, o)
	verify(t, o)
}

// A Sink waits while one that goes first is sending.
func TestPresentTrialGoesFirst(t *testing.T) {
	s := influxDB(t)
	o := shortDay(t, s, s.url, 0.1, 500)
	first := &Stats{}
	first.change(func(c *Counts) { c.Sending = true })
	waits := 0
	o.After, o.Pace = first, newFakeTime().pace()
	o.Pace.Sleep = func(context.Context, time.Duration) error {
		if waits++; waits == 30 {
			first.change(func(c *Counts) { c.Sending = false })
		}
		return nil
	}
	if c := run(t, o); waits != 30 || c.Sent == 0 || c.Sending {
		t.Errorf("%d waits, %+v", waits, c)
	}
	verify(t, o)
}
