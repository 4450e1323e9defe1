package assemble

import (
	"bytes"

	"trialday.example/logd/pgn"
)

type state uint8

const (
	unused     state = iota
	collecting       // data holds the frames before number next
	done             // data was delivered; kept to recognise repeated frames
	skipping         // the rest of a message counted as lost
)

// slot is one message in the making, or the memory of one just ended.
type slot struct {
	key   uint64
	state state
	next  int // number of the frame to come; where skipping, one above the last met
	// rewind is 0, or the number up to which the frames of this message have
	// been repeated, counting from the first: either repeats, or a new message
	// that begins like this one.
	rewind       int
	head         int // bytes that came before frame number 1
	total        int
	last         int64 // when touched, by the assembler's clock
	first        int64 // capture time
	header       pgn.Header
	def          *pgn.Message
	data         []byte
	chain        int16 // next slot with the same hash
	newer, older int16
}

// begin takes a first frame. It reports false if it only repeats the one that
// the slot has.
func (s *slot) begin(total, head int, body []byte, now int64, loss *Loss) bool {
	if s.state == collecting {
		if total == s.total && head > 0 && bytes.Equal(s.data[:min(head, total)], body[:min(head, total)]) {
			loss.Duplicates++
			s.rewind, s.last = 1, now
			return false
		}
		loss.Incomplete++
	}
	s.state, s.next, s.rewind = collecting, 1, 0
	s.head, s.total, s.last = head, total, now
	copy(s.data[:min(head, total)], body)
	return true
}

// add takes the frame of a number from 1. It reports whether that makes the
// message whole.
func (s *slot) add(number int, body []byte, now int64, loss *Loss) bool {
	s.last = now
	if s.state == done && s.repeats(number, body) {
		loss.Duplicates++
		return false
	}
	if s.state != collecting {
		s.skip(number, loss)
		return false
	}
	at := s.head + 7*(number-1)
	n := min(7, s.total-at)
	switch {
	case n <= 0:
		loss.Incomplete++
		s.lose(number)
	case len(body) < n:
		loss.Malformed++
		s.lose(number)
	case s.repeats(number, body):
		loss.Duplicates++
		if number == s.rewind {
			s.rewind++
		}
	case number == s.next, number == s.rewind:
		if number != s.next {
			loss.Incomplete++
		}
		copy(s.data[at:at+n], body)
		s.next, s.rewind = number+1, 0
		if s.whole() {
			s.state = done
			return true
		}
	default:
		loss.Incomplete++
		s.lose(number)
	}
	return false
}

// repeats reports whether the frame is one that the slot has already.
func (s *slot) repeats(number int, body []byte) bool {
	at := s.head + 7*(number-1)
	n := min(7, s.total-at)
	return number < s.next && n > 0 && len(body) >= n && bytes.Equal(s.data[at:at+n], body[:n])
}

func (s *slot) whole() bool { return s.head+7*(s.next-1) >= s.total }

// lose gives the message up; its further frames are orphans.
func (s *slot) lose(number int) { s.state, s.next = skipping, number+1 }

// skip counts a frame without a message. Numbers rise within one, so one that
// does not rise belongs to another.
func (s *slot) skip(number int, loss *Loss) {
	loss.Orphans++
	if s.state != skipping || number < s.next {
		loss.NoStart++
	}
	s.lose(number)
}

// abandon forgets the slot's message because of what follows it.
func (s *slot) abandon(loss *Loss) {
	if s.state == collecting {
		loss.Incomplete++
	}
	s.state = unused
}

// expire forgets a message whose next frame did not come in time.
func (s *slot) expire(now int64, loss *Loss) {
	if now-s.last <= int64(Timeout) {
		return
	}
	switch s.state {
	case collecting:
		loss.Stale++
		s.lose(s.next - 1)
	case skipping, done:
		s.state = unused
	}
}

const none = -1

// table holds slots by key, found by hash and ordered by when they were last
// taken. All slots are always in the order; those with a key are also in a
// hash chain.
type table struct {
	slots          []slot
	heads          []int16
	newest, oldest int16
}

func newTable(n, size int) *table {
	t := &table{slots: make([]slot, n), heads: make([]int16, 512), newest: int16(n - 1)}
	for i := range t.heads {
		t.heads[i] = none
	}
	data := make([]byte, n*size)
	for i := range t.slots {
		t.slots[i] = slot{data: data[i*size : (i+1)*size : (i+1)*size], chain: none, older: int16(i - 1), newer: int16(i + 1)}
	}
	t.slots[n-1].newer = none
	return t
}

// take is the slot of a key, made newest. For a key not met lately it is a
// slot without a message, taken from the key longest untouched.
func (t *table) take(key uint64, now int64, loss *Loss) *slot {
	h := t.hash(key)
	for i := t.heads[h]; i != none; i = t.slots[i].chain {
		if s := &t.slots[i]; s.key == key {
			s.expire(now, loss)
			t.renew(i)
			return s
		}
	}
	i := t.oldest
	s := &t.slots[i]
	if s.state != unused {
		s.expire(now, loss)
		if s.state == collecting {
			loss.Evicted++
		}
	}
	t.unlink(i)
	s.key, s.state, s.last = key, unused, now
	s.chain, t.heads[h] = t.heads[h], i
	t.renew(i)
	return s
}

func (t *table) hash(key uint64) uint64 { return key * 0x9E3779B97F4A7C15 >> 55 }

// unlink takes slot i out of its hash chain, if it is in one.
func (t *table) unlink(i int16) {
	p := &t.heads[t.hash(t.slots[i].key)]
	for *p != none && *p != i {
		p = &t.slots[*p].chain
	}
	if *p == i {
		*p = t.slots[i].chain
	}
}

// renew makes slot i the newest.
func (t *table) renew(i int16) {
	if t.newest == i {
		return
	}
	s := &t.slots[i]
	if s.older == none {
		t.oldest = s.newer
	} else {
		t.slots[s.older].newer = s.newer
	}
	t.slots[s.newer].older = s.older
	s.older, s.newer = t.newest, none
	t.slots[t.newest].newer = i
	t.newest = i
}
