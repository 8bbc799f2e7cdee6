package live

import (
	"strings"
	"testing"
	"time"

	"ringup/drivers"
	"ringup/runner"
)

// TestDebugPage needs no token, as reading never does, and shows the newest message first.
func TestDebugPage(t *testing.T) {
	at := time.Date(2026, 1, 15, 3, 12, 44, 70e6, time.Local)
	c := &commands{said: map[string][]drivers.Message{
		"scope":  {{At: at, Sent: true, Text: "TRACe:PREamble? CH1"}, {At: at.Add(time.Second), Text: `(failed: no answer in time; unread: "<b>")`}},
		"supply": nil,
	}}
	b := newBench(t)
	s := b.serve(Options{Controller: c, Token: token})
	b.watch.Observe(runner.Event{Kind: runner.Held, At: at, Run: b.run, Reason: "lost link: the scope is silent"})
	w := ask(s, "GET", "/debug", "")
	page := w.Body.String()
	if w.Code != 200 || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
		t.Fatalf("status %d, %s", w.Code, w.Header().Get("Content-Type"))
	}
	for _, part := range []string{"03:12:44.070", "TRACe:PREamble? CH1", "lost link: the scope is silent", "Nothing was said yet.", "&lt;b&gt;"} {
		if !strings.Contains(page, part) {
			t.Errorf("the page does not say %q", part)
		}
	}
	if strings.Contains(page, "<b>") {
		t.Error("an instrument's words are taken for markup")
	}
	if newest, oldest := strings.Index(page, "03:12:45.070"), strings.Index(page, "03:12:44.070"); newest < 0 || newest > oldest {
		t.Errorf("the newest message is at %d, the one before it at %d", newest, oldest)
	}
	if shows := ask(newBench(t).serve(Options{}), "GET", "/debug", "").Body.String(); !strings.Contains(shows, "no instrument") {
		t.Errorf("without a controller the page says\n%s", shows)
	}
}

// TestHoldSaysWhoEndsIt since the page offers to go on only where a person may.
func TestHoldSaysWhoEndsIt(t *testing.T) {
	b := newBench(t)
	s := b.serve(Options{})
	b.watch.Observe(runner.Event{Kind: runner.Held, At: b.at(), Run: b.run, Reason: "over-current: 0.4 A", ForPerson: true})
	if h := s.currentStatus().Hold; h == nil || !h.ForPerson || h.Question != "" || h.Reason != "over-current: 0.4 A" {
		t.Errorf("held for a person: %+v", h)
	}
	b.watch.Observe(runner.Event{Kind: runner.Held, At: b.at(), Run: b.run, Reason: "lost link: scope"})
	if h := s.currentStatus().Hold; h == nil || h.ForPerson {
		t.Errorf("held for an instrument: %+v", h)
	}
}
