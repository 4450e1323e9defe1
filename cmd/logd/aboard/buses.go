package aboard

import (
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/decode/socketcan"
)

// bus is an interface and what was counted on it.
type bus struct {
	name   string
	frames atomic.Uint64
	errors atomic.Uint64
	bits   atomic.Uint64
	last   atomic.Int64 // monotonic time of the last frame, see since; 0 for never
	load   atomic.Uint64

	mu      sync.Mutex
	link    socketcan.Link
	trouble string
}

func (b *bus) count(f *frame.Frame) {
	b.frames.Add(1)
	b.last.Store(since())
	if f.IsError {
		b.errors.Add(1)
		return
	}
	b.bits.Add(uint64(socketcan.Bits(f)))
}

// started is what since counts from.
var started = time.Now()

// since is a time in nanoseconds that no setting of the clock moves.
func since() int64 { return int64(time.Since(started)) + 1 }

// buses numbers all interfaces of all sources. A number, once given, stays.
type buses struct {
	mu   sync.Mutex
	list atomic.Pointer[[]*bus]
}

func (b *buses) all() []*bus {
	if l := b.list.Load(); l != nil {
		return *l
	}
	return nil
}

// number finds or begins an interface; ok is false if there are too many.
func (b *buses) number(name string) (n uint8, ok bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	list := b.all()
	i := slices.IndexFunc(list, func(x *bus) bool { return x.name == name })
	if i >= 0 {
		return uint8(i), true
	}
	if len(list) == frame.MaxBuses {
		return 0, false
	}
	list = append(slices.Clone(list), &bus{name: name})
	b.list.Store(&list)
	return uint8(len(list) - 1), true
}
