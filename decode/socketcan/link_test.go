package socketcan

import (
	"net"
	"strings"
	"testing"

	"github.com/vishvananda/netlink"
	"golang.org/x/sys/unix"

	"go.einride.tech/can"

	"trialday.example/logd/decode/frame"
)

func up(l netlink.Link) netlink.Link {
	l.Attrs().Flags |= net.FlagUp
	return l
}

func TestLinksAreDescribedWithAdvice(t *testing.T) {
	bus := func(state, rate, flags uint32) netlink.Link {
		return &netlink.Can{State: state, BitRate: rate, Flags: flags}
	}
	const listen = unix.CAN_CTRLMODE_LISTENONLY
	for name, c := range map[string]struct {
		link    netlink.Link
		state   State
		trouble string // part of it; "" for none
		send    bool   // it may send
	}{
		"as it should be":    {up(bus(0, Bitrate, listen)), Up, "", false},
		"not listen-only":    {up(bus(0, Bitrate, 0)), Up, "", true},
		"wrong bit rate":     {up(bus(0, 500_000, listen)), Up, "bitrate 250000", false},
		"down":               {bus(0, Bitrate, listen), Down, "ip link set x0 up", false},
		"many errors":        {up(bus(unix.CAN_STATE_ERROR_WARNING, Bitrate, listen)), ErrorWarning, "terminators", false},
		"very many errors":   {up(bus(unix.CAN_STATE_ERROR_PASSIVE, Bitrate, listen)), ErrorPassive, "terminators", false},
		"off the bus":        {up(bus(unix.CAN_STATE_BUS_OFF, Bitrate, 0)), BusOff, "bit rate and the wiring", true},
		"stopped":            {up(bus(unix.CAN_STATE_STOPPED, Bitrate, listen)), Stopped, "stopped", false},
		"virtual":            {up(&netlink.GenericLink{LinkType: "vcan"}), Up, "", false},
		"virtual and down":   {&netlink.GenericLink{LinkType: "vcan"}, Down, "is down", false},
		"a network card":     {up(&netlink.Device{}), NotCAN, "no CAN interface", false},
		"a wireless network": {up(&netlink.GenericLink{LinkType: "wlan"}), NotCAN, "bus.interfaces", false},
	} {
		l := describe("x0", c.link)
		if l.State != c.state {
			t.Errorf("%s: %s, want %s", name, l.State, c.state)
		}
		if got := l.Trouble(); (got == "") != (c.trouble == "") || !strings.Contains(got, c.trouble) {
			t.Errorf("%s: trouble %q, want %q", name, got, c.trouble)
		}
		if got := l.MaySend(); (got != "") != c.send {
			t.Errorf("%s: may send: %q", name, got)
		}
	}
}

func TestLookAtThisMachine(t *testing.T) {
	if l := Look("nocan0"); l.State != Missing || !strings.Contains(l.Trouble(), "plug") {
		t.Errorf("%+v: %s", l, l.Trouble())
	}
	if l := Look("lo"); l.State != NotCAN {
		t.Errorf("%+v", l)
	}
	if l := Look("udp:239.1.2.3:9"); l.State != Up || l.Trouble() != "" || l.MaySend() != "" {
		t.Errorf("%+v", l)
	}
}

// Classes and bits are those of include/uapi/linux/can/error.h.
func TestErrorFramesAreExplained(t *testing.T) {
	for _, c := range []struct {
		id   uint32
		data can.Data
		want string
	}{
		{0x40, can.Data{}, "off the bus"},
		{0x100, can.Data{}, "started again"},
		{0x04, can.Data{1: 0x01}, "lost in the adapter"},
		{0x04, can.Data{1: 0x10}, "error passive (receiving)"},
		{0x04, can.Data{1: 0x14}, "many receive errors"},
		{0x08, can.Data{2: 0x04}, "250 kbit/s"},
		{0x80, can.Data{}, "terminators"},
		{0x20, can.Data{}, "listen-only"},
		{0x88, can.Data{}, "; bus error"},
		{0x10000, can.Data{}, "unknown class"},
		{0, can.Data{}, "unknown class"},
	} {
		f := frame.Frame{IsError: true, Frame: can.Frame{ID: c.id, Length: 8, Data: c.data}}
		if got := Explain(&f); !strings.Contains(got, c.want) {
			t.Errorf("class %#x %v: %q, want %q", c.id, c.data, got, c.want)
		}
	}
}
