package scripts

import (
	"bytes"
	"encoding/json"
	"flag"
	"io/fs"
	"os"
	"reflect"
	"strings"
	"testing"
)

func TestArgumentErrors(t *testing.T) {
	for call, part := range map[string]string{
		`soak { volts = { 3.6 }, cyles = 5 }`:                     `soak has no option "cyles" (found cyles = 5); allowed: cycles, order, rest, stop_at, title, until_decided, until_width, volts, watch; did you mean cycles?`,
		`soak { volts = { 3.6 }, cycles = 5, order = "random" }`:  `order: found "random"; allowed: interleaved, shuffled, blocked`,
		`soak { volts = { 3.6 }, cycles = 5, order = "Blocked" }`: "did you mean blocked?",
		`soak { volts = { 3.6 } }`:                                "cycles is missing; wanted: a whole number from 1 to 1000000",
		`soak { volts = { 3.6 }, cycles = 2.5 }`:                  "cycles: found 2.5",
		`soak { volts = { 3.6 }, cycles = "5" }`:                  `cycles: found "5"`,
		`soak { volts = { 3.6 }, cycles = 0 }`:                    "cycles: found 0",
		`soak { volts = 3.6, cycles = 5 }`:                        "volts: found 3.6; allowed: a list of",
		`soak { volts = {}, cycles = 5 }`:                         "volts: found ",
		`soak { volts = { 3.6, nil, 3.0 }, cycles = 5 }`:          "entry 2 is missing",
		`soak { volts = { 3.6, "3.3 A" }, cycles = 5 }`:           `entry 2: found "3.3 A"; allowed: a number with one of the units V, mV`,
		`soak { volts = { fresh = 3.6 }, cycles = 5 }`:            "named entries",
		`soak { volts = { { 3.6 } }, cycles = 5 }`:                "list inside a list",
		`soak { 3.6, cycles = 5 }`:                                "found 3.6 without a name",
		`soak()`:                                                  "volts is missing",
		`soak { volts = { 3.6 }, cycles = 5 , title = "a\nb" }`:   "one line of text",
		`cycle(3.3)`:                            "wanted a table of options, as cycle{ … }; allowed: rest, volts, watch",
		`cycle { volts = true }`:                "volts: found true",
		`cycle { volts = -3.3 }`:                "volts: found -3.3; allowed: volts from 0.1 to 1000",
		`cycle { volts = 0/0 }`:                 "volts: found nan",
		`cycle { volts = print }`:               "found a function",
		`cycle { volts = "3.3" }`:               `found "3.3"; allowed: a number with one of the units`,
		`cycle { volts = "0x3 V" }`:             `found "0x3 V"`,
		`cycle { volts = 3.3, rest = "3 sec" }`: "units s, ms, us, µs, min, h",
		`cycle { volts = 3.3, watch = "2 h" }`:  `watch: found "2 h"; allowed: seconds from 0.001 to 3600`,
		`wait()`:                                "duration is missing",
		`wait(-1)`:                              "duration: found -1",
		`wait(1, 2)`:                            "found 2 arguments; allowed: 1",
		`mark("")`:                              `text: found ""`,
		`mark(5)`:                               "text: found 5",
		`mark("a\0b")`:                          "control characters",
		`ask("?", 5)`:                           "wanted a table of options",
		`ask("?", { timout = 5 })`:              "did you mean timeout?",
		`now(1)`:                                "found 1 arguments; allowed: 0",
		`treatment(("x"):rep(201))`:             "1 to 200 bytes",

		`soak { volts = { 3 }, cycles = 5, until_decided = 3 }`:                 "until_decided: found 3; allowed: a table with below, above, alpha, beta",
		`soak { volts = { 3 }, cycles = 5, until_decided = { below = "1 %" } }`: "soak: until_decided: above is missing; wanted: ",
		`soak { volts = { 3 }, cycles = 5, until_decided = { belo = "1 %" } }`:  `soak: until_decided has no option "belo"`,
		`soak { volts = { 3 }, cycles = 5, until_decided = { { 1 } } }`:         "without a name",
		`soak { volts = { 3 }, cycles = 5, until_width = "5 V" }`:               `until_width: found "5 V"; allowed: a number with one of the units %`,
		`soak { volts = { 3 }, cycles = 5, stop_at = "25:00" }`:                 `stop_at: found "25:00"; allowed: a time of day, as "06:30"`,
		`soak { volts = { 3 }, cycles = 5, stop_at = 7 }`:                       "stop_at: found 7",
		`decide { below = 0.1, above = 95 }`:                                    `above: found 95; allowed: a number from 1e-06 to 0.999999, as 0.01 or "1 %"`,
		`decide { below = "0.1 %" }`:                                            "above is missing",
		`conclude("continue")`:                                                  `found "continue"; allowed: accept, reject`,
		`rate { method = "wald" }`:                                              `method: found "wald"; allowed: clopper-pearson, wilson, jeffreys, mid-p, anytime`,
		`threshold { low = 2, high = 3, cycles = 9, rate = "100 %" }`:           `rate: found "100 %"`,

		`supply.sett(2.4)`:                 "supply has no field sett; it has: off, on, read, set; did you mean set?",
		`supply.set()`:                     "supply.set: volts is missing; wanted: volts from 0.1 to 1000",
		`supply.set("2.4 A")`:              `supply.set: volts: found "2.4 A"; allowed: a number with one of the units V, mV`,
		`supply.set { volts = 2.4 }`:       "supply.set: volts: ",
		`supply:on()`:                      "supply.on: found 1 arguments; allowed: 0",
		`supply.off("10 s")`:               "wanted a table of options, as supply.off{ … }; allowed: rest",
		`scope.arm { wach = "80 ms" }`:     `scope.arm has no option "wach" (found wach = "80 ms"); allowed: watch; did you mean watch?`,
		`scope.fetch { judge_by = "eye" }`: `judge_by: found "eye"; allowed: witnesses`,
		`scope.fetch { samples = 1001 }`:   "samples: found 1001; allowed: a whole number from 1 to 1000",
		`compare { treatment = "a" }`:      "compare: against is missing",
		`thermometer.reed()`:               "did you mean read?",
	} {
		t.Run(call, func(t *testing.T) {
			h := &fakeHost{}
			wantError(t, run(t, h, "\n\n"+call), "soak.lua:3: ", part)
			if len(h.calls) != 0 {
				t.Errorf("the host was called: %v", h.calls)
			}
		})
	}
}

