package decode

import "time"

const (
	// maxHold bounds the wait for GNSS time, by trial time, number and size.
	// A full bus of 250 kbit/s makes 20,000 messages in 10 s.
	maxHold      = int64(10 * time.Second)
	maxHeld      = 32 << 10
	maxHeldBytes = 1 << 20
)

// hold keeps the messages after a jump of the recorder's clock until it is
// known what the jump was.
type hold struct {
	open     bool
	jump     int64 // trial time of the last frame before it
	messages []heldMessage
	data     []byte
}

type heldMessage struct {
	message
	from, to int // its payload in hold.data
}

// begin opens the hold, if it is not open.
func (h *hold) begin(jump int64) {
	if !h.open {
		h.open, h.jump = true, jump
	}
}

func (h *hold) full(now int64) bool {
	return now-h.jump >= maxHold || len(h.messages) >= maxHeld || len(h.data) >= maxHeldBytes
}

func (h *hold) add(m *message) {
	from := len(h.data)
	h.data = append(h.data, m.data...)
	h.messages = append(h.messages, heldMessage{*m, from, len(h.data)})
}

// release empties the hold; the buffers are kept for the next jump.
func (h *hold) release(pause int64, decode func(message)) {
	h.open = false
	for i := range h.messages {
		m := &h.messages[i]
		m.at += pause
		m.data = h.data[m.from:m.to]
		decode(m.message)
	}
	h.messages, h.data = h.messages[:0], h.data[:0]
}
