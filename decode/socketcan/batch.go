package socketcan

import (
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// batchLen is the number of frames taken from the kernel at once.
const batchLen = 128

// Rest is how long the kernel collects frames before they are taken, unless a
// whole batch was there at the last look. Their times are the kernel's, so they
// lose nothing by it, and the processor need not wake for every frame. A buffer of
// the kernel's usual limit (net.core.rmem_max, 208 KiB, which it doubles) has room
// for some 550 frames; eight full buses give 430 in that time.
const Rest = 30 * time.Millisecond

// patience is how long the kernel waits for a frame before it is looked whether
// listening is to end.
const patience = 100 * time.Millisecond

// batch is room for the frames of one recvmmsg call.
type batch struct {
	headers [batchLen]unix.Mmsghdr
	vectors [batchLen]unix.Iovec
	slots   [batchLen]slot
	n, next int // received, taken
}

// slot is the room for one message.
type slot struct {
	data    [2 * frameLen]byte // larger than a frame, to notice what is too long
	address [unix.SizeofSockaddrCAN]byte
	control [64]byte // two control messages need 24 + 32 bytes
}

func newBatch() *batch {
	b := new(batch)
	for i := range b.headers {
		s, v := &b.slots[i], &b.vectors[i]
		v.Base = &s.data[0]
		v.SetLen(len(s.data))
		h := &b.headers[i].Hdr
		h.Iov = v
		h.SetIovlen(1)
	}
	return b
}

// receive takes as many messages as there are, and waits for the first one as
// long as the socket's own time allows. Without one it returns EAGAIN.
func (b *batch) receive(fd int) error {
	b.n, b.next = 0, 0
	for i := range b.headers {
		s, h := &b.slots[i], &b.headers[i].Hdr
		h.Name, h.Namelen = &s.address[0], uint32(len(s.address))
		h.Control = &s.control[0]
		h.SetControllen(len(s.control))
	}
	for {
		n, _, errno := unix.Syscall6(unix.SYS_RECVMMSG, uintptr(fd), uintptr(unsafe.Pointer(&b.headers[0])),
			batchLen, unix.MSG_WAITFORONE, 0, 0)
		switch errno {
		case 0:
			b.n = int(n)
			return nil
		case unix.EINTR:
		default:
			return errno
		}
	}
}

// message returns the next message received, or ok false after the last.
func (b *batch) message() (data, address, control []byte, ok bool) {
	if b.next == b.n {
		return nil, nil, nil, false
	}
	m, s := &b.headers[b.next], &b.slots[b.next]
	b.next++
	return s.data[:min(int(m.Len), len(s.data))], s.address[:min(int(m.Hdr.Namelen), len(s.address))],
		s.control[:min(int(m.Hdr.Controllen), len(s.control))], true
}
