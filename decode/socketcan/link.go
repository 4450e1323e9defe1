package socketcan

import (
	"errors"
	"fmt"
	"net"
	"strings"

	"github.com/vishvananda/netlink"
	"golang.org/x/sys/unix"
)

// Bitrate is that of the network this program listens to, bit/s.
const Bitrate = 250_000

// State is how an interface stands.
type State string

// The states of an interface. The last four are the kernel's for a CAN
// controller (include/uapi/linux/can/netlink.h).
const (
	Missing      State = "missing"
	Unreadable   State = "unreadable" // the kernel would not tell
	NotCAN       State = "not a CAN interface"
	Down         State = "down"
	Up           State = "up"
	ErrorWarning State = "error warning"
	ErrorPassive State = "error passive"
	BusOff       State = "bus off"
	Stopped      State = "stopped"
)

// Link is an interface as the kernel describes it.
type Link struct {
	Name       string
	Index      int
	Kind       string // can, vcan, vxcan, slcan; udp
	State      State
	Bitrate    uint32 // bit/s; 0 where there is none
	ListenOnly bool   // the controller cannot send
	Why        string // of Unreadable
}

// Look asks the kernel for an interface.
func Look(name string) Link {
	if strings.HasPrefix(name, UDPPrefix) {
		return Link{Name: name, Kind: "udp", State: Up, ListenOnly: true}
	}
	l, err := netlink.LinkByName(name)
	if _, missing := errors.AsType[netlink.LinkNotFoundError](err); missing {
		return Link{Name: name, State: Missing}
	}
	if err != nil {
		return Link{Name: name, State: Unreadable, Why: err.Error()}
	}
	return describe(name, l)
}

// describe takes what concerns us from the kernel's description.
func describe(name string, l netlink.Link) Link {
	a := l.Attrs()
	out := Link{Name: name, Index: a.Index, Kind: l.Type(), State: Up}
	can, isCAN := l.(*netlink.Can)
	switch {
	case a.EncapType != "can" && !isCAN && !strings.Contains(l.Type(), "can"):
		out.State = NotCAN
	case a.Flags&net.FlagUp == 0:
		out.State = Down
	case isCAN:
		out.State = controller(can.State)
	}
	if isCAN {
		out.Bitrate = can.BitRate
		out.ListenOnly = can.Flags&unix.CAN_CTRLMODE_LISTENONLY != 0
	}
	return out
}

func controller(state uint32) State {
	switch state {
	case unix.CAN_STATE_ERROR_WARNING:
		return ErrorWarning
	case unix.CAN_STATE_ERROR_PASSIVE:
		return ErrorPassive
	case unix.CAN_STATE_BUS_OFF:
		return BusOff
	case unix.CAN_STATE_STOPPED, unix.CAN_STATE_SLEEPING:
		return Stopped
	}
	return Up
}

// Virtual reports whether there is no controller behind the interface, so that
// it has no bit rate and nothing that could be sent would reach a wire.
func (l Link) Virtual() bool { return l.Kind == "vcan" || l.Kind == "vxcan" || l.Kind == "udp" }

// Trouble says what keeps the interface from being heard well and what a
// person should do; "" if nothing does.
func (l Link) Trouble() string {
	switch l.State {
	case Missing:
		return fmt.Sprintf("interface %s is missing: plug the CAN adapter in, or correct bus.interfaces", l.Name)
	case Unreadable:
		return fmt.Sprintf("interface %s: the kernel does not tell its state (%s): allow AF_NETLINK to the service", l.Name, l.Why)
	case NotCAN:
		return fmt.Sprintf("interface %s is no CAN interface: correct bus.interfaces", l.Name)
	case Down:
		return fmt.Sprintf("interface %s is down: bring it up with: ip link set %s up", l.Name, l.Name)
	case BusOff:
		return fmt.Sprintf("interface %s is off the bus after too many errors: check the bit rate and the wiring, "+
			"then: ip link set %s down; ip link set %s up", l.Name, l.Name, l.Name)
	case ErrorPassive, ErrorWarning:
		return fmt.Sprintf("interface %s sees many errors: check the bit rate (250 kbit/s), the wiring and the two terminators", l.Name)
	case Stopped:
		return fmt.Sprintf("the controller of interface %s is stopped: ip link set %s down; ip link set %s up", l.Name, l.Name, l.Name)
	}
	if l.Bitrate != 0 && l.Bitrate != Bitrate {
		return fmt.Sprintf("interface %s runs at %d bit/s, the network at %d: set it with: "+
			"ip link set %s down; ip link set %s up type can bitrate %d listen-only on",
			l.Name, l.Bitrate, Bitrate, l.Name, l.Name, Bitrate)
	}
	return ""
}

// MaySend says how to make the controller unable to send; "" if it is already,
// or if there is none. This program sends nothing, but a controller that is not
// in listen-only mode acknowledges frames of others.
func (l Link) MaySend() string {
	if l.ListenOnly || l.Kind == "" || l.State == NotCAN || l.Virtual() {
		return ""
	}
	return fmt.Sprintf("interface %s is not in listen-only mode: set it with: "+
		"ip link set %s down; ip link set %s up type can bitrate %d listen-only on", l.Name, l.Name, l.Name, Bitrate)
}
