// Package aboard is the logger at work: it listens to the buses, keeps every
// frame in the journal of the present trial, and derives the figures while the
// day goes on.
//
//	bus -> queue -> journal -> readers: figures, survey, server
//
// # Invariants
//
//   - The journal comes first. Whatever else is done with a frame is done by a
//     reader of the journal in its own goroutine, with its own place in it, and
//     can delay neither the bus nor the journal.
//   - What is derived live is derived by the same code, from the same frames,
//     as by a replay of the journal.
//   - Nothing ends by itself: whatever hinders recording is told, waited for,
//     and got over. Every frame that was received and is not in the journal is
//     counted.
//   - Memory does not grow with the length of the day.
package aboard

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"runtime/debug"
	"sync"
	"time"

	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/socketcan"
	"trialday.example/logd/sink/influx"
	"trialday.example/logd/sink/results"
)

// stopWithin is how long the figures may take to be finished when the program
// is stopped. The journal is on the disk before.
const stopWithin = 1500 * time.Millisecond

// Options says what to record.
type Options struct {
	Config  configs.Config
	Version string // stands in the results
	// Sources are the buses. Each is read until it returns an error; if it is
	// an io.Closer it is closed when the program is to stop.
	Sources []frame.Source
	// Write writes the results of a trial to its directory.
	Write func(dir string, r *results.Results, line *results.Timeline) error
	Log   *slog.Logger
	// Notify tells the service manager; nil: nobody is told.
	Notify func(state string)
	// Watchdog is how often the service manager wants to hear; 0: never.
	Watchdog time.Duration
	// Listen opens the address of the page; nil: there is none.
	Listen func() (net.Listener, error)
	// Make makes files for the page; see page.Options.
	Make map[string]func(ctx context.Context, w io.Writer, dir string) error
}

// Open opens the sources that bus.interfaces names.
func Open(interfaces []string) []frame.Source {
	var can []string
	var sources []frame.Source
	for _, name := range interfaces {
		if isUDP(name) {
			sources = append(sources, socketcan.ListenUDP(name))
		} else {
			can = append(can, name)
		}
	}
	if len(can) > 0 {
		sources = append(sources, socketcan.Listen(can))
	}
	return sources
}

type daemon struct {
	Options
	log      *slog.Logger
	buses    buses
	queue    *queue
	recorder recorder
	readers  sync.WaitGroup
	live     *live

	results sync.Mutex // held while results are written

	mu      sync.Mutex
	cursors []*cursor    // of the present session
	ours    map[int]bool // trials recorded by this process
	survey  surveyState
	sender  *influx.Sink // of the present trial; nil without a server
}

// Run records until ctx ends, then puts everything on the disk.
func Run(ctx context.Context, o Options) { newDaemon(o, queueLen).run(ctx) }

func newDaemon(o Options, waiting int) *daemon {
	d := &daemon{Options: o, log: o.Log, queue: newQueue(waiting), ours: make(map[int]bool), live: newLive()}
	if d.Notify == nil {
		d.Notify = func(string) {}
	}
	d.recorder = recorder{cfg: o.Config, queue: d.queue, buses: &d.buses, log: d.log}
	return d
}

func (d *daemon) run(ctx context.Context) {
	reading, giveUp := context.WithCancel(context.Background())
	defer giveUp()
	d.recorder.begin = func(s *session) {
		d.begin(reading, s)
		if d.Config.Influx.URL != "" {
			d.readers.Go(d.apart(func() { d.send(ctx, s.trial) }))
		}
	}

	var listeners, others sync.WaitGroup
	for _, src := range d.Sources {
		for _, name := range src.Buses() {
			d.buses.number(name)
		}
		listeners.Go(func() { d.listen(src) })
	}
	for _, f := range []func(context.Context){d.watch, d.serve, d.pet, d.catchUp, d.sendBacklog, d.publishLive} {
		others.Go(d.apart(func() { f(ctx) }))
	}
	stop, recorded := make(chan struct{}), make(chan struct{})
	go func() {
		d.recorder.run(stop)
		close(recorded)
	}()
	d.Notify("READY=1")
	d.log.Info("logging", "interfaces", d.Config.Bus.Interfaces, "journal", d.Config.Journal.Dir)

	<-ctx.Done()
	d.Notify("STOPPING=1")
	deadline := time.AfterFunc(stopWithin, giveUp)
	defer deadline.Stop()
	for _, src := range d.Sources {
		if c, ok := src.(io.Closer); ok {
			c.Close()
		}
	}
	d.await(&listeners)
	close(stop)
	<-recorded
	d.readers.Wait()
	others.Wait()
	d.log.Info("stopped", "lost", d.recorder.status.lost.Load())
}

// await waits for the listeners to hand over what they have, but not for one
// whose source does not end.
func (d *daemon) await(listeners *sync.WaitGroup) {
	done := make(chan struct{})
	go func() {
		listeners.Wait()
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(stopWithin / 3):
	}
	d.queue.close()
}

// listen moves the frames of one source to the queue.
func (d *daemon) listen(src frame.Source) {
	var number []uint8 // ours, of each of the source's
	var f frame.Frame
	var told int64
	for {
		if err := src.Next(&f); err != nil {
			if err != io.EOF {
				d.log.Error("a bus is not heard any more", "why", err.Error())
			}
			return
		}
		for len(number) <= int(f.Bus) {
			n, _ := d.buses.number(src.Buses()[len(number)])
			number = append(number, n)
		}
		f.Bus = number[f.Bus]
		b := d.buses.all()[f.Bus]
		b.count(&f)
		if f.IsError && since()-told > int64(lookEvery) {
			told = since()
			d.log.Warn("error on the bus", "interface", b.name, "what", socketcan.Explain(&f))
		}
		if !d.queue.put(&f) {
			d.recorder.status.lost.Add(1)
		}
	}
}

// begin starts the readers of a session.
func (d *daemon) begin(ctx context.Context, s *session) {
	figures := &cursor{name: "figures", session: s, log: d.log}
	survey := &cursor{name: "survey", session: s, log: d.log}
	d.mu.Lock()
	d.cursors = []*cursor{figures, survey}
	d.ours[s.trial.Number] = true
	d.mu.Unlock()
	d.readers.Go(d.apart(func() { d.figures(ctx, s, figures) }))
	d.readers.Go(d.apart(func() { d.surveys(ctx, s, survey) }))
	d.readers.Go(d.apart(func() { d.shrink(ctx, s) }))
}

// apart keeps a panic of what is not recording from ending the recording. It is
// a fault of this program and told as such; what failed stays off until the
// next trial or start.
func (d *daemon) apart(f func()) func() {
	return func() {
		defer func() {
			if p := recover(); p != nil {
				d.log.Error("a part of the program failed; recording goes on", "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
			}
		}()
		f()
	}
}

func (d *daemon) isOurs(number int) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.ours[number]
}
