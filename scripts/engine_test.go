package scripts

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
)

func TestRunCallsInOrder(t *testing.T) {
	h := &fakeHost{}
	var out bytes.Buffer
	err := Run(t.Context(), Script{"soak.lua", `
treatment("C7 chilled")
local c = cycle { volts = "3300 mV", rest = "3 s" }
if c.verdict == "started" and c.start_s == 0.004 and c.growth_s == nil and c.lamp == "" then
  mark("good")
end
wait "10 min"
print(ask("lifted?", { timeout = "8 h" }), now(), random(), rate{}.failures)
`}, testFacts, h, &out)
	if err != nil {
		t.Fatal(err)
	}
	want := `2 treatment {"text":"C7 chilled"}
3 cycle {"rest":3,"volts":3.3}
5 mark {"text":"good"}
7 wait {"duration":600}
8 ask {"text":"lifted?","timeout":28800}
8 now {}
8 random {}
8 rate {}
8 log {"text":"yes\t1735689600\t0.5\t1"}
`
	var got strings.Builder
	for _, r := range h.calls {
		got.WriteString(r.String() + "\n")
	}
	if got.String() != want {
		t.Errorf("calls:\n%swant:\n%s", got.String(), want)
	}
	if out.String() != "yes\t1735689600\t0.5\t1\n" {
		t.Errorf("output %q", out.String())
	}
}

func TestSyntaxErrors(t *testing.T) {
	for _, c := range []struct{ source, prefix, part string }{
		{"local a = 1\nlocal b = = 2\n", "soak.lua:2: syntax error", `"="`},
		{"soak {\n  volts = { 3.6 },\n", "soak.lua:2: ", "ends too early"},
		{"x = 1\ngoto nowhere\n", "soak.lua:2: ", "'nowhere' for <goto> at line 2"},
		{"local s = \"open\n", "soak.lua:1: ", "unterminated string"},
		{"\n\n  mark('x') end\n", "soak.lua:3: ", "end"},
		{"break", "soak.lua:1: ", "break"},
		{"\nx = 1 ~ 2", "soak.lua:2: ", ""},
	} {
		for name, err := range map[string]error{
			"Check": Check(Script{"soak.lua", c.source}),
			"Run":   run(t, &fakeHost{}, c.source),
		} {
			t.Run(name, func(t *testing.T) { wantError(t, err, c.prefix, c.part) })
		}
	}
	if err := Check(Script{"soak.lua", "cycle { volts = 3.3 }"}); err != nil {
		t.Errorf("a good script: %v", err)
	}
	wantError(t, Check(Script{"soak.lua", strings.Repeat("-", maxMessage+1)}), "soak.lua: ", "1 MiB")
}

// A nested script makes the compiler recurse; it must not take the parent along.
func TestDeepNestingStaysInTheChild(t *testing.T) {
	const depth = 500_000
	err := Check(Script{"deep.lua", "local x = " + strings.Repeat("{", depth) + "1" + strings.Repeat("}", depth)})
	wantError(t, err, "deep.lua: the script needs more than 512 MiB to compile")
}

func TestHostErrors(t *testing.T) {
	h := &fakeHost{}
	err := run(t, h, "\n\ncycle { volts = 5.5 }\nmark('not reached')\n")
	wantError(t, err, "soak.lua:3: "+errTooHigh.Error())
	if e, ok := errors.AsType[*ScriptError](err); !ok || !strings.Contains(e.Trace, "soak.lua:3: in main chunk") {
		t.Errorf("trace %q", e.Trace)
	}
	if e, ok := errors.AsType[*CallError](err); !ok || e.Kind != "limit" {
		t.Errorf("the host's error is not behind %v", err)
	}
	if len(h.calls) != 1 {
		t.Errorf("calls after the refusal: %v", h.calls)
	}
	got := logged(t, `
local ok, e = pcall(cycle, { volts = 5.5 })
log(tostring(ok) .. " " .. e.kind .. " " .. e.file .. " " .. e.line .. " " .. e.message)
log(tostring(e))
local ok, e = pcall(function() assert(pcall(cycle, { volts = 5.5 })) end)
log(e.kind)
local ok, e = pcall(cycle, { volt = 3.3 })
log(e.kind)`)
	want := []string{"false limit soak.lua 2 " + errTooHigh.Error(), "soak.lua:2: " + errTooHigh.Error(), "limit", "argument"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got %q, want %q", got, want)
	}
	wantError(t, run(t, &fakeHost{}, "local function f() return cycle { volts = 5.5 } end\nreturn f()\n"), "soak.lua:1: 5.5 V")
	wantError(t, run(t, &fakeHost{}, "\nerror('the night is over')"), "soak.lua:2: the night is over")
	wantError(t, run(t, &fakeHost{}, "\nerror({})"), "soak.lua:2: ", "no message")
	wantError(t, run(t, &fakeHost{}, "\nerror(nil)"), "soak.lua:2: ", "without a message")
	wantError(t, run(t, &fakeHost{}, "\nerror(5)"), "soak.lua:2: 5")
	wantError(t, run(t, &fakeHost{}, "error(('x'):rep(4e6))"), "soak.lua:1: xxxx")
	wantError(t, run(t, &fakeHost{}, "local s\n\nmark(s.name)"), "soak.lua:3: ", "nil")
}

func TestFatalCannotBeCaught(t *testing.T) {
	held := errors.New("held: current above the limit")
	h := &fakeHost{answer: func(context.Context, string, json.RawMessage) (json.RawMessage, error) {
		return nil, Fatal{held}
	}}
	err := run(t, h, "while true do\n  pcall(cycle, { volts = 3.3 })\nend")
	wantError(t, err, "soak.lua:2: held: current above the limit")
	if !errors.Is(err, held) || len(h.calls) != 1 {
		t.Errorf("error %v, calls %v", err, h.calls)
	}
}

func TestStopKillsTheChild(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stopped := errors.New("stopped by a person")
	h := &fakeHost{answer: func(callCtx context.Context, _ string, _ json.RawMessage) (json.RawMessage, error) {
		cancel(stopped)
		<-callCtx.Done()
		return nil, callCtx.Err()
	}}
	err := Run(ctx, Script{"soak.lua", "while true do pcall(wait, 1) end"}, testFacts, h, &bytes.Buffer{})
	wantError(t, err, "soak.lua:1: the script was stopped: stopped by a person")
	if !errors.Is(err, stopped) || len(h.calls) != 1 {
		t.Errorf("error %v, calls %v", err, h.calls)
	}
}

func TestBadResultsOfTheHost(t *testing.T) {
	h := &fakeHost{answer: func(context.Context, string, json.RawMessage) (json.RawMessage, error) {
		return json.RawMessage(`{"volts":`), nil
	}}
	wantError(t, run(t, h, "\ncycle { volts = 3.3 }"), "soak.lua:2: ", "not JSON")
	facts := testFacts
	facts.Unit.MaxVolts = math.NaN()
	err := Run(t.Context(), Script{"soak.lua", ""}, facts, &fakeHost{}, &bytes.Buffer{})
	wantError(t, err, "soak.lua: ", "not a number")
}
