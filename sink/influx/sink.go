package influx

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"trialday.example/logd/configs"
	"trialday.example/logd/sink/journal"
)

// pollEvery is how often the end of a journal that is being written is looked
// at.
const pollEvery = time.Second

// saveEvery is how often the cursor is put on the disk while there is more to
// send: what it lags behind is sent again after a power cut, and stored once.
const saveEvery = time.Second

// Options says what to send, and where.
type Options struct {
	Config  configs.Config
	Version string
	// Journal is the directory of the segments.
	Journal string
	// Cursor is the file of the cursor; "": beside the journal.
	Cursor string
	// Final tells whether the journal is the whole of a trial that is closed.
	// It is asked at the end of the journal, again and again until it says so.
	Final func() bool
	// Once makes Run return at the end of the journal, final or not, and
	// makes a refusal of the server an error. Otherwise it waits for more.
	Once bool
	// Limit is the most points a second while behind; 0: influx.catch_up_hz,
	// or none with Once.
	Limit float64
	// After is another Sink's, that of the present trial, which goes first: while
	// it has something to send this one waits.
	After *Stats
	Log   *slog.Logger
	Pace  *Pace // nil: time as it passes
}

// Sink sends the points of one journal.
type Sink struct {
	Options
	Stats  Stats
	pace   Pace
	server *server
	heard  atomic.Int64 // latest time of a receiver, ns since 1970

	cursor  cursor
	saved   time.Time // when it was
	started time.Time // of the present stretch of catching up
	caught  int64     // points sent in it
}

// New prepares a Sink. It returns an error where the configuration cannot work:
// no server, a token or certificate that cannot be read.
func New(o Options) (*Sink, error) {
	s := &Sink{Options: o, pace: realPace()}
	if o.Pace != nil {
		s.pace = *o.Pace
	}
	if s.Log == nil {
		s.Log = slog.New(slog.DiscardHandler)
	}
	if s.Final == nil {
		s.Final = func() bool { return false }
	}
	if s.Limit == 0 && !s.Once {
		s.Limit = o.Config.Influx.CatchUpHz
	}
	if s.Cursor == "" {
		s.Cursor = cursorFile(o.Journal)
	}
	if err := checkThin(o.Config.Influx.Thin); err != nil {
		return nil, err
	}
	var err error
	if s.server, err = connect(o.Config.Influx, s.now); err != nil {
		return nil, err
	}
	return s, nil
}

// now is the time, which on a recorder without a clock of its own may be 1970.
// What the receivers say in the journal is later then.
func (s *Sink) now() time.Time {
	own, heard := s.pace.Now(), time.Unix(0, s.heard.Load())
	if heard.After(own) {
		return heard
	}
	return own
}

// Run sends until the trial is over and everything is confirmed, or until ctx
// ends. It can be run again and goes on where it was.
func (s *Sink) Run(ctx context.Context) error {
	for {
		id, err := identify(s.Journal, &s.Config)
		if err == nil {
			return s.run(ctx, id)
		}
		if !errors.Is(err, errNoFrames) || s.Once {
			return err
		}
		final := s.Final()
		if _, err := identify(s.Journal, &s.Config); final && errors.Is(err, errNoFrames) {
			return nil
		}
		if err := s.pace.Sleep(ctx, pollEvery); err != nil {
			return err
		}
	}
}

func (s *Sink) run(ctx context.Context, id identity) error {
	s.cursor = readCursor(s.Cursor, fingerprint(&s.Options, id))
	s.Stats.change(func(c *Counts) { c.Points, c.Behind = s.cursor.Points, true })
	frames, err := journal.Count(s.Journal)
	switch {
	case err != nil:
		return err
	case s.cursor.Done && s.cursor.Frames == frames && s.Final():
		s.Stats.change(func(c *Counts) { c.Behind = false })
		return nil
	case s.cursor.Done && s.cursor.Frames != frames:
		// Its last run and its figures were taken for the last, and are others.
		s.Log.Warn("the journal is not what it was when it was sent as a whole; it is sent again, and what its end gave then stays on the server")
		s.cursor = cursor{Stream: s.cursor.Stream}
	}
	stream, err := openStream(&s.Options, id)
	if err != nil {
		return err
	}
	defer stream.close()
	ctx, stop := context.WithCancel(ctx)
	var making sync.WaitGroup
	defer making.Wait() // before the stream is closed
	defer stop()
	batches := batcher{journal: s.Journal, stream: stream, most: s.Config.Influx.BatchLines, sent: s.cursor.Points}
	s.started, s.caught = s.pace.Now(), 0
	for {
		made := make(chan batch, maxAhead)
		making.Go(func() { batches.fill(ctx, made) })
		for b := range made {
			if b.err == nil {
				b.err = s.send(ctx, &b)
			}
			if b.err != nil || b.end || b.dry && s.Once {
				return b.err
			}
		}
		if err := s.rest(ctx); err != nil {
			return err
		}
	}
}

// rest waits at the present end of the journal.
func (s *Sink) rest(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err // it may not be the end
	}
	s.Stats.change(func(c *Counts) { c.Behind = false })
	if err := s.pace.Sleep(ctx, pollEvery); err != nil {
		return err
	}
	s.started, s.caught = s.pace.Now(), 0
	return nil
}

// send brings a batch to the server and moves the cursor.
func (s *Sink) send(ctx context.Context, b *batch) error {
	if b.lines == 0 && !b.end {
		return nil
	}
	if b.lines > 0 {
		if err := s.yield(ctx); err != nil {
			return err
		}
		s.Stats.change(func(c *Counts) { c.Sending = true })
		defer s.Stats.change(func(c *Counts) { c.Sending = false })
		s.heard.Store(b.heard)
		before := s.Stats.Counts().Rejected
		d := deliverer{server: s.server, pace: s.pace, log: s.Log, giveUp: s.Once, stats: &s.Stats}
		if err := d.deliver(ctx, b.packed); err != nil {
			return err
		}
		s.cursor.Rejected += s.Stats.Counts().Rejected - before
	}
	if err := s.confirm(b); err != nil {
		return err
	}
	return s.slow(ctx, int64(b.lines))
}

// confirm moves the cursor behind a batch that the server has.
func (s *Sink) confirm(b *batch) error {
	if b.end {
		s.cursor.Done, s.cursor.Frames = true, b.whole
	}
	s.cursor.Points = max(s.cursor.Points, b.points)
	if now := s.pace.Now(); b.dry || now.Sub(s.saved) >= saveEvery {
		if err := s.cursor.save(s.Cursor); err != nil {
			return err
		}
		s.saved = now
	}
	s.Stats.change(func(c *Counts) {
		c.Points, c.Frames = s.cursor.Points, b.frames
		c.Sent += int64(b.lines)
		c.Bytes += int64(b.bytes)
		c.Behind = !b.end
	})
	return nil
}

// yield waits while a Sink that goes first is sending.
func (s *Sink) yield(ctx context.Context) error {
	for s.After != nil && s.After.Counts().Sending {
		if err := s.pace.Sleep(ctx, pollEvery/10); err != nil {
			return err
		}
	}
	return nil
}

// slow keeps to the limit while there is a backlog.
func (s *Sink) slow(ctx context.Context, n int64) error {
	s.caught += n
	if s.Limit <= 0 || s.cursor.Done {
		return nil
	}
	due := time.Duration(float64(s.caught) / s.Limit * float64(time.Second))
	if ahead := due - s.pace.Now().Sub(s.started); ahead > 0 {
		return s.pace.Sleep(ctx, ahead)
	}
	return nil
}

// Close releases the connection.
func (s *Sink) Close() { s.server.close() }
