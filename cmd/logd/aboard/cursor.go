package aboard

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"sync/atomic"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
)

// cursor reads the journal of a session as it grows. Whoever reads with one
// can be as slow as it likes: it delays nobody.
type cursor struct {
	name    string
	session *session
	log     *slog.Logger
	in      *journal.Reader
	read    atomic.Uint64 // frames
}

// open opens the journal once there is a frame in it; false if there never is
// one, or ctx ended before.
func (c *cursor) open(ctx context.Context) bool {
	for {
		grown, over := c.session.growth(), c.session.isOver()
		if c.session.written.Load() > 0 {
			in, err := journal.Open(c.session.trial.Frames())
			if err == nil {
				c.in = in
				return true
			}
			if !c.wait(ctx, err) {
				return false
			}
			continue
		}
		if over {
			return false
		}
		select {
		case <-ctx.Done():
			return false
		case <-c.session.ended:
		case <-grown:
		}
	}
}

// together is how long blocks are left to gather before they are read.
const together = 250 * time.Millisecond

// each hands every frame of the session to take, and calls rest whenever there
// are no more for now, at least every other second. It returns true after the
// last frame, false if ctx ended before.
func (c *cursor) each(ctx context.Context, take func(*frame.Frame), rest func()) bool {
	var f frame.Frame
	for {
		grown := c.session.growth()
		last := c.session.isOver()
		for {
			err := c.in.Next(&f)
			if err == nil {
				take(&f)
				if c.read.Add(1)%1024 == 0 && ctx.Err() != nil {
					return false
				}
				continue
			}
			if errors.Is(err, io.EOF) {
				break
			}
			if !c.wait(ctx, err) {
				return false
			}
		}
		rest()
		if last {
			return true
		}
		select { // some blocks together cost less than each on its own
		case <-ctx.Done():
			return false
		case <-c.session.ended:
		case <-time.After(together):
		}
		select {
		case <-ctx.Done():
			return false
		case <-c.session.ended:
		case <-grown:
		case <-time.After(lookEvery):
		}
	}
}

// wait lets some time pass after a failure; false if ctx ended.
func (c *cursor) wait(ctx context.Context, err error) bool {
	c.log.Error("the journal cannot be read; tried again", "reader", c.name, "why", err.Error())
	sleep(ctx, 5*lookEvery)
	return ctx.Err() == nil
}

// lag is the number of frames not read yet.
func (c *cursor) lag() uint64 {
	written, read := c.session.written.Load(), c.read.Load()
	return max(written, read) - read
}
