package scpi

import "time"

// historyLength is how many messages History keeps.
const historyLength = 200

// Message is one line or block that was sent or received, shortened.
type Message struct {
	At   time.Time
	Sent bool
	Text string
}

// history is a ring of the last messages, for the report of a failure.
type history struct {
	ring [historyLength]Message
	n    int // messages ever recorded
}

func (h *history) add(sent bool, text string) {
	h.ring[h.n%historyLength] = Message{At: time.Now(), Sent: sent, Text: shorten(text)}
	h.n++
}

// messages returns them oldest first.
func (h *history) messages() []Message {
	kept := min(h.n, historyLength)
	out := make([]Message, 0, kept)
	for i := h.n - kept; i < h.n; i++ {
		out = append(out, h.ring[i%historyLength])
	}
	return out
}
