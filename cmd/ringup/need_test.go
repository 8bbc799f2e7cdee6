package main

import (
	"math"
	"strings"
	"testing"
)

// Cycle counts from outside: success run, n = ln(1-C)/ln(1-R) rounded up (Clopper and Pearson, Biometrika 26 (1934)
// 404), and its extension to f failures by the cumulative binomial distribution, as SciPy 1.10 gives it.
func TestNeedDemonstration(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	for _, c := range []struct {
		arguments string
		cycles    int
		failures  int
	}{
		{"--below 1%", 299, 0},
		{"--below 0.01 --confidence 0.95", 299, 0},
		{"--below 0.1% --confidence 95%", 2995, 0},
		{"--below 10% --confidence 90%", 22, 0},
		{"--below 1% --failures 1", 473, 1},
		{"--below 1% --failures 2", 628, 2},
	} {
		text := f.must(t, append([]string{"need", "--json", "--rest", "35s"}, strings.Fields(c.arguments)...)...)
		got := decode[struct {
			Cycles          int
			AllowedFailures *int `json:"allowed_failures"`
			Confidence      float64
			Below           float64
			Plan            any
			Convention      string
			Seconds         float64
		}](t, text)
		if got.Cycles != c.cycles || got.AllowedFailures == nil || *got.AllowedFailures != c.failures || got.Plan != nil ||
			got.Confidence == 0 || got.Below == 0 || got.Convention == "" || math.Abs(got.Seconds-35*float64(c.cycles)) > 1e-9 {
			t.Errorf("need %s: %s", c.arguments, text)
		}
	}
	said := f.must(t, "need", "--below", "1 %", "--rest", "35s")
	for _, part := range []string{"299 cycles with no failure: below 1 % with 95 % confidence", "2 h 54 min", "Convention: "} {
		if !strings.Contains(said, part) {
			t.Errorf("it does not say %q; it says\n%s", part, said)
		}
	}
}

func TestNeedPlan(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	arguments := []string{"need", "--accept", "0.1%", "--reject", "1%"}
	got := decode[struct {
		Cycles          int
		AllowedFailures int `json:"allowed_failures"`
		Plan            struct {
			ExactAlpha  float64 `json:"exact_alpha"`
			ExactBeta   float64 `json:"exact_beta"`
			MostCycles  int     `json:"most_cycles"`
			FirstAccept int     `json:"first_accept"`
			Curve       []struct {
				Rate     float64
				Accept   float64
				Expected float64 `json:"expected_cycles"`
			} `json:"characteristic"`
		}
		Exact struct {
			Cycles          int
			AllowedFailures int `json:"allowed_failures"`
		}
	}](t, f.must(t, append(arguments, "--json")...))
	p := got.Plan
	if got.Cycles != p.MostCycles || p.ExactAlpha > 0.05 || p.ExactBeta > 0.05 || p.FirstAccept < 299 || p.FirstAccept > p.MostCycles || len(p.Curve) == 0 {
		t.Errorf("%+v", got)
	}
	// The plan of fixed length: 628 cycles show less than 1 % with 95 % confidence if at most 2 fail, and a unit at
	// 0.1 % passes in more than 95 % of cases (binomial).
	if got.Exact.Cycles != 628 || got.Exact.AllowedFailures != 2 {
		t.Errorf("the fixed plan is %+v, want 628 cycles with 2 failures", got.Exact)
	}
	for _, c := range p.Curve {
		if c.Rate == 0 && (c.Accept != 1 || math.Abs(c.Expected-float64(p.FirstAccept)) > 1e-6) {
			t.Errorf("a unit that never fails: %+v", c)
		}
	}
	said := f.must(t, append(arguments, "--rest", "35s")...)
	for _, part := range []string{"accepts a unit that fails at 0.1 %", "operating characteristic", "cycles, on average", "rests alone take", "not yet", "Convention: "} {
		if !strings.Contains(said, part) {
			t.Errorf("it does not say %q; it says\n%s", part, said)
		}
	}
}

func TestNeedChangeAndWidth(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	type answer struct {
		Cycles     int
		Exact      map[string]any
		Convention string
	}
	change := decode[answer](t, f.must(t, "need", "--change", "50%:5%", "--power", "80%", "--json"))
	if reached, _ := change.Exact["reached"].(float64); change.Cycles < 10 || change.Cycles > 30 || reached < 0.8 || change.Convention == "" {
		t.Errorf("%+v", change)
	}
	width := decode[answer](t, f.must(t, "need", "--width", "5%", "--rate", "10%", "--json"))
	low, _ := width.Exact["low"].(float64)
	high, _ := width.Exact["high"].(float64)
	if !(high-low <= 0.05) || !(high-low > 0.0499) || width.Cycles < 500 {
		t.Errorf("%+v", width)
	}
}

func TestNeedRefuses(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	for arguments, part := range map[string]string{
		"":                                   "ask one question",
		"--failures 3":                       "ask one question",
		"--below 1% --width 5%":              "ask one question",
		"--accept 1%":                        "ask one question",
		"--width 5%":                         "ask one question",
		"--below 1% --confidence 95":         `for 95 % write "95 %"`,
		"--below 1% --confidence 100%":       "--confidence",
		"--below 0":                          "both excluded",
		"--below 100%":                       "both excluded",
		"--below 1% --failures -1":           "allowed failures -1",
		"--below 1% --alpha 5%":              "--alpha does not go with --below",
		"--below 1%V":                        "--below",
		"--change 2%":                        "two rates",
		"--change 2%:2%":                     "the two rates differ",
		"--accept 1% --reject 0.1%":          "the lower of the two",
		"--accept 1% --reject 2% --cycles 9": "takes up to",
		"--below 1% --rest -3s":              "0 s or more",
		"--below 0.0000000001%":              "more than",
	} {
		f.wantRefused(t, exitUsage, append([]string{"need"}, strings.Fields(arguments)...), part)
	}
}
