package socketcan

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/socketcan"
	"golang.org/x/sys/unix"

	"trialday.example/logd/decode/frame"
)

// socket is a datagram socket that stands for a CAN one: the calls on it, the
// time stamps and the drop counter are the kernel's own.
func socket(t *testing.T) (fd int, to *net.UDPConn) {
	t.Helper()
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := prepare(fd); err != nil {
		t.Fatal(err)
	}
	if err := unix.Bind(fd, &unix.SockaddrInet4{Addr: [4]byte{127, 0, 0, 1}}); err != nil {
		t.Fatal(err)
	}
	name, err := unix.Getsockname(fd)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { unix.Close(fd) })
	to, err = net.DialUDP("udp4", nil, &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1), Port: name.(*unix.SockaddrInet4).Port})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { to.Close() })
	return fd, to
}

func TestABatchHasDataAndKernelTime(t *testing.T) {
	fd, to := socket(t)
	const n = batchLen + 3
	before := time.Now()
	for i := range n {
		if _, err := to.Write(raw(0x80000000|uint32(i), 8, byte(i))); err != nil {
			t.Fatal(err)
		}
	}
	b, got := newBatch(), 0
	for got < n {
		if err := b.receive(fd); err != nil {
			t.Fatal(err)
		}
		for data, _, control, ok := b.message(); ok; data, _, control, ok = b.message() {
			var f frame.Frame
			if err := parseFrame(&f, data); err != nil || f.ID != uint32(got) || f.Data[0] != byte(got) {
				t.Fatalf("message %d: %+v, %v", got, f, err)
			}
			// The kernel's own clock is read more coarsely by some.
			at := time.Unix(0, parseControl(control).time)
			if at.Before(before.Add(-50*time.Millisecond)) || at.After(time.Now()) {
				t.Fatalf("message %d is stamped %v, sent at %v", got, at, before)
			}
			got++
		}
	}
}

func TestTheKernelTellsWhatItDropped(t *testing.T) {
	fd, to := socket(t)
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, 4096); err != nil {
		t.Fatal(err)
	}
	const sent = 500
	for range sent {
		if _, err := to.Write(raw(1, 0)); err != nil {
			t.Fatal(err)
		}
	}
	b, got, dropped := newBatch(), 0, uint32(0)
	for got+int(dropped) < sent {
		if err := b.receive(fd); err != nil {
			t.Fatal(err)
		}
		for _, _, control, ok := b.message(); ok; _, _, control, ok = b.message() {
			got++
			if k := parseControl(control); k.hasDrops {
				dropped = k.dropped
			}
		}
		// The count comes with the next message that is received.
		if got+int(dropped) < sent {
			if _, err := to.Write(raw(1, 0)); err != nil {
				t.Fatal(err)
			}
			got--
		}
	}
	if dropped == 0 {
		t.Error("nothing was dropped: the test is void")
	}
}

// address lays out a struct sockaddr_can.
func address(index int) []byte {
	b := make([]byte, unix.SizeofSockaddrCAN)
	binary.NativeEndian.PutUint16(b, unix.AF_CAN)
	binary.NativeEndian.PutUint32(b[4:], uint32(index))
	return b
}

func drops(n uint32) []byte {
	return cmsg(unix.SOL_SOCKET, unix.SO_RXQ_OVFL, binary.NativeEndian.AppendUint32(nil, n))
}

func TestMessagesBecomeFramesOfTheirInterface(t *testing.T) {
	lo, err := net.InterfaceByName("lo")
	if err != nil {
		t.Skip("no loopback interface")
	}
	c := Listen([]string{"can9", "lo"})
	defer c.Close()
	var f frame.Frame
	stamp := cmsg(unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, longs(5, 7_999))
	if !c.take(&f, raw(0x123, 1, 9), address(lo.Index), stamp) || f.Bus != 1 || f.Time != 5_000_007_000 || f.ID != 0x123 {
		t.Errorf("%+v", f)
	}
	if !c.take(&f, raw(0x20000004, 8, 0, 1), address(lo.Index), nil) || !f.IsError || f.Time == 0 {
		t.Errorf("error frame without a time stamp: %+v", f)
	}
	if c.take(&f, raw(0x123, 1), address(1<<20), nil) {
		t.Error("a frame of an unknown interface was taken")
	}
	if c.take(&f, raw(0x123, 9), address(lo.Index), nil) || c.take(&f, raw(0x123, 1), nil, nil) {
		t.Error("a malformed message was taken")
	}
	if n := c.Counts(); n.Frames != 2 || n.Errors != 1 || n.Foreign != 1 || n.Malformed != 2 {
		t.Errorf("%+v", n)
	}
}

