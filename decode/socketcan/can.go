package socketcan

import (
	"errors"
	"fmt"
	"net"
	"slices"
	"time"

	"golang.org/x/sys/unix"

	"trialday.example/logd/decode/frame"
)

// wantBuffer is the room asked of the kernel for frames not yet taken, in
// bytes: a frame takes under 1 KiB, two full buses give 4000 frames a second,
// so it bridges a standstill of this program of more than a second.
const wantBuffer = 8 << 20

// CAN listens to CAN interfaces. It implements frame.Source; Next is for one
// goroutine, all else for any.
type CAN struct {
	listener
	names []string
	known map[int32]known
}

// known is what an interface index stood for when it was last asked for.
type known struct {
	bus  int // -1 if none of ours
	when time.Time
}

// Listen listens to the named interfaces, whether they are there yet or not.
func Listen(names []string) *CAN {
	return &CAN{listener: newListener(open, explain), names: slices.Clone(names), known: make(map[int32]known)}
}

// Buses returns the names given to Listen.
func (c *CAN) Buses() []string { return c.names }

// Next waits for the next frame. It returns io.EOF after Close and no other
// error.
func (c *CAN) Next(f *frame.Frame) error {
	for {
		data, address, control, err := c.message()
		if err != nil {
			return err
		}
		if c.take(f, data, address, control) {
			return nil
		}
	}
}

// take makes a frame of a message; false if it is not one of ours.
func (c *CAN) take(f *frame.Frame, data, address, control []byte) bool {
	at := c.said(control)
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
	return c.counts.parse(f, data, at, uint8(bus))
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

func explain(err error) string {
	switch {
	case errors.Is(err, unix.EAFNOSUPPORT), errors.Is(err, unix.EPROTONOSUPPORT):
		return "the kernel has no CAN: load its modules with: modprobe -a can can-raw"
	case errors.Is(err, unix.EPERM), errors.Is(err, unix.EACCES):
		return "not allowed to open a CAN socket: allow AF_CAN to the service (RestrictAddressFamilies)"
	}
	return fmt.Sprintf("the CAN socket failed: %v; it is opened again every second", err)
}

// open makes a raw socket that hears every CAN interface.
func open() (fd int, err error) {
	fd, err = unix.Socket(unix.AF_CAN, unix.SOCK_RAW|unix.SOCK_CLOEXEC, unix.CAN_RAW)
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

// prepare asks for time stamps, the drop counter, an end to waiting and a large
// buffer. To pass the system's limit of buffers takes a right that the service
// does not have; then it gets as much as the limit allows.
func prepare(fd int) error {
	if unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, wantBuffer) != nil {
		if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, wantBuffer); err != nil {
			return err
		}
	}
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, 1); err != nil {
		return err
	}
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RXQ_OVFL, 1); err != nil {
		return err
	}
	wait := unix.NsecToTimeval(int64(patience))
	return unix.SetsockoptTimeval(fd, unix.SOL_SOCKET, unix.SO_RCVTIMEO, &wait)
}
