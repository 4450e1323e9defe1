package socketcan

import (
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// batchLen is the number of frames taken from the kernel at once.
const batchLen = 128

// batch is room for the frames of one recvmmsg call.
type batch struct {
	headers [batchLen]unix.Mmsghdr
	vectors [batchLen]unix.Iovec
	slots   [batchLen]slot
	n, next int // received, taken
}

// slot is the room for one message.
type slot struct {
	data    [frameLen]byte
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

// receive waits for messages and takes as many as there are.
func (b *batch) receive(conn syscall.RawConn) error {
	b.n, b.next = 0, 0
	for i := range b.headers {
		s, h := &b.slots[i], &b.headers[i].Hdr
		h.Name, h.Namelen = &s.address[0], uint32(len(s.address))
		h.Control = &s.control[0]
		h.SetControllen(len(s.control))
	}
	var errno syscall.Errno
	err := conn.Read(func(fd uintptr) bool {
		var n uintptr
		for {
			n, _, errno = unix.Syscall6(unix.SYS_RECVMMSG, fd, uintptr(unsafe.Pointer(&b.headers[0])),
				batchLen, unix.MSG_DONTWAIT, 0, 0)
			if errno != unix.EINTR {
				break
			}
		}
		if errno == unix.EAGAIN {
			return false
		}
		if errno == 0 {
			b.n = int(n)
		}
		return true
	})
	if err == nil && errno != 0 {
		err = errno
	}
	return err
}

// message returns the next message received, or ok false after the last.
func (b *batch) message() (data, address, control []byte, ok bool) {
	if b.next == b.n {
		return nil, nil, nil, false
	}
	m, s := &b.headers[b.next], &b.slots[b.next]
	b.next++
	return s.data[:min(int(m.Len), frameLen)], s.address[:min(int(m.Hdr.Namelen), len(s.address))],
		s.control[:min(int(m.Hdr.Controllen), len(s.control))], true
}
