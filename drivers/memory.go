package drivers

import (
	"sync"

	"ringup/drivers/scpi"
)

// Message is one line or block that was sent or received, with its time.
type Message = scpi.Message

// remembered is how many messages of an instrument are kept.
const remembered = 200

// memory keeps an instrument's last messages, those before a reconnection too:
// they are wanted most when a link was lost. It has a lock of its own, so that
// it can be read while the instrument is waited for.
type memory struct {
	mu      sync.Mutex
	earlier []Message     // oldest first
	session *scpi.Session // the present conversation, or the last one; may be nil
}

// follow goes on with a new conversation.
func (m *memory) follow(s *scpi.Session) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.earlier = m.all()
	m.session = s
}

// add notes what no session keeps.
func (m *memory) add(message Message) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.earlier = last(append(m.earlier, message))
}

// messages returns the last 200, oldest first.
func (m *memory) messages() []Message {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.all()
}

func (m *memory) all() []Message {
	kept := append([]Message(nil), m.earlier...)
	if m.session != nil {
		kept = append(kept, m.session.History()...)
	}
	return last(kept)
}

func last(m []Message) []Message { return m[max(0, len(m)-remembered):] }
