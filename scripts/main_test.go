package scripts

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

// TestMain lets the test binary be its own script process, as the program is.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && os.Args[1] == ChildCommand {
		os.Exit(ChildMain(os.Stdin, os.Stdout))
	}
	if len(os.Args) > 2 && os.Args[1] == "hostile" {
		hostile(os.Args[2])
	}
	os.Exit(m.Run())
}

// recorded is one call as the host saw it.
type recorded struct {
	call, arguments string
	line            int
}

func (r recorded) String() string { return fmt.Sprintf("%d %s %s", r.line, r.call, r.arguments) }

// fakeHost records calls and answers them from a function, or with plain results.
type fakeHost struct {
	calls  []recorded
	answer func(ctx context.Context, call string, args json.RawMessage) (json.RawMessage, error)
}

var errTooHigh = errors.New("5.5 V is above max_volts 3.9 V of bench.toml:4; lower volts in the script")

func (h *fakeHost) Call(ctx context.Context, call string, args json.RawMessage, line int) (json.RawMessage, error) {
	h.calls = append(h.calls, recorded{call, string(args), line})
	if h.answer != nil {
		return h.answer(ctx, call, args)
	}
	return plainAnswer(call, args)
}

// plainAnswer is a bench on which 3.9 V is the limit and every start is good.
func plainAnswer(call string, args json.RawMessage) (json.RawMessage, error) {
	switch call {
	case "cycle":
		var a struct{ Volts float64 }
		if err := json.Unmarshal(args, &a); err != nil {
			return nil, err
		}
		if a.Volts > 3.9 {
			return nil, &CallError{Kind: "limit", Message: errTooHigh.Error()}
		}
		return json.RawMessage(`{"verdict":"started","start_s":0.004,"frequency_hz":7372800,"growth_s":null,"lamp":""}`), nil
	case "soak":
		return json.RawMessage(`[{"volts":3.6,"cycles":200,"failures":3,"estimate":0.015,"low":0.0031,"high":0.0432},{"volts":3.3,"cycles":0,"failures":0,"estimate":null,"low":0,"high":1}]`), nil
	case "rate":
		return json.RawMessage(`{"cycles":2,"failures":1}`), nil
	case "now":
		return json.RawMessage(`1735689600`), nil
	case "random":
		return json.RawMessage(`0.5`), nil
	case "ask":
		return json.RawMessage(`"yes"`), nil
	}
	return nil, nil
}

func (h *fakeHost) texts() []string {
	var texts []string
	for _, r := range h.calls {
		var a struct{ Text *string }
		if json.Unmarshal([]byte(r.arguments), &a) == nil && a.Text != nil {
			texts = append(texts, *a.Text)
		}
	}
	return texts
}

// quick has a small time bound, for scripts that are meant to break it.
var quick = Engine{Compute: 400 * time.Millisecond}

var testFacts = Facts{
	Unit:  UnitFacts{Name: "river-level logger 0231", ClockHertz: 7.3728e6, MaxVolts: 3.9, MaxAmps: 0.15},
	Bench: BenchFacts{Simulated: true, StartWithinSeconds: 0.065, FrequencyWithin: 0.01, ClockProbe: "crystal input"},
}

// run runs source as soak.lua with the default bounds.
func run(t *testing.T, h *fakeHost, source string) error {
	t.Helper()
	return Run(t.Context(), Script{"soak.lua", source}, testFacts, h, &bytes.Buffer{})
}

// logged runs source, which must succeed, and returns what it logged.
func logged(t *testing.T, source string) []string {
	t.Helper()
	h := &fakeHost{}
	if err := run(t, h, source); err != nil {
		t.Fatalf("%v\n%s", err, source)
	}
	return h.texts()
}

// wantError checks that err is a *ScriptError whose text begins with prefix and
// has every other part.
func wantError(t *testing.T, err error, prefix string, parts ...string) {
	t.Helper()
	if _, ok := errors.AsType[*ScriptError](err); !ok {
		t.Fatalf("error %v (%T) is not a *ScriptError", err, err)
	}
	if !strings.HasPrefix(err.Error(), prefix) {
		t.Errorf("error %q does not begin with %q", err, prefix)
	}
	for _, part := range parts {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("error %q does not say %q", err, part)
		}
	}
}
