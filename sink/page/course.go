package page

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"net/http"
	"strconv"
	"sync"

	"trialday.example/logd/sink/timeline"
)

// Points of a timeline or track: as many as are asked for, within bounds.
const (
	defaultPoints = 1000
	maxPoints     = 10000
)

// opened is the timeline that was looked at last: who looks at one zooms and
// asks again and again.
type opened struct {
	mu   sync.Mutex
	path string
	mark string
	line *timeline.Timeline
}

func (o *opened) open(path string) (*timeline.Timeline, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	is := mark(path)
	if is != "" && o.path == path && o.mark == is {
		return o.line, nil
	}
	line, err := timeline.Open(path)
	if err == nil {
		o.path, o.mark, o.line = path, is, line
	}
	return line, err
}

// course finds the timeline of a trial: the present one of the trial that is
// being recorded, else the file. Nil: there is none, and the client is told.
func (s *server) course(w http.ResponseWriter, t Trial) *timeline.Timeline {
	if s.Present != nil {
		if line := s.Present(t); line != nil {
			return line
		}
	}
	line, err := s.opened.open(t.path(timeline.File))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		fail(w, http.StatusNotFound, fmt.Sprintf("trial %d has no timeline yet", t.Number))
	case err != nil:
		s.failed(w, err)
	default:
		return line
	}
	return nil
}

// stretch is the part of a day that a request asks for.
type stretch struct {
	from, to float64 // s since 1970 UTC
	points   int
}

// readStretch reads from, to and points; false: they make no sense, and the
// client is told.
func readStretch(w http.ResponseWriter, r *http.Request) (stretch, bool) {
	from, fromErr := number(r, "from", math.Inf(-1))
	to, toErr := number(r, "to", math.Inf(1))
	points, err := number(r, "points", defaultPoints)
	err = cmp.Or(fromErr, toErr, err)
	if err == nil && from >= to {
		err = errors.New("from is not before to")
	}
	if err != nil {
		fail(w, http.StatusBadRequest, err.Error())
	}
	return stretch{from, to, int(min(max(points, 1), maxPoints))}, err == nil
}

// number reads a parameter of a request.
func number(r *http.Request, key string, otherwise float64) (float64, error) {
	text := r.URL.Query().Get(key)
	if text == "" {
		return otherwise, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%s is no number", key)
	}
	return v, nil
}

func (s *server) timeline(w http.ResponseWriter, r *http.Request, t Trial) {
	s.drawn(w, r, t, func(line *timeline.Timeline, p stretch) any { return line.View(p.from, p.to, p.points) })
}

func (s *server) track(w http.ResponseWriter, r *http.Request, t Trial) {
	s.drawn(w, r, t, func(line *timeline.Timeline, p stretch) any { return line.Track(p.from, p.to, p.points) })
}

// drawn answers with a stretch of a trial's course.
func (s *server) drawn(w http.ResponseWriter, r *http.Request, t Trial, draw func(*timeline.Timeline, stretch) any) {
	p, ok := readStretch(w, r)
	if !ok {
		return
	}
	if line := s.course(w, t); line != nil {
		reply(w, http.StatusOK, draw(line, p))
	}
}
