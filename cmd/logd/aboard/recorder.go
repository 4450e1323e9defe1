package aboard

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"sync/atomic"
	"syscall"
	"time"

	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/socketcan"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
)

const (
	tick       = 200 * time.Millisecond // between blocks: how soon readers see a frame
	lookEvery  = time.Second            // for other programs' changes, room on the disk, a second attempt
	beatEvery  = time.Minute
	takeAtOnce = 4096
)

// recorder moves frames from the queue to the journal of the open trial. It is
// one goroutine; only the fields of the status are read by others.
//
// While it cannot write, frames wait in the queue; when that fills, the oldest
// are given up and counted.
type recorder struct {
	cfg   configs.Config
	queue *queue
	buses *buses
	log   *slog.Logger
	begin func(*session) // is told of each session

	book    *logbook.Logbook
	first   bool          // no session was begun yet: the trial found open may go on or not
	unclear bool          // how long the pause before the present session was
	trial   logbook.Trial // of the session
	session *session
	writer  *journal.Writer
	batch   []frame.Frame // taken from the queue, not yet appended from next on
	next    int
	looked  time.Time
	synced  time.Time
	beaten  time.Time
	kept    uint64        // frames in the journal at the last beat
	heard   time.Duration // uptime at the last frame of the trial

	status status
}

// status is what others may know of the recorder.
type status struct {
	alive   atomic.Int64 // since() of the last step
	session atomic.Pointer[session]
	trouble atomic.Pointer[string]
	lost    atomic.Uint64 // frames received and not journalled
	synced  atomic.Int64  // duration of the last sync, ns
	free    atomic.Int64  // bytes on the disk
	cut     atomic.Bool   // asked for: the trial that went on is to end here
}

func (s *status) troubleText() string {
	if t := s.trouble.Load(); t != nil {
		return *t
	}
	return ""
}

// run records until stop is closed, then what is left in the queue.
func (r *recorder) run(stop <-chan struct{}) {
	r.first = true
	t := time.NewTicker(tick)
	defer t.Stop()
	for {
		select {
		case <-stop:
			r.finish()
			return
		case <-r.queue.filled:
		case <-t.C:
		}
		r.step(time.Now())
	}
}

// step records what has come.
func (r *recorder) step(now time.Time) {
	r.status.alive.Store(since())
	if now.Sub(r.looked) >= lookEvery || now.Before(r.looked) {
		r.looked = now
		r.look(now)
	}
	if r.status.troubleText() != "" {
		r.giveUp()
		return
	}
	if err := r.record(now); err != nil {
		r.fail(err)
	}
}

// record appends all that waits and puts it on the disk when that is due.
func (r *recorder) record(now time.Time) error {
	for {
		if r.next == len(r.batch) {
			r.batch, r.next = r.queue.take(r.batch[:0], takeAtOnce), 0
			if len(r.batch) == 0 {
				break
			}
		}
		if err := r.ready(now); err != nil {
			return err
		}
		if err := r.append(); err != nil {
			return err
		}
	}
	if r.session == nil {
		return nil
	}
	if err := r.reopen(); err != nil {
		return err
	}
	if err := r.flush(); err != nil {
		return err
	}
	if d := now.Sub(r.synced); d < r.syncAfter() && d >= 0 {
		return nil
	}
	r.synced = now
	return r.sync()
}

