package socketcan

import (
	"io"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// retry is how long is waited before what failed is tried again.
const retry = time.Second

// listener takes messages from a socket and opens it anew each time it fails,
// until it is closed. It is used by one goroutine, but for Close and Counts.
//
// The socket is not one of the runtime's: these wake the processor for each frame
// that comes, though nobody waits for it (at the full load of one bus, half of
// all that this program takes).
type listener struct {
	open    func() (fd int, err error)
	explain func(error) string
	counts  counter
	batch   *batch
	dropped uint32 // the kernel's count at the last message
	fd      int    // -1 while there is no socket
	ended   bool   // the last batch was begun after Close

	close  sync.Once
	closed chan struct{}
}

func newListener(open func() (int, error), explain func(error) string) listener {
	return listener{open: open, explain: explain, batch: newBatch(), fd: -1, closed: make(chan struct{})}
}

// Counts is what was received and lost so far.
func (l *listener) Counts() Counts { return l.counts.get() }

// Close ends listening; Next returns io.EOF after what has been received.
func (l *listener) Close() error {
	l.close.Do(func() { close(l.closed) })
	return nil
}

func (l *listener) isClosed() bool {
	select {
	case <-l.closed:
		return true
	default:
		return false
	}
}

// message waits for the next message. It returns io.EOF after Close and no other
// error. What it returns is valid until the next call.
func (l *listener) message() (data, address, control []byte, err error) {
	for {
		if data, address, control, ok := l.batch.message(); ok {
			return data, address, control, nil
		}
		if err := l.receive(); err != nil {
			return nil, nil, nil, err
		}
	}
}

// receive fills the batch. Whatever hinders that is noted and waited for.
func (l *listener) receive() error {
	last, full := l.isClosed(), l.batch.n == batchLen
	err := l.connect(last)
	switch {
	case err != nil:
	case l.ended && !full: // what came before Close was taken
		err = io.EOF
	default:
		if l.batch.n > 0 && !full && !last {
			time.Sleep(Rest)
		}
		l.ended = last
		err = l.batch.receive(l.fd)
	}
	switch {
	case err == nil:
		l.counts.trouble.Store(nil)
		return nil
	case last:
		l.drop()
		return io.EOF
	case err == unix.EAGAIN:
		return nil
	}
	l.drop()
	text := l.explain(err)
	l.counts.trouble.Store(&text)
	select {
	case <-l.closed:
	case <-time.After(retry):
	}
	return nil
}

// connect opens the socket if need be.
func (l *listener) connect(last bool) error {
	if l.fd >= 0 {
		return nil
	}
	if last {
		return io.EOF
	}
	fd, err := l.open()
	if err != nil {
		return err
	}
	l.fd, l.dropped = fd, 0
	if n, err := unix.GetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF); err == nil {
		l.counts.buffer.Store(int64(n))
	}
	return nil
}

func (l *listener) drop() {
	l.batch.n, l.batch.next = 0, 0
	if l.fd >= 0 {
		unix.Close(l.fd)
		l.fd = -1
	}
}

// said reads what the kernel says beside a message: drops, which are counted,
// and the time of reception, whole microseconds since 1970.
func (l *listener) said(b []byte) (at int64) {
	k := parseControl(b)
	if k.hasDrops {
		l.counts.dropped.Add(uint64(k.dropped - l.dropped)) // the kernel's count wraps around
		l.dropped = k.dropped
	}
	if k.time == 0 {
		k.time = time.Now().UnixNano()
	}
	return whole(k.time)
}
