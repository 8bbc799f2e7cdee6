package scripts

import (
	"strings"
	"testing"
)

func TestNothingDangerousIsReachable(t *testing.T) {
	for _, name := range []string{"os", "io", "debug", "package", "coroutine", "channel", "dofile", "loadfile", "load",
		"loadstring", "require", "module", "_printregs", "newproxy", "collectgarbage", "getfenv", "setfenv"} {
		err := run(t, &fakeHost{}, "\nlocal x = "+name)
		wantError(t, err, "soak.lua:2: there is no ", name)
		if got := logged(t, "log(tostring(rawget(_G, '"+name+"')))"); got[0] != "nil" {
			t.Errorf("%s is %s", name, got[0])
		}
	}
	for _, name := range []string{"string.dump", "math.randomseed", "getmetatable('').__index"} {
		if got := logged(t, "log(tostring("+name+"))"); got[0] != "nil" && name != "getmetatable('').__index" {
			t.Errorf("%s is %s", name, got[0])
		}
	}
	wantError(t, run(t, &fakeHost{}, "\nos.time()"), "soak.lua:2: there is no os here; use now() for the time")
	wantError(t, run(t, &fakeHost{}, "\nsook { volts = { 3.3 } }"), "soak.lua:2: there is no global sook; did you mean soak?")
	wantError(t, run(t, &fakeHost{}, "setmetatable(_G, nil)"), "soak.lua:1: ", "protected")
}

// The calls of string.format that the engine's own answers with nonsense and no
// error: 'VOLT %!d(MISSING)', 'VOLT 0', 'VOLT %!f(string=3.3)', '2'.
func TestFormatIsStrict(t *testing.T) {
	for call, part := range map[string]string{
		`('VOLT %d')`:              "no argument for %d",
		`('VOLT %d', 'abc')`:       `found the text "abc"; wanted a number`,
		`('VOLT %.3f', '3.3')`:     `found the text "3.3"; wanted a number`,
		`('%d', 2.5)`:              "found 2.5; wanted a whole number",
		`('%d', 1/0)`:              "found inf",
		`('%d', 3, 4)`:             "1 more argument",
		`('%s', nil)`:              "found nil",
		`('%s', {})`:               "found table",
		`('%.1f', nil)`:            "found nil",
		`('%y', 1)`:                "no conversion y",
		`('100 %')`:                "not complete",
		`('%123d', 1)`:             "no conversion 3",
		`('%x', -1)`:               "not negative",
		`('%c', 256)`:              "0 to 255",
		`('%05s', 'a')`:            "no flag but -",
		`('%5q', 'a')`:             "%q wants a string",
		`('%*d', 5, 1)`:            "no conversion *",
		`('%d', 9007199254740994)`: "whole number",
	} {
		wantError(t, run(t, &fakeHost{}, "\nlocal s = string.format"+call), "soak.lua:2: string.format: ", part)
	}
}

// Expected texts are what C's printf gives (ISO C 7.21.6.1), which Lua's manual
// refers to (Lua 5.1 Reference Manual, 5.4 string.format).
func TestFormatGivesWhatCGives(t *testing.T) {
	for call, want := range map[string]string{
		`("%d|%5d|%-5d|%05d|%+d", 42, 42, 42, 42, 42)`:                          "42|   42|42   |00042|+42",
		`("%i %u %o %x %X %#x %c", 7, 7, 8, 255, 255, 255, 65)`:                 "7 7 10 ff FF 0xff A",
		`("%f|%.3f|%8.2f|%.0f", 3.3, 3.3, 3.3, 2.5)`:                            "3.300000|3.300|    3.30|2",
		`("%e|%.2E", 12345.678, 12345.678)`:                                     "1.234568e+04|1.23E+04",
		`("%g|%g|%g|%g|%.3g|%G", 100000, 1e6, 0.0001, 0.1+0.2, 3.14159, 1e-10)`: "100000|1e+06|0.0001|0.3|3.14|1E-10",
		`("%f %g", 1/0, -1/0)`:                                                  "inf -inf",
		`("%s %s %s|%5s|%-5s|%.2s", "a", 1.5, true, "b", "c", "def")`:           "a 1.5 true|    b|c    |de",
		`("%q", 'a "quoted" \\ line')`:                                          `"a \"quoted\" \\ line"`,
		`("%5.1f %%", 1.25)`:                                                    "  1.2 %",
		`("no directive")`:                                                      "no directive",
	} {
		if got := logged(t, "log(string.format"+call+")\nlog(("+strings.TrimSuffix(strings.Replace(call[1:], ",", "):format(", 1), ")")+func() string {
			if strings.Contains(call, ",") {
				return "))"
			}
			return "):format())"
		}()); got[0] != want || got[1] != want {
			t.Errorf("format%s = %q, want %q", call, got, want)
		}
	}
}

