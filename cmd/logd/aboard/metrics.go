package aboard

import (
	"strconv"

	"github.com/prometheus/client_golang/prometheus"
)

// metrics gathers what is counted elsewhere whenever it is asked for.
type metrics struct{ d *daemon }

func describe(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("logd_"+name, help, labels, nil)
}

var (
	mFrames    = describe("frames_total", "Frames received, error frames included.", "interface")
	mErrors    = describe("error_frames_total", "Error frames received.", "interface")
	mLoad      = describe("bus_load_ratio", "Part of 250 kbit/s in use in the last second, with stuff bits.", "interface")
	mUp        = describe("bus_up", "1 while the interface is up and heard.", "interface")
	mQuiet     = describe("bus_last_frame_age_seconds", "Time since the last frame.", "interface")
	mDropped   = describe("kernel_dropped_frames_total", "Frames that the kernel dropped, its buffer being full.", "source")
	mMalformed = describe("malformed_frames_total", "Received, but no classical CAN frame.", "source")
	mBuffer    = describe("kernel_buffer_bytes", "Room for frames in the kernel.", "source")
	mLost      = describe("lost_frames_total", "Frames received and not kept.")
	mQueue     = describe("queue_frames", "Frames waiting for the journal.")
	mRecording = describe("recording", "1 while frames that come are kept.")
	mTrial     = describe("trial", "Number of the present trial; 0 before the first frame.")
	mJournal   = describe("journal_frames", "Frames in the journal of the present trial.")
	mBytes     = describe("journal_bytes", "Size of the journal of the present trial.")
	mSync      = describe("journal_sync_seconds", "Duration of the last write to the disk.")
	mFree      = describe("disk_free_bytes", "Room on the disk of the journal.")
	mLag       = describe("reader_lag_frames", "Frames in the journal that a reader has not read yet.", "reader")
	mSent      = describe("server_points_total", "Points of the present trial that the server confirmed.")
	mRejected  = describe("server_rejected_points_total", "Points that the server does not take, since the start.")
	mBehind    = describe("server_behind", "1 while there is more in the journal than the server confirmed.")
	mPGN       = describe("pgn_frames_total", "Frames of a PGN in the present trial; at most 256 are told apart.", "pgn")
	mKnown     = describe("clock_known", "1 where satellite time was heard.")
	mOffset    = describe("clock_offset_seconds", "UTC less the recorder's time at the first frame.")
	mUncertain = describe("clock_uncertainty_seconds", "Uncertainty of UTC.")
	mSteps     = describe("clock_steps", "Jumps of the recorder's clock in the present trial that were taken out.")
)

// Describe implements prometheus.Collector: which metrics there are depends on
// what is heard.
func (metrics) Describe(chan<- *prometheus.Desc) {}

// Collect implements prometheus.Collector.
func (m metrics) Collect(out chan<- prometheus.Metric) {
	count := func(d *prometheus.Desc, v uint64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, float64(v), labels...)
	}
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	m.buses(count, gauge)
	m.recorder(count, gauge)
	m.readers(count, gauge)
}

type (
	counting func(d *prometheus.Desc, v uint64, labels ...string)
	gauging  func(d *prometheus.Desc, v float64, labels ...string)
)

func (m metrics) buses(count counting, gauge gauging) {
	for _, b := range m.d.buses.all() {
		count(mFrames, b.frames.Load(), b.name)
		count(mErrors, b.errors.Load(), b.name)
		gauge(mLoad, float64(b.load.Load())/1e6, b.name)
		b.mu.Lock()
		gauge(mUp, flag(b.trouble == ""), b.name)
		b.mu.Unlock()
		if last := b.last.Load(); last != 0 {
			gauge(mQuiet, float64(since()-last)/1e9, b.name)
		}
	}
	for i, src := range m.d.Sources {
		c, ok := src.(counted)
		if !ok {
			continue
		}
		n, name := c.Counts(), strconv.Itoa(i)
		count(mDropped, n.Dropped, name)
		count(mMalformed, n.Malformed, name)
		gauge(mBuffer, float64(n.Buffer), name)
	}
}

func (m metrics) recorder(count counting, gauge gauging) {
	r := &m.d.recorder.status
	count(mLost, r.lost.Load())
	gauge(mQueue, float64(m.d.queue.len()))
	gauge(mRecording, flag(r.troubleText() == ""))
	gauge(mSync, float64(r.synced.Load())/1e9)
	gauge(mFree, float64(r.free.Load()))
	s := r.session.Load()
	if s == nil {
		gauge(mTrial, 0)
		return
	}
	gauge(mTrial, float64(s.trial.Number))
	gauge(mJournal, float64(s.written.Load()))
	gauge(mBytes, float64(s.trial.Size()))
}

func (m metrics) readers(count counting, gauge gauging) {
	m.d.mu.Lock()
	cursors, survey, sender := m.d.cursors, m.d.survey, m.d.sender
	m.d.mu.Unlock()
	if sender != nil {
		c := sender.Stats.Counts()
		count(mSent, uint64(c.Points))
		count(mRejected, uint64(c.Rejected))
		gauge(mBehind, flag(c.Behind))
		if s := m.d.recorder.status.session.Load(); s != nil {
			written := s.written.Load()
			gauge(mLag, float64(max(written, uint64(c.Frames))-uint64(c.Frames)), "server")
		}
	}
	for _, c := range cursors {
		gauge(mLag, float64(c.lag()), c.name)
	}
	for n, frames := range survey.frames {
		count(mPGN, frames, strconv.Itoa(int(n)))
	}
	if survey.other > 0 {
		count(mPGN, survey.other, "other")
	}
	gauge(mKnown, flag(survey.clock.Known))
	gauge(mSteps, float64(survey.clock.Steps))
	if survey.clock.Known {
		gauge(mOffset, survey.clock.Offset)
		gauge(mUncertain, survey.clock.Uncertainty)
	}
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
