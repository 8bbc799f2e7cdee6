package dialect

import (
	"math"
	"slices"
	"strings"
	"testing"
)

func TestExpression(t *testing.T) {
	numbers := map[string]float64{"volts": 3.3, "x": -2, "zero": 0, "n": 7}
	texts := map[string]string{"mode": " peak ", "empty": ""}
	for in, want := range map[string]float64{
		"volts": 3.3, "-x": 2, "+x": -2, "1 + 2 * 3": 7, "(1 + 2) * 3": 9, "7 / 2": 3.5, "1.5e-3": 0.0015, "010": 10,
		"x < 0": 1, "x > 0": 0, "x == -2": 1, "x != -2": 0, "n >= 7": 1, "n <= 6": 0,
		`mode == "PEAK"`: 1, `mode != "PEAK"`: 0, `empty == ""`: 1, `1 + (mode == "SAMPLE")`: 1,
		"min(n, 3)": 3, "max(n, 3)": 7, "floor(n / 2)": 3, "floor(-0.5)": -1,
		"steps(0.0048, 2, 5)": 0.005, "steps(0.6, 2, 5)": 1, "steps(0.005, 2, 5)": 0.005, "steps(5.0000001, 2, 5)": 10,
		"steps(1e-9, 2, 5)": 1e-9, "steps(0.08 / 10, 2, 4)": 0.01, "steps(0.3, 2, 4)": 0.4, "steps(0.03 / 3, 2, 5)": 0.01,
	} {
		e, err := parseExpression(in)
		if err != nil {
			t.Errorf("%q: %v", in, err)
			continue
		}
		if got, err := e.value(numbers, texts); err != nil || math.Abs(got-want) > 1e-15*math.Abs(want) {
			t.Errorf("%q = %v, %v, want %v", in, got, err, want)
		}
	}
	if e, err := parseExpression(`min(b, a) + (c == "d") * b`); err != nil || !slices.Equal(e.names(), []string{"a", "b", "c"}) {
		t.Errorf("names = %q, %v", e.names(), err)
	}
	// What cannot be computed is no value: nothing may be taken for one.
	for _, in := range []string{"1 / zero", "zero / zero", "steps(zero, 2, 5)", "steps(n, 5, 2)"} {
		e, err := parseExpression(in)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := e.value(numbers, texts); err == nil && !math.IsNaN(got) && !math.IsInf(got, 0) {
			t.Errorf("%q = %v", in, got)
		}
	}
	for in, reason := range map[string]string{"ohms": "ohms", `volts == "A"`: "no text", "min(ohms, 1)": "ohms", "-ohms": "ohms", "1 + ohms": "ohms", "ohms + 1": "ohms", "(ohms)": "ohms"} {
		e, err := parseExpression(in)
		if err != nil {
			t.Errorf("%q: %v", in, err)
			continue
		}
		if _, err := e.value(numbers, texts); err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("%q: %v, want an error that names %s", in, err, reason)
		}
	}
	for _, in := range []string{
		"", "1 +", "a b", "a.b", "a[0]", "f(a)", "min(1)", "min(1, 2, 3)", "a % b", "a << 2", "a && b", "!a", "^a", "&a", `"A"`, `"A" == a`,
		"'x'", "1i", "0x10", "func() {}", "steps(1, 2, 5)(3)", "min(a...)", "Volts", "type", strings.Repeat("(", 600), "a = 1", "f.min(1, 2)", "1e999",
	} {
		if e, err := parseExpression(in); err == nil {
			t.Errorf("%q was taken as %#v", in, e.node)
		}
	}
}

func FuzzExpression(f *testing.F) {
	for _, seed := range []string{"1 + 2 * (a - b) / c", `a == "B"`, "steps(a / 8, 2, 5)", "min(max(a, b), floor(c))", "-a", "1e5", "((((", "a.b", "x << 1"} {
		f.Add(seed, 1.5)
	}
	f.Fuzz(func(t *testing.T, text string, x float64) {
		e, err := parseExpression(text)
		if err != nil {
			return
		}
		numbers, texts := map[string]float64{}, map[string]string{}
		for _, name := range e.names() {
			numbers[name], texts[name] = x, text
		}
		if _, err := e.value(numbers, texts); err != nil {
			t.Fatalf("%q was accepted, yet with all its names given: %v", text, err)
		}
	})
}
