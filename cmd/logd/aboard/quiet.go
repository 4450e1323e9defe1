package aboard

import (
	"context"
	"log/slog"
	"sync"
	"time"
)

// quietFor is how long a message that was logged is not logged again.
const quietFor = time.Minute

// quiet is a log handler that lets the same message through once a minute and
// then says how often it was held back. Messages are the same if text, level
// and all attributes of the kind string are: numbers may differ.
type quiet struct {
	slog.Handler
	seen *seen
}

type seen struct {
	mu   sync.Mutex
	last map[string]*said
}

type said struct {
	when time.Time
	held int
}

// maxSeen bounds the messages remembered.
const maxSeen = 1000

// Quiet limits the rate of repeated messages to h.
func Quiet(h slog.Handler) slog.Handler {
	return &quiet{h, &seen{last: make(map[string]*said)}}
}

// Handle implements slog.Handler.
func (q *quiet) Handle(ctx context.Context, r slog.Record) error {
	key := r.Level.String() + r.Message
	r.Attrs(func(a slog.Attr) bool {
		if a.Value.Kind() == slog.KindString {
			key += "\x00" + a.Value.String()
		}
		return true
	})
	held, pass := q.seen.pass(key, r.Time)
	if !pass {
		return nil
	}
	if held > 0 {
		r = r.Clone()
		r.AddAttrs(slog.Int("held_back", held))
	}
	return q.Handler.Handle(ctx, r)
}

// pass reports whether a message may be logged, and how many were not since.
func (s *seen) pass(key string, now time.Time) (held int, pass bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := s.last[key]
	if m == nil {
		if len(s.last) >= maxSeen {
			clear(s.last)
		}
		m = new(said)
		s.last[key] = m
	} else if age := now.Sub(m.when); age >= 0 && age < quietFor {
		m.held++
		return 0, false
	}
	held, m.held, m.when = m.held, 0, now
	return held, true
}

// WithAttrs implements slog.Handler.
func (q *quiet) WithAttrs(a []slog.Attr) slog.Handler { return &quiet{q.Handler.WithAttrs(a), q.seen} }

// WithGroup implements slog.Handler.
func (q *quiet) WithGroup(name string) slog.Handler { return &quiet{q.Handler.WithGroup(name), q.seen} }
