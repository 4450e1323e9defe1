package socketcan

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"strings"

	"golang.org/x/sys/unix"

	"trialday.example/logd/decode/frame"
)

// UDPPrefix begins the name of an interface that is a UDP multicast group, as
// in udp:239.64.142.206:9999.
const UDPPrefix = "udp:"

// UDP listens to a multicast group on this machine. Each datagram holds one
// frame as the kernel lays it out. It implements frame.Source; Next is for one
// goroutine, all else for any.
type UDP struct {
	listener
	name string
}

// ListenUDP listens to the group that a name beginning with UDPPrefix gives.
func ListenUDP(name string) *UDP {
	group := strings.TrimPrefix(name, UDPPrefix)
	return &UDP{name: name, listener: newListener(func() (int, error) { return join(group) }, func(err error) string {
		return fmt.Sprintf("%s: %v; tried again every second: check the address and that the machine has a network", name, err)
	})}
}

// Buses returns the name.
func (u *UDP) Buses() []string { return []string{u.name} }

// Next waits for the next frame. It returns io.EOF after Close and no other
// error.
func (u *UDP) Next(f *frame.Frame) error {
	for {
		data, _, control, err := u.message()
		if err != nil {
			return err
		}
		if u.counts.parse(f, data, u.said(control), 0) {
			return nil
		}
	}
}

// join makes a socket that listens to a group on every interface that has it.
func join(group string) (fd int, err error) {
	at, err := netip.ParseAddrPort(group)
	if err != nil {
		return -1, err
	}
	if !at.Addr().Is4() || !at.Addr().IsMulticast() {
		return -1, errors.New("not an IPv4 multicast group")
	}
	fd, err = unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return -1, err
	}
	if err = unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_REUSEADDR, 1); err == nil {
		err = prepare(fd)
	}
	if err == nil {
		err = unix.Bind(fd, &unix.SockaddrInet4{Addr: at.Addr().As4(), Port: int(at.Port())})
	}
	if err == nil {
		err = joinEverywhere(fd, at.Addr().As4())
	}
	if err != nil {
		unix.Close(fd)
		return -1, err
	}
	return fd, nil
}

func joinEverywhere(fd int, group [4]byte) error {
	all, err := net.Interfaces()
	if err != nil {
		return err
	}
	joined, failed := false, errors.New("no interface is up")
	for _, i := range all {
		if i.Flags&net.FlagUp == 0 {
			continue
		}
		if err := unix.SetsockoptIPMreqn(fd, unix.IPPROTO_IP, unix.IP_ADD_MEMBERSHIP, &unix.IPMreqn{Multiaddr: group, Ifindex: int32(i.Index)}); err != nil {
			failed = err
		} else {
			joined = true
		}
	}
	if !joined {
		return failed
	}
	return nil
}