func TestFramesOfAnInterfaceThatHasGoneAreStillItsOwn(t *testing.T) {
	c := Listen([]string{"can0", "can1"})
	defer c.Close()
	const gone = 1 << 20
	c.known[gone] = known{bus: 1, when: time.Now().Add(-time.Hour)}
	var f frame.Frame
	if !c.take(&f, raw(1, 0), address(gone), nil) || f.Bus != 1 {
		t.Errorf("%+v", f)
	}
}

func TestDropsAreCountedOverTheCountersEnd(t *testing.T) {
	c := Listen([]string{"can0"})
	defer c.Close()
	var f frame.Frame
	for _, n := range []uint32{3, 3, 1<<32 - 1, 4} { // it wraps around before the last
		c.take(&f, nil, nil, drops(n))
	}
	if n := c.Counts().Dropped; n != 1<<32+4 {
		t.Errorf("%d", n)
	}
}

// Where the kernel has no CAN, or there is nothing on it, listening waits and
// ends when it is told to.
func TestListeningWaitsAndEnds(t *testing.T) {
	c := Listen([]string{"nocan0"})
	end := make(chan error)
	go func() { end <- c.Next(new(frame.Frame)) }()
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW, unix.CAN_RAW)
	if err == nil {
		unix.Close(fd)
	} else {
		for c.Counts().Trouble == "" {
			time.Sleep(time.Millisecond)
		}
		if why := c.Counts().Trouble; !strings.Contains(why, "modprobe") {
			t.Errorf("trouble: %s", why)
		}
	}
	c.Close()
	if err := <-end; err != io.EOF {
		t.Errorf("%v, want the end", err)
	}
	if err := c.Next(new(frame.Frame)); err != io.EOF {
		t.Errorf("after the end: %v", err)
	}
	c.Close()
}

const group = "239.64.142.206:9731"

func TestUDPIsHeard(t *testing.T) {
	u := ListenUDP(UDPPrefix + group)
	defer u.Close()
	if got := u.Buses(); len(got) != 1 || got[0] != UDPPrefix+group {
		t.Errorf("buses %v", got)
	}
	if err := u.connect(false); err != nil {
		t.Skipf("no multicast here: %v", err)
	}
	conn, err := socketcan.Dial("udp", group)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	send := socketcan.NewTransmitter(conn)
	want := []can.Frame{
		{ID: 0x09F20110, IsExtended: true, Length: 8, Data: can.Data{1, 2, 3, 4, 5, 6, 7, 8}},
		{ID: 0x123, Length: 0},
		{ID: 0x123, Length: 3, IsRemote: true},
	}
	if _, err := conn.Write([]byte("no frame")); err != nil {
		t.Fatal(err)
	}
	for _, f := range want {
		if err := send.TransmitFrame(context.Background(), f); err != nil {
			t.Fatal(err)
		}
	}
	for i, w := range want {
		var f frame.Frame
		if err := u.Next(&f); err != nil || f.Frame != w || f.IsError || f.Bus != 0 {
			t.Fatalf("frame %d: %+v, %v; want %+v", i, f, err, w)
		}
		if age := time.Since(time.Unix(0, f.Time)); age < 0 || age > time.Minute {
			t.Errorf("frame %d is stamped %v ago", i, age)
		}
	}
	if n := u.Counts(); n.Frames != 3 || n.Malformed != 1 || n.Trouble != "" {
		t.Errorf("%+v", n)
	}
}

// A bus that never rests does not keep listening from ending, and what came
// before it was told to is handed on.
func TestListeningEndsOnABusyBus(t *testing.T) {
	fd, to := socket(t)
	l := newListener(func() (int, error) { return unix.Dup(fd) }, func(err error) string { return err.Error() })
	const before = 3*batchLen + 5
	for i := range before {
		if _, err := to.Write(raw(uint32(i), 0)); err != nil {
			t.Fatal(err)
		}
	}
	if _, _, _, err := l.message(); err != nil {
		t.Fatal(err)
	}
	l.Close()
	ended := make(chan struct{})
	go func() {
		for more := true; more; {
			select {
			case <-ended:
				more = false
			default:
				to.Write(raw(1, 0)) // in vain while the buffer is full
				time.Sleep(100 * time.Microsecond)
			}
		}
		close(ended)
	}()
	got := 1
	for {
		if _, _, _, err := l.message(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		got++
	}
	ended <- struct{}{}
	<-ended
	if got < before {
		t.Errorf("%d messages, %d came before Close", got, before)
	}
}

func TestUDPWaitsAndEnds(t *testing.T) {
	u := ListenUDP(UDPPrefix + "239.64.142.206:99999")
	end := make(chan error)
	go func() { end <- u.Next(new(frame.Frame)) }()
	for u.Counts().Trouble == "" {
		time.Sleep(time.Millisecond)
	}
	u.Close()
	if err := <-end; !errors.Is(err, io.EOF) {
		t.Errorf("%v", err)
	}
}
