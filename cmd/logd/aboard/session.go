package aboard

import (
	"sync"
	"sync/atomic"

	"trialday.example/logd/sink/logbook"
)

// session is a trial that is being recorded, from when its journal is opened
// until it is closed.
type session struct {
	trial   logbook.Trial
	before  uint64        // frames in the journal when it was opened
	written atomic.Uint64 // frames that readers can read
	ended   chan struct{} // closed when nothing more will be written

	mu      sync.Mutex
	changed chan struct{} // closed at the next change
}

func newSession(t logbook.Trial, before uint64) *session {
	s := &session{trial: t, before: before, ended: make(chan struct{}), changed: make(chan struct{})}
	s.written.Store(before)
	return s
}

// grow tells readers that there are frames to read.
func (s *session) grow(frames uint64) {
	if s.written.Swap(frames) == frames {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	close(s.changed)
	s.changed = make(chan struct{})
}

// growth is closed at the next change.
func (s *session) growth() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.changed
}

func (s *session) end() { close(s.ended) }

// isOver reports whether nothing more will be written.
func (s *session) isOver() bool {
	select {
	case <-s.ended:
		return true
	default:
		return false
	}
}