const walk = `
local function keys(t)
  local names = {}
  for k in pairs(t) do names[#names + 1] = tostring(k) end
  return table.concat(names, " ")
end
`

// Lua leaves the order of pairs open; a replay needs one. The order is: list
// part, then other keys as they were first set.
func TestPairsOrder(t *testing.T) {
	source := walk + `
local t = { z = 1, 10, 20, a = 2 }
t[true] = 1; t.m = 3; t.a = nil; t[0] = 1; t.b = 4; t.a = 5; t[3] = 30
log(keys(t))
log(keys(math)); log(keys(string)); log(keys(table)); log(keys(_G)); log(keys(unit)); log(keys(bench))
log(keys(cycle { volts = 3.3 }))`
	first := logged(t, source)
	if first[0] != "1 2 3 z a true m 0 b" {
		t.Errorf("order %q", first[0])
	}
	if want := "name clock_hz max_volts max_amps"; first[5] != want {
		t.Errorf("unit %q, want %q", first[5], want)
	}
	if want := "frequency_hz lamp start_s verdict"; first[7] != want {
		t.Errorf("cycle %q, want %q", first[7], want)
	}
	for range 5 {
		if again := logged(t, source); strings.Join(again, "\n") != strings.Join(first, "\n") {
			t.Fatalf("another order in another process:\n%s\n%s", first, again)
		}
	}
}

func TestNoAddressesInTexts(t *testing.T) {
	got := logged(t, `print({}, print, function() end, nil, 1.5, true, "x")`)
	if want := "table\tfunction\tfunction\tnil\t1.5\ttrue\tx"; got[0] != want {
		t.Errorf("got %q, want %q", got[0], want)
	}
}

func TestRandomIsTheHosts(t *testing.T) {
	h := &fakeHost{}
	err := run(t, h, `print(random(), math.random(), math.random(6), math.random(10, 20))`)
	if err != nil {
		t.Fatal(err)
	}
	if got := h.texts(); got[0] != "0.5\t0.5\t4\t15" || len(h.calls) != 5 {
		t.Errorf("got %q from %v", got, h.calls)
	}
	for _, bad := range []string{"(0)", "(2, 1)", "(1.5)", "(1, 2, 3)", "(0/0)", "(1/0)"} {
		wantError(t, run(t, &fakeHost{}, "\nmath.random"+bad), "soak.lua:2: math.random: ")
	}
}

func TestFactsAreReadOnly(t *testing.T) {
	got := logged(t, `print(unit.name, unit.clock_hz, unit.max_volts, bench.simulated, bench.clock_probe, bench.lamp)`)
	if want := "river-level logger 0231\t7372800\t3.9\ttrue\tcrystal input\tfalse"; got[0] != want {
		t.Errorf("got %q, want %q", got[0], want)
	}
	wantError(t, run(t, &fakeHost{}, "\nunit.max_volts = 99"), "soak.lua:2: unit is read-only")
	wantError(t, run(t, &fakeHost{}, "\nrawset(bench, 'lamp', true)"), "soak.lua:2: ", "read-only")
	wantError(t, run(t, &fakeHost{}, "\nsetmetatable(unit, {})"), "soak.lua:2: ", "protected")
	wantError(t, run(t, &fakeHost{}, "\nlocal v = unit.max_volt"), "soak.lua:2: unit has no field max_volt", "did you mean max_volts?")
}

func TestResultFieldsAreKnown(t *testing.T) {
	err := run(t, &fakeHost{}, "local c = cycle { volts = 3.3 }\nlocal s = c.start_seconds")
	wantError(t, err, "soak.lua:2: Cycle has no field start_seconds; it has: verdict, reason, ")
}
