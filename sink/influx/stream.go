package influx

import (
	"errors"
	"io"
	"math"

	"trialday.example/logd/calc"
	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/results"
)

// stream makes the points of a journal, in an order that depends on the frames
// alone.
//
// Two readers go through the journal. The first runs the whole pipeline and
// finds out where a run ends and what time it is; the second makes the samples
// of that run, and so is behind by a run, or by as long as the time was not
// known. The first does not go on before the second has come up to the end of
// the run, so each run is dated by what was known at one certain frame.
type stream struct {
	cfg   configs.Config
	first *journal.Reader
	day   *day.Day
	bound *journal.Reader // what the second reads
	make  *maker

	closed  int  // runs handed to the maker
	windows int  // windows handed to the maker
	working bool // the maker is at a run
	dry     bool // the first has read all there is, or ever will be
	results *results.Results
	last    bool // the points of the whole day are made
	frames  int64
	heard   int64 // UTC of the end of the last run that was dated by receivers
	final   func() bool
}

// openStream opens a journal. Final tells whether it will grow no more.
func openStream(o *Options, id identity) (*stream, error) {
	s := &stream{cfg: o.Config, final: o.Final}
	var err error
	if s.first, err = journal.Open(o.Journal); err != nil {
		return nil, err
	}
	if s.bound, err = journal.Open(o.Journal); err != nil {
		s.first.Close()
		return nil, err
	}
	s.day = day.New(o.Config, o.Version, s.first.Buses)
	s.day.Undrawn()
	s.make = newMaker(&s.cfg, id, s.bound.Buses)
	return s, nil
}

func (s *stream) close() { _, _ = s.first.Close(), s.bound.Close() }

// next returns some points, io.EOF if there are none for now, and errEnd after
// the last. The slice is used again by the next call.
func (s *stream) next() ([]Point, error) {
	s.make.out = s.make.out[:0]
	for {
		if n := len(s.make.out); n > 0 {
			return s.make.out, nil
		}
		switch {
		case s.working:
			if err := s.work(); err != nil {
				return nil, err
			}
		case s.release():
		case s.last:
			return nil, errEnd
		case s.results != nil:
			s.last = true
			s.make.day(s.results)
		default:
			if err := s.read(); err != nil {
				return nil, err
			}
		}
	}
}

// errEnd says that a trial is over and all its points are made.
var errEnd = errors.New("the trial is over")

// read takes the next frame into the pipeline.
func (s *stream) read() error {
	var f frame.Frame
	err := s.first.Next(&f)
	switch {
	case err == nil:
		s.dry = false
		s.frames++
		s.day.Frame(&f)
		return nil
	case !errors.Is(err, io.EOF):
		return err
	case !s.dry:
		// Whether it is final is asked before it is looked at once more.
		s.dry = s.final()
		if !s.dry {
			return io.EOF
		}
		return nil
	}
	s.results, _ = s.day.Finish(0)
	return nil
}

// release hands the next run to the maker, if it has ended and can be dated.
func (s *stream) release() bool {
	all, found := s.day.Closed()
	if s.closed == len(all) {
		return false
	}
	r := &all[s.closed]
	clock := s.day.Clock()
	from := int64(math.MinInt64)
	if s.closed > 0 {
		from = all[s.closed-1].End
	}
	known := clock.KnownBetween(max(from, 0), r.End)
	over := s.results != nil
	if !known && !over {
		return false
	}
	if known {
		s.heard = clock.UTC(r.End)
	}
	s.closed++
	to := s.windows
	for to < len(found) && found[to].Run == r.ID {
		to++
	}
	s.make.begin(r, found[s.windows:to], clock, known, over && s.closed == len(all))
	s.windows, s.working = to, true
	return true
}

// work brings the second reader one frame further, or the run to its end.
func (s *stream) work() error {
	if s.make.reached() {
		s.make.end()
		s.working = false
		return nil
	}
	var f frame.Frame
	err := s.bound.Next(&f)
	if errors.Is(err, io.EOF) && s.results != nil {
		s.make.finish()
		return nil
	}
	if err == nil {
		s.make.frame(&f)
	}
	return err
}

// span is a stretch of trial time.
type span struct{ from, to int64 }

func accepted(windows []calc.Window) []span {
	var out []span
	for i := range windows {
		if windows[i].Accepted() {
			out = append(out, span{windows[i].Start, windows[i].End})
		}
	}
	return out
}

func holds(spans []span, at int64) bool {
	for _, s := range spans {
		if at >= s.from && at < s.to {
			return true
		}
	}
	return false
}

var _ decode.Handler = (*maker)(nil)
