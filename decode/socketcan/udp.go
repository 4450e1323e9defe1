package socketcan

import (
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"time"

	"go.einride.tech/can/pkg/socketcan"

	"trialday.example/logd/decode/frame"
)

// UDPPrefix begins the name of an interface that is a UDP multicast group, as
// in udp:239.64.142.206:9999.
const UDPPrefix = "udp:"

// UDP listens to a multicast group on this machine. Each datagram holds one
// frame as the kernel lays it out. Frames are stamped when they are read. It
// implements frame.Source; Next is for one goroutine, all else for any.
type UDP struct {
	name   string
	counts counter

	mu     sync.Mutex
	conn   net.Conn
	closed bool
	ended  chan struct{}
}

// ListenUDP listens to the group that a name beginning with UDPPrefix gives.
func ListenUDP(name string) *UDP { return &UDP{name: name, ended: make(chan struct{})} }

// Buses returns the name.
func (u *UDP) Buses() []string { return []string{u.name} }

// Counts is what was received so far. What the kernel dropped is not known.
func (u *UDP) Counts() Counts { return u.counts.get() }

// Close ends listening.
func (u *UDP) Close() error {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.closed {
		return nil
	}
	u.closed = true
	close(u.ended)
	if u.conn == nil {
		return nil
	}
	return u.conn.Close()
}

// Next waits for the next frame. It returns io.EOF after Close and no other
// error.
func (u *UDP) Next(f *frame.Frame) error {
	var b [2 * frameLen]byte // larger than a frame, to notice what is too long
	for {
		conn, err := u.dial()
		if err == nil {
			n := 0
			if n, err = conn.Read(b[:]); err == nil {
				u.counts.trouble.Store(nil)
				if err := parseFrame(f, b[:n]); err != nil {
					u.counts.malformed.Add(1)
					continue
				}
				f.Time, f.Bus = whole(time.Now().UnixNano()), 0
				u.counts.add(f)
				return nil
			}
		}
		if err := u.wait(err); err != nil {
			return err
		}
	}
}

// dial joins the group if that is not done yet.
func (u *UDP) dial() (net.Conn, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.closed {
		return nil, io.EOF
	}
	if u.conn != nil {
		return u.conn, nil
	}
	conn, err := socketcan.Dial("udp", strings.TrimPrefix(u.name, UDPPrefix))
	if err != nil {
		return nil, err
	}
	u.conn = conn
	return conn, nil
}

// wait notes a failure and waits for the next attempt.
func (u *UDP) wait(err error) error {
	u.mu.Lock()
	if u.conn != nil {
		u.conn.Close()
		u.conn = nil
	}
	u.mu.Unlock()
	text := fmt.Sprintf("%s: %v; tried again every second: check the address and that the machine has a network", u.name, err)
	u.counts.trouble.Store(&text)
	select {
	case <-u.ended:
		return io.EOF
	case <-time.After(retry):
		return nil
	}
}
