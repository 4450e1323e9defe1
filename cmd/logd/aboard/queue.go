package aboard

import (
	"sync"

	"trialday.example/logd/decode/frame"
)

// queueLen is the number of frames that wait for the journal at most: 2 MiB,
// 16 s of two full buses. It bridges a disk that stands still.
const queueLen = 1 << 16

// queue holds frames between the buses and the journal. Put waits while it is
// full; what then comes waits in the kernel, which counts what it must drop.
type queue struct {
	mu     sync.Mutex
	room   sync.Cond
	frames []frame.Frame // ring
	first  int
	n      int
	closed bool
	filled chan struct{} // has an element when a good part is filled
}

func newQueue(size int) *queue {
	q := &queue{frames: make([]frame.Frame, size), filled: make(chan struct{}, 1)}
	q.room.L = &q.mu
	return q
}

// put adds a frame. After close it is given up, which put reports by false.
func (q *queue) put(f *frame.Frame) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	for q.n == len(q.frames) && !q.closed {
		q.room.Wait()
	}
	if q.closed {
		return false
	}
	q.frames[(q.first+q.n)%len(q.frames)] = *f
	q.n++
	if q.n >= len(q.frames)/4 {
		select {
		case q.filled <- struct{}{}:
		default:
		}
	}
	return true
}

// take moves up to limit frames to dst.
func (q *queue) take(dst []frame.Frame, limit int) []frame.Frame {
	q.mu.Lock()
	defer q.mu.Unlock()
	for range min(limit, q.n) {
		dst = append(dst, q.frames[q.first])
		q.first = (q.first + 1) % len(q.frames)
		q.n--
	}
	if q.n == 0 {
		q.first = 0 // only as much of the ring is ever touched as was needed at once
	}
	q.room.Broadcast()
	return dst
}

// len is the number of frames that wait.
func (q *queue) len() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.n
}

// close ends waiting for room; what is in the queue can still be taken.
func (q *queue) close() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.closed = true
	q.room.Broadcast()
}
