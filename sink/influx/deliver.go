package influx

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"strings"
	"time"
)

const (
	firstWait = time.Second
	maxWait   = 5 * time.Minute
	// maxAsked bounds what a server may ask for.
	maxAsked = time.Hour
	// maxBlame: when so many points of one batch are rejected one by one, and
	// none is taken, it is not the points.
	maxBlame = 20
)

// Pace is the passing of time, which tests simulate.
type Pace struct {
	Now   func() time.Time
	Sleep func(context.Context, time.Duration) error
	Rand  func() float64 // 0 to 1
}

func realPace() Pace {
	return Pace{time.Now, sleep, rand.Float64}
}

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

// deliverer brings lines to the server, however long it takes.
type deliverer struct {
	server *server
	pace   Pace
	log    *slog.Logger
	// giveUp makes a refusal an error, instead of something to wait out.
	giveUp bool
	stats  *Stats
}

// deliver returns when every line of a packed batch is stored or was rejected by
// itself. It returns an error if ctx ends before, or if it is to give up.
func (d *deliverer) deliver(ctx context.Context, packed []byte) error {
	b := blame{}
	for {
		err := d.halves(ctx, packed, &b)
		if err == nil {
			break
		}
		if err != errEvery {
			return err
		}
		// It waits like any refusal: somebody must look at the server.
		every := &failure{kind: refused, reason: b.rejected[0].Why, remedy: "the server rejects every point; check its retention and the types of its fields"}
		if err := d.hold(ctx, every, &backoff{}); err != nil {
			return err
		}
		b = blame{}
	}
	for _, r := range b.rejected {
		d.stats.reject(r)
		d.log.Error("the server does not take a point; it is left out", "why", r.Why, "point", r.Line)
	}
	return nil
}

// errEvery says that the fault is not that of single points.
var errEvery = errors.New("every point is rejected")

// blame gathers what is rejected of one batch.
type blame struct {
	rejected []Rejected
	taken    bool
}

// halves sends lines, and where the server rejects them each half by itself,
// until the bad ones are found.
func (d *deliverer) halves(ctx context.Context, packed []byte, b *blame) error {
	f, err := d.insist(ctx, packed)
	switch {
	case err != nil:
		return err
	case f == nil:
		b.taken = true
		return nil
	}
	lines, err := unpack(packed)
	if err != nil {
		return err
	}
	if half := len(lines) / 2; half > 0 {
		if err := d.halves(ctx, pack(bytes.Join(lines[:half], nil)), b); err != nil {
			return err
		}
		return d.halves(ctx, pack(bytes.Join(lines[half:], nil)), b)
	}
	b.rejected = append(b.rejected, Rejected{Line: shorten(string(lines[0])), Why: f.reason})
	if len(b.rejected) >= maxBlame && !b.taken {
		return errEvery
	}
	return nil
}

// insist sends lines until they are stored, or rejected for what they are.
func (d *deliverer) insist(ctx context.Context, packed []byte) (*failure, error) {
	wait := &backoff{}
	for {
		f := d.server.send(ctx, packed)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		d.stats.requested(f)
		if f == nil || f.kind == rejected || f.kind == tooLarge {
			return f, nil
		}
		if err := d.hold(ctx, f, wait); err != nil {
			return nil, err
		}
	}
}

// hold waits after a failure.
func (d *deliverer) hold(ctx context.Context, f *failure, wait *backoff) error {
	if f.kind == refused && d.giveUp {
		return fmt.Errorf("the server refuses: %w", f)
	}
	long := wait.next(f, d.pace.Rand())
	d.log.Warn("not sent yet; tried again", "why", f.Error(), "in", long.Round(time.Millisecond).String())
	if err := d.pace.Sleep(ctx, long); err != nil {
		return err
	}
	if f.kind == refused {
		d.server.renew()
	}
	return nil
}

// backoff doubles from failure to failure, up to maxWait.
type backoff struct{ last time.Duration }

// next is how long to wait: at least what the server asked for; jitter takes up
// to half of our own wait, so that many boats do not come back at once.
func (b *backoff) next(f *failure, jitter float64) time.Duration {
	switch {
	case f.kind == refused:
		b.last = maxWait
	case b.last == 0:
		b.last = firstWait
	default:
		b.last = min(2*b.last, maxWait)
	}
	own := b.last - time.Duration(jitter*float64(b.last)/2)
	if asked := min(f.wait, maxAsked); asked > 0 {
		return max(own, asked+time.Duration(jitter*float64(firstWait)))
	}
	return own
}

func shorten(line string) string {
	line = strings.TrimSpace(line)
	if len(line) > maxReason {
		return strings.ToValidUTF8(line[:maxReason], "") + " ..."
	}
	return line
}