func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		text string
		unit []unit
		want float64
	}{
		{"3.3 V", voltUnits, 3.3}, {"3300 mV", voltUnits, 3.3}, {"3300mV", voltUnits, 3.3}, {" 2.4 V ", voltUnits, 2.4},
		{"1.5 s", secondUnits, 1.5}, {"250 ms", secondUnits, 0.25}, {"10 min", secondUnits, 600}, {"8 h", secondUnits, 28800},
		{"80 ms", secondUnits, 0.08}, {"50 µs", secondUnits, 50e-6}, {"50 us", secondUnits, 50e-6}, {"1e3 ms", secondUnits, 1}, {".5 s", secondUnits, 0.5},
	} {
		if got, err := parseQuantity(c.text, c.unit); err != nil || got != c.want {
			t.Errorf("%q = %v, %v; want %v", c.text, got, err, c.want)
		}
	}
	for _, bad := range []string{"", "V", "3.3", "3.3 v", "3.3 A", "three V", "3,3 V", "inf V", "0x10 V", "1_0 V", "3.3 V V", "3.3.3 V"} {
		if got, err := parseQuantity(bad, voltUnits); err == nil {
			t.Errorf("%q = %v, want an error", bad, got)
		}
	}
}

// However a value is written, its recorded form is the same bytes, and checking
// it again changes nothing.
func TestOneRecordedForm(t *testing.T) {
	h := &fakeHost{}
	err := run(t, h, `
local v = 3.6
for i = 1, 3 do v = v - 0.1 end
cycle { volts = v, rest = "35 s", watch = "80 ms" }
cycle { watch = 0.08, volts = 3.3, rest = 35 }
cycle { rest = "35000 ms", volts = "3300 mV", watch = 0.080 }`)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range h.calls {
		if want := `{"rest":35,"volts":3.3,"watch":0.08}`; r.arguments != want {
			t.Errorf("line %d: %s, want %s", r.line, r.arguments, want)
		}
	}
	h = &fakeHost{}
	if err := run(t, h, `soak { volts = { 3.6, "2400 mV" }, cycles = 5, title = "C7 < 5 pF" }`); err != nil {
		t.Fatal(err)
	}
	if want := `{"cycles":5,"order":"interleaved","rest":3,"title":"C7 < 5 pF","volts":[3.6,2.4]}`; h.calls[0].arguments != want {
		t.Errorf("%s, want %s", h.calls[0].arguments, want)
	}
	soak, _ := LookupCall("soak")
	again, err := soak.checkJSON(json.RawMessage(h.calls[0].arguments))
	if err != nil || string(again) != h.calls[0].arguments {
		t.Errorf("checked again: %s, %v", again, err)
	}
}

