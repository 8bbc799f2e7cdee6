package scripts

import "testing"

const switchedOff = `{"error":{"kind":"interrupted","message":"the supply was switched off","messages":["> OUTP OFF"]}}`

// An error that is part of the record reaches the script as one, with its kind and line, and may be caught.
func TestRecordedError(t *testing.T) {
	h := answering("scope.fetch", switchedOff)
	err := run(t, h, `
scope.arm {}
local ok, failure = pcall(function()
  return scope.fetch {}
end)
log(tostring(ok) .. ", " .. failure.kind .. ": " .. failure.message .. ", line " .. failure.line)
log(tostring(failure))
`)
	if err != nil {
		t.Fatal(err)
	}
	said := h.texts()
	if len(said) != 2 || said[0] != "false, interrupted: the supply was switched off, line 4" || said[1] != "soak.lua:4: the supply was switched off" {
		t.Errorf("said %q", said)
	}
	if h.calls[0].String() != `2 scope.arm {}` || h.calls[1].String() != `4 scope.fetch {}` {
		t.Errorf("called %v", h.calls)
	}
	wantError(t, run(t, answering("supply.on", switchedOff), "supply.set(3)\nsupply.on()"), "soak.lua:2: ", "the supply was switched off")
}

// What only looks like one is a result.
func TestResultWithAnError(t *testing.T) {
	for _, result := range []string{`{"error":"none","verdict":"started"}`, `{"error":null}`, `{"error":{"kind":"x"},"verdict":"started"}`} {
		if err := run(t, answering("cycle", result), "cycle { volts = 3 }"); err != nil {
			t.Errorf("%s: %v", result, err)
		}
	}
}