// syncAfter is the time from the beginning of one sync to that of the next. It
// allows for the time that frames wait in the kernel and here and that a sync
// takes, so that they are on the disk, not only on their way, within the
// configured time; but no more than half the time is given up for a slow disk.
func (r *recorder) syncAfter() time.Duration {
	whole := seconds(r.cfg.Journal.SyncS)
	return whole - min(socketcan.Rest+tick+time.Duration(r.status.synced.Load()), whole/2)
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// append moves the batch to the journal's own buffer.
func (r *recorder) append() error {
	names := r.buses.all()
	for ; r.next < len(r.batch); r.next++ {
		f := &r.batch[r.next]
		if err := r.writer.Append(f, names[f.Bus].name); err != nil {
			return err
		}
	}
	return nil
}

func (r *recorder) flush() error {
	if err := r.writer.Flush(); err != nil {
		return err
	}
	r.session.grow(r.writer.Frames())
	return nil
}

// sync waits for the disk. After a failure the system may have dropped what it
// could not write, so the journal is opened anew, which reads what is there.
func (r *recorder) sync() error {
	from := time.Now()
	err := r.writer.Sync()
	r.status.synced.Store(int64(time.Since(from)))
	if err == nil {
		r.beat(false)
		return nil
	}
	r.writer.Close()
	r.writer = nil
	return errors.Join(err, r.reopen())
}

// reopen opens the journal of the session after a failure.
func (r *recorder) reopen() error {
	if r.writer != nil {
		return nil
	}
	w, err := r.openJournal(r.trial)
	if err != nil {
		return err
	}
	r.writer = w
	if had, has := r.session.written.Load(), w.Frames(); has < had {
		r.status.lost.Add(had - has)
	}
	return nil
}

// beat notes that the trial is alive, once a minute as long as frames come.
func (r *recorder) beat(now bool) {
	frames := r.writer.Frames()
	if frames == r.kept || !now && time.Since(r.beaten) < beatEvery {
		return
	}
	if err := r.trial.Beat(logbook.Pulse{Moment: logbook.Now(), Frames: frames}); err != nil {
		r.log.Warn("the trial's sign of life is not kept; after a restart a new trial may begin", "why", err.Error())
	}
	r.kept, r.beaten = frames, time.Now()
}

// fail notes that recording is interrupted. It is tried again at the next look.
func (r *recorder) fail(err error) {
	text := err.Error()
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		text += "; make room: delete old trials, or set journal.free_oldest"
	}
	if errors.Is(err, syscall.EROFS) {
		text += "; mount the disk writable, or set journal.dir to another"
	}
	r.interrupt(text)
}

func (r *recorder) interrupt(text string) {
	r.status.trouble.Store(&text)
	r.log.Error("NOT RECORDING", "why", text, "waiting", r.queue.len(), "lost", r.status.lost.Load())
}

// giveUp drops the oldest frames when the queue is nearly full.
func (r *recorder) giveUp() {
	for r.queue.len() > len(r.queue.frames)*3/4 {
		r.status.lost.Add(uint64(len(r.batch) - r.next))
		r.batch, r.next = r.queue.take(r.batch[:0], takeAtOnce), 0
	}
}

// look is what is done once a second.
func (r *recorder) look(now time.Time) {
	full, err := r.room()
	if err == nil && full == "" {
		err = r.changes(now)
	}
	switch {
	case err != nil:
		r.fail(err)
		return
	case full != "":
		r.interrupt(full)
		return
	}
	if r.status.troubleText() == "" {
		return
	}
	if err := r.record(now); err != nil {
		r.fail(err)
		return
	}
	r.status.trouble.Store(nil)
	r.log.Warn("recording again", "lost", r.status.lost.Load())
}

func (r *recorder) openBook() (err error) {
	if r.book == nil {
		r.book, err = logbook.Open(r.cfg.Journal.Dir)
	}
	return err
}

// room says what is wrong if the disk is too full; it may delete old trials.
func (r *recorder) room() (full string, err error) {
	if err := r.openBook(); err != nil {
		return "", err
	}
	for {
		d, err := disk(r.book.Dir())
		if err != nil {
			r.book = nil // its directory may be gone
			return "", err
		}
		r.status.free.Store(d.free)
		least := d.reserve(r.cfg.Journal.KeepFreeMB)
		if r.status.troubleText() != "" {
			least += min(least/8, 1<<20) // so that it does not go on and off
		}
		if d.free >= least {
			return "", nil
		}
		if !r.cfg.Journal.FreeOldest {
			return fmt.Sprintf("the disk of %s is full: %d MB are free, %d MB are kept free (journal.keep_free_mb); "+
				"make room: delete old trials, or set journal.free_oldest", r.book.Dir(), d.free>>20, least>>20), nil
		}
		t, ok, err := r.book.FreeOldest()
		if err != nil {
			return "", err
		}
		if !ok {
			return fmt.Sprintf("the disk of %s is full and there is no closed trial to delete: "+
				"make room, or close a trial with: logd trial close", r.book.Dir()), nil
		}
		r.log.Warn("deleted the oldest trial to make room", "trial", t.Dir)
	}
}

// changes follows what another program or a person did to the trials.
func (r *recorder) changes(now time.Time) error {
	if r.session == nil {
		if r.first {
			return r.resume(now)
		}
		return nil
	}
	err := r.trial.Reload()
	switch {
	case errors.Is(err, fs.ErrNotExist):
		r.log.Warn("the trial's directory is gone; a new trial begins", "trial", r.trial.Dir)
		return r.leave()
	case err != nil:
		return err
	case r.trial.Closed():
		r.log.Info("the trial was closed", "trial", r.trial.String())
		return r.leave()
	case r.status.cut.Swap(false) && r.unclear:
		r.log.Info("satellite time shows a long pause before this start; a new trial begins", "after", r.trial.String())
		return r.anew(now)
	}
	return nil
}

