package influx

import "sync"

// Rejected is a point that the server does not take.
type Rejected struct{ Line, Why string }

// maxRejected bounds those kept word for word; the rest are counted.
const maxRejected = 20

// Stats is how a Sink is doing. It can be read while it works.
type Stats struct {
	mu sync.Mutex
	c  Counts
}

// Counts is what Stats counts, since the Sink was started.
type Counts struct {
	Points    int64 // confirmed since the beginning of the trial
	Sent      int64 // confirmed now
	Bytes     int64 // of these, as lines, before compression
	Frames    int64 // read
	Requests  int64
	Failed    int64
	Rejected  int64
	First     []Rejected // the first 20
	LastError string     // "" while all is well
	Sending   bool       // at this moment
	Behind    bool       // there is more in the journal than was sent
}

// Counts returns the present counts.
func (s *Stats) Counts() Counts {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := s.c
	c.First = append([]Rejected(nil), c.First...)
	return c
}

func (s *Stats) change(f func(*Counts)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f(&s.c)
}

func (s *Stats) requested(f *failure) {
	s.change(func(c *Counts) {
		c.Requests++
		c.LastError = ""
		if f != nil {
			c.Failed++
			c.LastError = f.Error()
		}
	})
}

func (s *Stats) reject(r Rejected) {
	s.change(func(c *Counts) {
		c.Rejected++
		if len(c.First) < maxRejected {
			c.First = append(c.First, r)
		}
	})
}