// The table itself: every call can be reached, is described, and its defaults
// pass its own checks.
func TestCallTable(t *testing.T) {
	for _, c := range Calls {
		if c.Doc == "" {
			t.Errorf("%s has no description", c.Name)
		}
		if got := logged(t, "log(type("+c.Name+"))"); got[0] != "function" {
			t.Errorf("%s is a %s", c.Name, got[0])
		}
		for _, o := range c.Options {
			if o.Doc == "" {
				t.Errorf("%s: %s has no description", c.Name, o.Name)
			}
			if o.Default == nil {
				continue
			}
			if got, err := o.check(o.Default); err != nil || !reflect.DeepEqual(got, o.Default) {
				t.Errorf("%s: %s: default %v became %v, %v", c.Name, o.Name, o.Default, got, err)
			}
		}
		for _, f := range c.Result.Fields {
			if f.Doc == "" || f.Lua == "" {
				t.Errorf("%s: result field %s is not described", c.Name, f.Name)
			}
		}
	}
}

var update = flag.Bool("update", false, "write ringup.d.lua anew")

func TestAnnotations(t *testing.T) {
	const file = "ringup.d.lua"
	if *update {
		if err := os.WriteFile(file, Annotations(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	committed, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(bytes.ReplaceAll(committed, []byte("\r\n"), []byte("\n")), Annotations()) {
		t.Errorf("%s is not current; run: go generate ./scripts", file)
	}
	for _, c := range Calls {
		if !strings.Contains(string(committed), "function "+c.Name+"(") {
			t.Errorf("%s is not annotated", c.Name)
		}
	}
	if err := Check(Script{file, string(committed)}); err != nil {
		t.Errorf("not Lua: %v", err)
	}
}

func TestLibraryCompiles(t *testing.T) {
	names, err := fs.Glob(Library, "library/*.lua")
	if err != nil || len(names) == 0 {
		t.Fatalf("library %v, %v", names, err)
	}
	for _, name := range names {
		source, err := fs.ReadFile(Library, name)
		if err != nil {
			t.Fatal(err)
		}
		if err := Check(Script{name, string(source)}); err != nil {
			t.Error(err)
		}
	}
}

func TestLibrarySoak(t *testing.T) {
	source, err := fs.ReadFile(Library, "library/soak.lua")
	if err != nil {
		t.Fatal(err)
	}
	h := &fakeHost{}
	if err := run(t, h, string(source)); err != nil {
		t.Fatal(err)
	}
	want := `{"cycles":200,"order":"interleaved","rest":35,"title":"fresh to flat cell","volts":[3.6,3.3,3,2.7,2.4,2.2],"watch":0.08}`
	if h.calls[0].call != "soak" || h.calls[0].arguments != want {
		t.Errorf("first call %v, want %s", h.calls[0], want)
	}
}
