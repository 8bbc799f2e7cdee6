package scripts

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
)

// answering is a host that has one answer for one call.
func answering(call, result string) *fakeHost {
	return &fakeHost{answer: func(_ context.Context, asked string, args json.RawMessage) (json.RawMessage, error) {
		if asked == call {
			return json.RawMessage(result), nil
		}
		return plainAnswer(asked, args)
	}}
}

// A call with a second value gives both to the script; the first alone compares as text.
func TestCallWithTwoValues(t *testing.T) {
	h := answering("decide", `["reject",{"decision":"reject","failures":3,"cycles":120,"sentence":"too often"}]`)
	err := run(t, h, `
local decision, why = decide { below = "0.1 %", above = 0.01 }
assert(decide { below = "0.1 %", above = "1 %" } == "reject")
log(decision .. ": " .. why.sentence .. ", " .. why.failures .. " of " .. why.cycles)
log(tostring(why.alpha))
`)
	if err != nil {
		t.Fatal(err)
	}
	// Percent and share are recorded alike.
	decide := recorded{"decide", `{"above":0.01,"alpha":0.05,"below":0.001,"beta":0.05}`, 2}
	want := []recorded{decide, decide, {"log", `{"text":"reject: too often, 3 of 120"}`, 4}, {"log", `{"text":"nil"}`, 5}}
	want[1].line = 3
	if len(h.calls) != len(want) {
		t.Fatalf("called %v", h.calls)
	}
	for i := range want {
		if h.calls[i] != want[i] {
			t.Errorf("call %d is %v, want %v", i+1, h.calls[i], want[i])
		}
	}
}

// A host that gives one value where two belong is an error, not a nil.
func TestCallWithOneOfTwoValues(t *testing.T) {
	if err := run(t, answering("hunt", `[{"treatment":"C7 chilled"}]`), "hunt {}"); err == nil || !strings.Contains(err.Error(), "wanted a list of two") {
		t.Errorf("got %v", err)
	}
}
