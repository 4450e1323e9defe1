package socketcan

import (
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"slices"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sys/unix"

	"trialday.example/logd/decode/frame"
)

// retry is how long is waited before what failed is tried again.
const retry = time.Second

// wantBuffer is the room asked of the kernel for frames not yet taken, in
// bytes: a frame takes under 1 KiB, two full buses give 4000 frames a second,
// so it bridges a standstill of this program of more than a second.
const wantBuffer = 8 << 20

// CAN listens to CAN interfaces. It implements frame.Source; Next is for one
// goroutine, all else for any.
type CAN struct {
	names  []string
	counts counter
	batch  *batch
	last   uint32 // the kernel's drop count
	known  map[int32]known

	mu     sync.Mutex
	file   *os.File // nil while there is no socket
	closed chan struct{}
}

// known is what an interface index stood for when it was last asked for.
type known struct {
	bus  int // -1 if none of ours
	when time.Time
}

// Listen listens to the named interfaces, whether they are there yet or not.
func Listen(names []string) *CAN {
	return &CAN{names: slices.Clone(names), batch: newBatch(), known: make(map[int32]known), closed: make(chan struct{})}
}

// Buses returns the names given to Listen.
func (c *CAN) Buses() []string { return c.names }

// Counts is what was received and lost so far.
func (c *CAN) Counts() Counts { return c.counts.get() }

// Close ends listening; Next returns io.EOF after what has been received.
func (c *CAN) Close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	select {
	case <-c.closed:
		return nil
	default:
	}
	close(c.closed)
	if c.file == nil {
		return nil
	}
	return c.file.SetReadDeadline(time.Now())
}

// Next waits for the next frame. It returns io.EOF after Close and no other
// error.
func (c *CAN) Next(f *frame.Frame) error {
	for {
		data, address, control, ok := c.batch.message()
		if !ok {
			if err := c.receive(); err != nil {
				return err
			}
			continue
		}
		if c.take(f, data, address, control) {
			return nil
		}
	}
}

// take makes a frame of a message; false if it is not one of ours.
func (c *CAN) take(f *frame.Frame, data, address, control []byte) bool {
	k := parseControl(control)
	if k.hasDrops {
		c.counts.dropped.Add(uint64(k.dropped - c.last)) // the kernel's count wraps around
		c.last = k.dropped
	}
	index, ok := parseAddress(address)
	if !ok {
		c.counts.malformed.Add(1)
		return false
	}
	bus := c.bus(index)
	if bus < 0 {
		c.counts.foreign.Add(1)
		return false
	}
	if err := parseFrame(f, data); err != nil {
		c.counts.malformed.Add(1)
		return false
	}
	f.Bus, f.Time = uint8(bus), whole(k.time)
	if k.time == 0 {
		f.Time = whole(time.Now().UnixNano())
	}
	c.counts.add(f)
	return true
}

// bus finds an interface by its index, -1 where it is none of ours. Names are
// asked for anew every second: an index can get another name. Frames of an
// interface that has just gone are still its own.
func (c *CAN) bus(index int32) int {
	now := time.Now()
	k, found := c.known[index]
	if found && now.Sub(k.when) < time.Second {
		return k.bus
	}
	if !found {
		k.bus = -1
	}
	if i, err := net.InterfaceByIndex(int(index)); err == nil {
		k.bus = slices.Index(c.names, i.Name)
	}
	k.when = now
	if len(c.known) >= maxKnown {
		clear(c.known)
	}
	c.known[index] = k
	return k.bus
}

// maxKnown bounds the indices kept: an adapter gets a new one each time it is
// plugged in.
const maxKnown = 256

// receive fills the batch. Whatever hinders that is noted and waited for.
func (c *CAN) receive() error {
	conn, err := c.socket()
	if err == nil {
		err = c.batch.receive(conn)
	}
	select {
	case <-c.closed:
		if c.batch.n == 0 {
			c.drop()
			return io.EOF
		}
		return nil
	default:
	}
	if err == nil {
		c.counts.trouble.Store(nil)
		return nil
	}
	c.drop()
	text := explain(err)
	c.counts.trouble.Store(&text)
	select {
	case <-c.closed:
		return io.EOF
	case <-time.After(retry):
		return nil
	}
}

func explain(err error) string {
	switch {
	case errors.Is(err, unix.EAFNOSUPPORT), errors.Is(err, unix.EPROTONOSUPPORT):
		return "the kernel has no CAN: load its modules with: modprobe -a can can-raw"
	case errors.Is(err, unix.EPERM), errors.Is(err, unix.EACCES):
		return "not allowed to open a CAN socket: allow AF_CAN to the service (RestrictAddressFamilies)"
	}
	return fmt.Sprintf("the CAN socket failed: %v; it is opened again every second", err)
}

// socket returns the socket, opened if need be.
func (c *CAN) socket() (syscall.RawConn, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.file == nil {
		fd, err := open()
		if err != nil {
			return nil, err
		}
		c.file, c.last = os.NewFile(uintptr(fd), "can"), 0
		if n, err := unix.GetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF); err == nil {
			c.counts.buffer.Store(int64(n))
		}
		select {
		case <-c.closed:
			_ = c.file.SetReadDeadline(time.Now())
		default:
		}
	}
	return c.file.SyscallConn()
}

func (c *CAN) drop() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.file != nil {
		c.file.Close()
		c.file = nil
	}
}

// open makes a raw socket that hears every CAN interface.
func open() (fd int, err error) {
	fd, err = unix.Socket(unix.AF_CAN, unix.SOCK_RAW|unix.SOCK_NONBLOCK|unix.SOCK_CLOEXEC, unix.CAN_RAW)
	if err != nil {
		return -1, err
	}
	if err = prepare(fd); err == nil {
		err = unix.SetsockoptInt(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_ERR_FILTER, unix.CAN_ERR_MASK)
	}
	if err == nil {
		err = unix.Bind(fd, &unix.SockaddrCAN{Ifindex: 0})
	}
	if err != nil {
		unix.Close(fd)
		return -1, err
	}
	return fd, nil
}

// prepare asks for time stamps, the drop counter and a large buffer. To pass
// the system's limit of buffers takes a right that the service does not have;
// then it gets as much as the limit allows.
func prepare(fd int) error {
	if unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, wantBuffer) != nil {
		if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, wantBuffer); err != nil {
			return err
		}
	}
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, 1); err != nil {
		return err
	}
	return unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RXQ_OVFL, 1)
}
