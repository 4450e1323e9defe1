package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"trialday.example/logd/calc/energy"
	"trialday.example/logd/cmd/logd/aboard"
	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/socketcan"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/results"
)

func checkCommand() *cobra.Command {
	var config string
	var seconds float64
	c := &cobra.Command{
		Use:   "check [--config FILE] [--seconds 10] [CAPTURE]",
		Short: "Say what the buses give and which figures will be possible",
		Long: "Listen for some seconds, or read a capture, and say in plain words what is there: buses, devices,\n" +
			"quantities, the figures that a trial will give and those that it will not and why, what is wrong\n" +
			"with the installation, clock, disk. Most faults show only once the boat has moved: check the capture\n" +
			"of a run too.\n" +
			"It can be run beside a running logger. Nothing is sent on a bus.",
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			cfg, err := configs.ReadFile(config)
			if err != nil {
				return err
			}
			h, err := hearAll(cmd, &cfg, seconds, args)
			if err != nil {
				return err
			}
			defer h.close()
			return h.print(cmd.OutOrStdout())
		},
	}
	c.Flags().StringVar(&config, "config", "", "configuration (YAML)")
	c.Flags().Float64Var(&seconds, "seconds", 10, "how long to listen")
	return c
}

// hearAll listens for some seconds, or reads the capture that args name. What it
// returns is to be closed.
func hearAll(cmd *cobra.Command, cfg *configs.Config, seconds float64, args []string) (*hearing, error) {
	if !(seconds > 0 && seconds <= 3600) {
		return nil, fmt.Errorf("--seconds %g: allowed: up to 3600", seconds)
	}
	h, err := newHearing(cfg)
	if err != nil {
		return nil, err
	}
	if len(args) == 1 {
		if err := h.read(args[0]); err != nil {
			h.close()
			return nil, err
		}
	} else {
		fmt.Fprintf(cmd.ErrOrStderr(), "listening for %g s ...\n", seconds)
		h.listen(cmd.Context(), time.Duration(seconds*float64(time.Second)))
	}
	h.finish()
	return h, nil
}

// hearing is what was heard: on the buses now, or in a capture.
type hearing struct {
	cfg     *configs.Config
	live    bool
	seconds float64 // of listening
	dropped uint64
	trouble []string // of sources
	survey  *aboard.Survey
	day     *day.Day
	found   *results.Results
	size    *sizing
	// batteries are those heard, with what lacks of each.
	batteries []energy.Battery

	mu    sync.Mutex
	names []string
	buses []busCount
}

// busCount is what one bus gave.
type busCount struct {
	frames, errors, bits int64
	lastError            string
}

func newHearing(cfg *configs.Config) (*hearing, error) {
	h := &hearing{cfg: cfg}
	h.survey = aboard.NewSurvey(cfg, func() []string { return h.names }, nil)
	h.day = day.New(*cfg, version, func() []string { return h.names })
	size, err := newSizing()
	h.size = size
	return h, err
}

func (h *hearing) close() { h.size.close() }

// frame takes the next frame of a named bus.
func (h *hearing) frame(f *frame.Frame, name string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	i := slices.Index(h.names, name)
	if i < 0 {
		if len(h.names) == frame.MaxBuses {
			return
		}
		i = len(h.names)
		h.names, h.buses = append(h.names, name), append(h.buses, busCount{})
	}
	f.Bus = uint8(i)
	b := &h.buses[i]
	b.frames++
	if f.IsError {
		b.errors++
		b.lastError = socketcan.Explain(f)
	}
	b.bits += int64(socketcan.Bits(f))
	h.size.add(f, name)
	h.survey.Frame(f)
	h.day.Frame(f)
}

// listen hears the configured interfaces for some time.
func (h *hearing) listen(ctx context.Context, long time.Duration) {
	h.live = true
	for _, name := range h.cfg.Bus.Interfaces {
		h.names, h.buses = append(h.names, name), append(h.buses, busCount{})
	}
	sources := aboard.Open(h.cfg.Bus.Interfaces)
	var all sync.WaitGroup
	from := time.Now()
	for _, src := range sources {
		all.Go(func() {
			var f frame.Frame
			for src.Next(&f) == nil {
				h.frame(&f, src.Buses()[f.Bus])
			}
		})
	}
	select {
	case <-ctx.Done():
	case <-time.After(long):
	}
	h.seconds = time.Since(from).Seconds()
	for _, src := range sources {
		if c, ok := src.(interface{ Counts() socketcan.Counts }); ok {
			n := c.Counts()
			h.dropped += n.Dropped
			if n.Trouble != "" {
				h.trouble = append(h.trouble, n.Trouble)
			}
		}
		if c, ok := src.(io.Closer); ok {
			c.Close()
		}
	}
	all.Wait()
}

// read takes a whole capture.
func (h *hearing) read(path string) error {
	src, err := capture.Open(path)
	if err != nil {
		return err
	}
	defer src.Close()
	_, err = frame.Each(src, func(f *frame.Frame) error {
		h.frame(f, src.Buses()[f.Bus])
		return nil
	})
	if err != nil {
		return err
	}
	h.trouble = nil
	for _, f := range src.Faults().First {
		h.trouble = append(h.trouble, "skipped: "+f.String())
	}
	return nil
}

func (h *hearing) finish() {
	h.survey.Finish()
	h.found, _ = h.day.Finish(0)
	h.batteries = h.day.Evidence(0).Energy
	if !h.live {
		h.seconds = h.survey.Seconds()
	}
}

// sizing measures what a journal of the frames would take.
type sizing struct {
	dir         string
	w           *journal.Writer
	first, last int64 // capture time
	block       int64
	err         error
}

// Frames go to the disk ten times a second, as when logging, and a minute of
// them is enough.
const (
	sizeBlock = int64(100 * time.Millisecond)
	sizeSpan  = int64(time.Minute)
)

func newSizing() (*sizing, error) {
	dir, err := os.MkdirTemp("", "logd-check-")
	if err != nil {
		return nil, fmt.Errorf("no room for the measurement of the journal: %w", err)
	}
	w, err := journal.Create(dir+"/frames", journal.Options{})
	if err != nil {
		os.RemoveAll(dir)
		return nil, err
	}
	return &sizing{dir: dir, w: w}, nil
}

func (s *sizing) add(f *frame.Frame, name string) {
	if s.first == 0 {
		s.first, s.block = f.Time, f.Time
	}
	if s.err != nil || f.Time-s.first > sizeSpan || f.Time < s.last {
		return
	}
	if f.Time-s.block >= sizeBlock {
		s.err, s.block = s.w.Flush(), f.Time
	}
	if s.err == nil {
		s.err = s.w.Append(f, name)
	}
	s.last = f.Time
}

// rate is the growth of the journal in bytes a second; ok is false if too
// little was heard.
func (s *sizing) rate() (float64, bool) {
	if s.err != nil || s.w.Flush() != nil || s.last-s.first < int64(time.Second) {
		return 0, false
	}
	entries, err := os.ReadDir(s.dir + "/frames")
	if err != nil {
		return 0, false
	}
	n := int64(0)
	for _, e := range entries {
		if info, err := e.Info(); err == nil {
			n += info.Size()
		}
	}
	return float64(n) / (float64(s.last-s.first) / 1e9), true
}

func (s *sizing) close() {
	s.w.Close()
	os.RemoveAll(s.dir)
}