// resume opens the trial that is open, at the start of the program.
func (r *recorder) resume(now time.Time) error {
	t, open, err := r.book.Current()
	if err != nil || !open {
		r.first = err != nil
		return err
	}
	moment := logbook.Now()
	if moment.Boot == "" {
		r.log.Warn("the system hides /proc/sys/kernel/random/boot_id: pauses are judged by the clock alone")
	}
	fresh, pause := t.Fresh(moment, r.limit())
	if _, ok := t.Pulse(); !ok {
		fresh = logbook.Fresh // begun by hand, nothing recorded yet
	}
	if fresh == logbook.Stale {
		if _, _, err := r.book.Close(now); err != nil {
			return err
		}
		r.log.Info("closed the trial before: the pause was long", "trial", t.String(), "pause", pause.Round(time.Second))
		r.first = false
		return nil
	}
	if err := r.enter(t); err != nil {
		return err
	}
	r.first, r.unclear = false, fresh == logbook.Unclear
	r.heard -= pause
	r.log.Info("the trial goes on", "trial", t.String(), "why", string(fresh))
	return nil
}

// limit is the longest pause inside one trial.
func (r *recorder) limit() time.Duration { return seconds(r.cfg.Journal.ResumeH * 3600) }

// ready makes sure that there is a journal to write to.
func (r *recorder) ready(now time.Time) error {
	if r.session == nil {
		return r.anew(now)
	}
	if err := r.reopen(); err != nil {
		return err
	}
	at := logbook.Uptime()
	pause := at - r.heard
	r.heard = at
	if r.limit() > 0 && pause > r.limit() && r.writer.Frames() > 0 {
		r.log.Info("the buses were silent for long; a new trial begins", "pause", pause.Round(time.Second))
		return r.anew(now)
	}
	return nil
}

// anew leaves the present trial, closes it, and enters the next: the one that
// is open, else a new one.
func (r *recorder) anew(now time.Time) error {
	leaving := r.session != nil
	if leaving {
		if err := r.leave(); err != nil {
			return err
		}
	}
	if err := r.openBook(); err != nil {
		return err
	}
	t, open, err := r.book.Current()
	if err == nil && (leaving || !open) {
		if t, err = r.book.New(r.cfg.Trial.Name, now); err == nil {
			r.log.Info("a new trial begins", "trial", t.String(), "dir", t.Dir)
		}
	}
	if err != nil {
		return err
	}
	return r.enter(t)
}

// enter begins the session of a trial.
func (r *recorder) enter(t logbook.Trial) error {
	w, err := r.openJournal(t)
	if err != nil {
		return err
	}
	r.trial, r.writer, r.session = t, w, newSession(t, w.Frames())
	r.kept, r.beaten, r.heard, r.unclear = w.Frames(), time.Time{}, logbook.Uptime(), false
	r.status.session.Store(r.session)
	r.begin(r.session)
	return nil
}

func (r *recorder) openJournal(t logbook.Trial) (*journal.Writer, error) {
	w, err := journal.Create(t.Frames(), journal.Options{SegmentBytes: int64(r.cfg.Journal.SegmentMB) << 20})
	if err != nil {
		return nil, err
	}
	if damage := w.Recovery().String(); damage != "" {
		r.log.Warn("the journal was cut short when the power went", "what", damage)
	}
	return w, nil
}

// leave ends the present session with everything on the disk.
func (r *recorder) leave() error {
	if r.writer != nil {
		if err := r.flush(); err != nil {
			return err
		}
		r.beat(true)
		if err := r.writer.Close(); err != nil {
			r.log.Error("the journal's last second may be missing", "why", err.Error())
		}
	}
	r.session.end()
	r.writer, r.session = nil, nil
	r.status.session.Store(nil)
	return nil
}

// finish records what is left and ends the session.
func (r *recorder) finish() {
	if r.first {
		r.look(time.Now()) // which trial goes on was not found out yet
	}
	if err := r.record(time.Now()); err != nil {
		r.fail(err)
	}
	left := r.queue.len() + len(r.batch) - r.next
	if left > 0 {
		r.status.lost.Add(uint64(left))
		r.log.Error("frames are lost", "frames", left)
	}
	if r.session == nil {
		return
	}
	if err := r.leave(); err != nil {
		r.log.Error("the journal was not closed well", "why", err.Error())
		r.session.end()
	}
}
