package live

import (
	"bufio"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ringup/runner"
	"ringup/runner/logbook"
)

// event is one server-sent event as a browser would see it.
type event struct{ id, name, data string }

func nextEvent(t *testing.T, r *bufio.Reader) event {
	t.Helper()
	var e event
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			t.Fatalf("the stream ended: %v", err)
		}
		line = strings.TrimSuffix(line, "\n")
		name, value, _ := strings.Cut(line, ": ")
		switch {
		case line == "" && e.name != "":
			return e
		case name == "id":
			e.id = value
		case name == "event":
			e.name = value
		case name == "data":
			e.data = value
		}
	}
}

func TestStreamOverHTTP(t *testing.T) {
	b := newBench(t)
	s := b.serve(Options{})
	server := httptest.NewUnstartedServer(s)
	server.Config.WriteTimeout = 50 * time.Millisecond // which would end a stream without deadlines of its own
	server.Start()
	t.Cleanup(server.Close)
	request, err := http.NewRequestWithContext(t.Context(), "GET", server.URL+"/api/v1/events", nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Last-Event-ID", "12345") // of a server before a restart
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if kind := response.Header.Get("Content-Type"); kind != "text/event-stream" {
		t.Fatalf("Content-Type %q", kind)
	}
	r := bufio.NewReader(response.Body)
	if e := nextEvent(t, r); e.name != "status" || !strings.Contains(e.data, `"run":null`) {
		t.Fatalf("first event %+v, want the whole status", e)
	}
	b.begin(3)
	b.cycle(2.4, true)
	last := ""
	for seen := map[string]bool{}; !seen["cycle"] || !strings.Contains(last, `"done":1`); {
		e := nextEvent(t, r)
		seen[e.name] = true
		last = e.data
		if e.name == "cycle" && !strings.Contains(e.data, `"verdict":"silent"`) {
			t.Errorf("cycle event is %s", e.data)
		}
	}
	s.Close()
	if _, err := io.ReadAll(r); err != nil {
		t.Errorf("after Close the stream ends with %v, want a clean end", err)
	}
}

func TestSlowClientLosesOldEvents(t *testing.T) {
	s := newBench(t).serve(Options{})
	c, err := s.join()
	if err != nil {
		t.Fatal(err)
	}
	const sent = 3 * queueLength
	for i := range sent {
		s.Observe(runner.Event{Kind: runner.CycleDone, Cycle: logbook.Cycle{Number: i + 1}})
	}
	r := bufio.NewReader(strings.NewReader(string(s.burst(c))))
	if e := nextEvent(t, r); e.name != "missed" || e.data != `{"events":128}` {
		t.Errorf("first event %+v, want 128 missed", e)
	}
	for i := sent - queueLength; i < sent; i++ {
		e := nextEvent(t, r)
		if want := `"number":` + strconv.Itoa(i+1) + `,`; e.name != "cycle" || !strings.Contains(e.data, want) {
			t.Fatalf("event %+v, want the cycle with %s", e, want)
		}
	}
	if e := nextEvent(t, r); e.name != "status" {
		t.Errorf("last event is %q, want the status", e.name)
	}
}

func TestNotTooManyStreams(t *testing.T) {
	s := newBench(t).serve(Options{})
	var last *client
	for range mostClients {
		c, err := s.join()
		if err != nil {
			t.Fatal(err)
		}
		last = c
	}
	if w := ask(s, "GET", "/api/v1/events", ""); w.Code != http.StatusServiceUnavailable {
		t.Errorf("one more stream: status %d, want 503", w.Code)
	}
	s.leave(last)
	if _, err := s.join(); err != nil {
		t.Errorf("after one left: %v", err)
	}
}

// recorder is a connection that notes what was written and under which deadline; after limit writes it is broken.
type recorder struct {
	http.ResponseWriter
	limit     int
	writes    []string
	deadlines []time.Duration // after the moment they were set
}

func (r *recorder) Write(p []byte) (int, error) {
	if len(r.writes) == r.limit {
		return 0, errors.New("broken")
	}
	r.writes = append(r.writes, string(p))
	return len(p), nil
}

func (r *recorder) Flush() {}

func (r *recorder) SetWriteDeadline(at time.Time) error {
	r.deadlines = append(r.deadlines, time.Until(at))
	return nil
}

func TestHeartbeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		// Without a logbook, whose goroutines would keep the test's clock from moving.
		s := &Server{clients: map[*client]bool{}, done: make(chan struct{})}
		begun := time.Now()
		w := &recorder{ResponseWriter: httptest.NewRecorder(), limit: 3}
		s.getEvents(w, httptest.NewRequest("GET", "/api/v1/events", nil))
		if got, want := time.Since(begun), 3*streamHeartbeat; got != want {
			t.Errorf("the third heartbeat came after %v of the test's clock, want %v", got, want)
		}
		if !strings.Contains(w.writes[0], "event: status") || w.writes[1] != ": still here\n\n" || w.writes[2] != w.writes[1] {
			t.Errorf("written: %q", w.writes)
		}
		if len(w.deadlines) != 4 {
			t.Errorf("%d deadlines for 4 writes", len(w.deadlines))
		}
		for _, d := range w.deadlines {
			if d != writeLimit {
				t.Errorf("a write had %v, want %v", d, writeLimit)
			}
		}
		if len(s.clients) != 0 {
			t.Error("the broken client is still listed")
		}
	})
}
