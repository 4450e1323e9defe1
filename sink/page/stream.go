package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"
)

const (
	maxStreams = 32
	beatEvery  = 15 * time.Second // a stream is never silent for longer
	lookEvery  = time.Second      // for trials that changed
	writeIn    = 10 * time.Second // a client that takes longer for one event is let go
	retryAfter = 2 * time.Second  // when a client comes back after its stream ended
)

// stream sends server-sent events (WHATWG HTML, section 9.2) until the client
// goes or the server stops:
//
//	live   results.Live, when there is another; one that was overtaken is skipped.
//	       At once, and again with a comment when nothing was sent for a while
//	trial  {"number": n}: the trial or its results changed, began or went
func (s *server) stream(w http.ResponseWriter, r *http.Request) {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		w.Header().Set("Retry-After", "30")
		fail(w, http.StatusServiceUnavailable, fmt.Sprintf("%d others are looking on already; close one of them", maxStreams))
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	out := events{w, http.NewResponseController(w)}
	// The limit for reading a request would end the stream.
	if out.SetReadDeadline(time.Time{}) != nil || !out.send(fmt.Sprintf("retry: %d\n\n", retryAfter.Milliseconds())) {
		return
	}
	s.follow(r.Context().Done(), &out)
}

// follow sends what changes.
func (s *server) follow(done <-chan struct{}, out *events) {
	beat, look := time.NewTicker(beatEvery), time.NewTicker(lookEvery)
	defer beat.Stop()
	defer look.Stop()
	state, next := s.Live()
	ok := out.event("live", state)
	seen := s.changes.look(s.Trials)
	for ok {
		select {
		case <-done:
			return
		case <-next:
			state, next = s.Live()
			ok = out.event("live", state)
			beat.Reset(beatEvery)
		case <-look.C:
			now := s.changes.look(s.Trials)
			for _, number := range differing(seen, now) {
				ok = ok && out.event("trial", map[string]int{"number": number})
			}
			seen = now
		case <-beat.C:
			ok = out.send(": still here\n\n") && out.event("live", state)
		}
	}
}

// events is a stream to one client.
type events struct {
	http.ResponseWriter
	*http.ResponseController
}

// event sends v as JSON; false if the client is gone.
func (e *events) event(name string, v any) bool {
	b, err := json.Marshal(v)
	return err == nil && e.send(fmt.Sprintf("event: %s\ndata: %s\n\n", name, b))
}

func (e *events) send(text string) bool {
	if e.SetWriteDeadline(time.Now().Add(writeIn)) != nil {
		return false
	}
	_, err := e.Write([]byte(text))
	return err == nil && e.Flush() == nil
}

// changes looks at the trials once for all streams.
type changes struct {
	mu    sync.Mutex
	when  time.Time
	marks map[int]string
}

// look is a mark for each trial that is another when the trial or its results
// are.
func (c *changes) look(trials func() ([]Trial, error)) map[int]string {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.when) < lookEvery/2 {
		return c.marks
	}
	c.when = time.Now()
	list, err := trials()
	if err != nil {
		return c.marks // the disk may come back
	}
	c.marks = make(map[int]string, len(list))
	for _, t := range list {
		c.marks[t.Number] = fmt.Sprint(t.Closed, t.Name, mark(t.path(resultsFile)))
	}
	return c.marks
}

// differing lists the trials whose marks differ, by number.
func differing(was, is map[int]string) []int {
	var list []int
	for n, m := range is {
		if was[n] != m {
			list = append(list, n)
		}
	}
	for n := range was {
		if _, still := is[n]; !still {
			list = append(list, n)
		}
	}
	slices.Sort(list)
	return list
}
