package live

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"ringup/drivers"
	"ringup/runner"
)

func TestStatusFollowsTheRun(t *testing.T) {
	b := newBench(t)
	s := b.serve(Options{})
	empty := decode[map[string]any](t, s, "/api/v1/status")
	if empty["run"] != nil || len(empty["cautions"].([]any)) == 0 {
		t.Errorf("before any run: %v", empty)
	}
	b.begin(10)
	b.cycle(2.4, false)
	b.cycle(2.4, true)
	b.watch.Observe(runner.Event{Kind: runner.Exchanged, Run: b.run, Exchange: drivers.Exchange{Role: "supply"}})
	b.watch.Observe(runner.Event{Kind: runner.Exchanged, Run: b.run, Exchange: drivers.Exchange{Role: "scope", Kind: "timeout", Elapsed: time.Second}})
	b.mark("C7 chilled", "treatment")
	b.ask("Is 27 pF fitted at C7?")

	text := ask(s, "GET", "/api/v1/status", "").Body.String()
	for _, want := range []string{
		`"state":"held"`, `"simulated":true`, `"treatment":"C7 chilled"`, `"active":true`,
		`"hold":{"reason":"asks: Is 27 pF fitted at C7?","question":"Is 27 pF fitted at C7?"`,
		`"done":2,"planned":10,"expected_end":"2026-01-15T22:04:10Z"`,
		`"supply":{"known":true,"output":false,"confirmed_off":true,"volts":2.4,"amps":0.0004}`,
		`"scope":{"answers":false,"errors":1,"last_error":"timeout"}`,
		`"supply":{"answers":true,"errors":0,"last_error":""}`,
		`"failures":1`, `"start_seconds":null`,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("status lacks %s:\n%s", want, text)
		}
	}
	b.watch.Observe(runner.Event{Kind: runner.Released, Run: b.run})
	b.end()
	after := decode[map[string]any](t, s, "/api/v1/status")
	if after["active"] != false || after["hold"] != nil || after["run"].(map[string]any)["state"] != "done" {
		t.Errorf("after the end: active %v, hold %v", after["active"], after["hold"])
	}
}

// TestStatusAfterRestart is the morning after a power cut: the page shows the night from the logbook.
func TestStatusAfterRestart(t *testing.T) {
	b := newBench(t)
	before := b.serve(Options{})
	b.begin(10)
	b.cycle(2.4, true)
	b.cycle(3.6, false)
	want := decode[struct{ Progress any }](t, before, "/api/v1/status").Progress.(map[string]any)
	got := decode[struct{ Progress any }](t, b.serve(Options{}), "/api/v1/status").Progress.(map[string]any)
	delete(want, "expected_end") // nobody expects it while nothing runs
	x, _ := json.Marshal(want)
	y, _ := json.Marshal(got)
	if string(x) != string(y) {
		t.Errorf("progress from the logbook is\n%s\nlive it was\n%s", y, x)
	}
}
