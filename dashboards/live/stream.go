package live

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"
)

const (
	mostClients = 64 // open streams; a page holds one
	queueLength = 64 // events waiting for one client
)

// client is one open event stream. Its queue is bounded: a client too slow for it loses the oldest events, and the
// status it gets next is whole anyway.
type client struct {
	queue  [][]byte // frames, oldest first
	missed int      // frames dropped since the last burst
	wake   chan struct{}
}

// send puts an event into every client's queue. The caller holds s.mu.
func (s *Server) send(event string, data any) {
	s.lastID++
	if len(s.clients) == 0 {
		return
	}
	f := frame(s.lastID, event, data)
	for c := range s.clients {
		if len(c.queue) == queueLength {
			c.queue = c.queue[1:]
			c.missed++
		}
		c.queue = append(c.queue, f)
	}
}

// wake tells every client that the status has changed. The caller holds s.mu.
func (s *Server) wake() {
	s.lastID++
	for c := range s.clients {
		select {
		case c.wake <- struct{}{}:
		default: // woken already
		}
	}
}

// frame words one server-sent event.
func frame(id uint64, event string, data any) []byte {
	text, err := json.Marshal(data)
	if err != nil {
		text, _ = json.Marshal(map[string]string{"error": err.Error()})
		event = "fault"
	}
	return fmt.Appendf(nil, "id: %d\nevent: %s\ndata: %s\n\n", id, event, text)
}

// burst is what a client is to be sent now: the waiting events, then the status as it is. Only the copying happens under
// the lock, which the measuring goroutine wants too.
func (s *Server) burst(c *client) []byte {
	s.mu.Lock()
	id, status, queue, missed := s.lastID, s.status, c.queue, c.missed
	c.queue, c.missed = nil, 0
	s.mu.Unlock()
	var b bytes.Buffer
	if missed > 0 {
		b.Write(frame(id, "missed", map[string]int{"events": missed}))
	}
	for _, f := range queue {
		b.Write(f)
	}
	b.Write(frame(id, "status", status))
	return b.Bytes()
}

func (s *Server) join() (*client, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.clients) >= mostClients {
		return nil, fmt.Errorf("%d pages are watching already, which is the most; close one", mostClients)
	}
	c := &client{wake: make(chan struct{}, 1)}
	s.clients[c] = true
	return c, nil
}

func (s *Server) leave(c *client) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.clients, c)
}

// getEvents is the event stream: "status" (whole), "cycle", "mark", and "missed" if events were dropped. Whatever
// Last-Event-ID a returning client names, it begins with the whole status, which is all that client needs.
func (s *Server) getEvents(w http.ResponseWriter, r *http.Request) {
	c, err := s.join()
	if err != nil {
		writeError(w, http.StatusServiceUnavailable, err)
		return
	}
	defer s.leave(c)
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no") // a proxy must not save events up
	out := http.NewResponseController(w)

	heartbeat := time.NewTicker(streamHeartbeat)
	defer heartbeat.Stop()
	next := s.burst(c)
	for {
		if err := write(w, out, next); err != nil {
			return
		}
		select { // bursts keep a distance, so that a fast run does not drown a phone
		case <-time.After(streamPause):
		case <-r.Context().Done():
			return
		case <-s.done:
			return
		}
		select {
		case <-c.wake:
			next = s.burst(c)
		case <-heartbeat.C:
			next = []byte(": still here\n\n")
		case <-r.Context().Done():
			return
		case <-s.done:
			return
		}
	}
}

// write gives each write its own deadline: the server's write time-out would end the stream, and none at all would let a
// client that stopped reading hold it for ever.
func write(w http.ResponseWriter, out *http.ResponseController, text []byte) error {
	if err := out.SetWriteDeadline(time.Now().Add(writeLimit)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	if _, err := w.Write(text); err != nil {
		return err
	}
	return out.Flush()
}
