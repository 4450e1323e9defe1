package logbook

import (
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Moment is a point in time as this machine knows it.
type Moment struct {
	// Boot is the kernel's name of this run of the machine.
	Boot string `json:"boot"`
	// Uptime counts from the start of the machine, standby included. It does
	// not depend on the clock and cannot be set.
	Uptime time.Duration `json:"uptime_ns"`
	// Wall is the time of day by the recorder's clock.
	Wall time.Time `json:"wall"`
}

// Now is the present moment. Where the kernel's name of this run cannot be read
// Boot is empty, and equal to no other.
func Now() Moment {
	boot, _ := os.ReadFile("/proc/sys/kernel/random/boot_id")
	return Moment{strings.TrimSpace(string(boot)), Uptime(), time.Now().UTC()}
}

// Uptime counts from the start of the machine, standby included.
func Uptime() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return 0 // no kernel since 2.6.39 is without this clock
	}
	return time.Duration(ts.Nano())
}

// Pulse is what the last sign of life of a trial says.
type Pulse struct {
	Moment
	Frames uint64 `json:"frames"` // in the journal
}

// Beat notes that frames were being kept at a moment.
func (t *Trial) Beat(p Pulse) error { return writeJSON(filepath.Join(t.Dir, pulseFile), &p) }

// Pulse reads what Beat noted last; ok is false if there is nothing.
func (t *Trial) Pulse() (p Pulse, ok bool) {
	return p, readJSON(filepath.Join(t.Dir, pulseFile), &p) == nil && !p.Wall.IsZero()
}

// Freshness says whether a trial goes on after the logger was off.
type Freshness string

const (
	// Fresh: the pause was shorter than the limit.
	Fresh Freshness = "the pause was short"
	// Stale: the pause was longer than the limit.
	Stale Freshness = "the pause was long"
	// Unclear: the machine was off and its clock tells nothing of for how
	// long. The trial goes on: two trials that were one day cost more work
	// than one that is cut in two as soon as satellite time shows the pause.
	Unclear Freshness = "the clock does not tell how long the pause was"
)

// Fresh judges the pause since a trial's last sign of life, which can be a
// minute before its last frame.
//
// In the same run of the machine the uptime tells it, whatever the clock did.
// After a restart of the machine only the clocks are left. A clock that is not
// behind the sign of life is taken at its word: either it ran on, or it was
// restored from what was saved when the power went, and then the pause looks
// short and the trial goes on. A clock that is behind, such as one that starts
// in 1970, says nothing: the pause is Unclear. So is that of a trial without a
// sign of life.
func (t *Trial) Fresh(now Moment, limit time.Duration) (Freshness, time.Duration) {
	p, ok := t.Pulse()
	if !ok {
		return Unclear, 0
	}
	pause := now.Wall.Sub(p.Wall)
	if now.Boot == p.Boot && now.Boot != "" {
		pause = now.Uptime - p.Uptime
	}
	switch {
	case pause < 0:
		return Unclear, 0
	case pause > limit:
		return Stale, pause
	}
	return Fresh, pause
}
