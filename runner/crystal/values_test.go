package crystal

import (
	"math"
	"slices"
	"strings"
	"testing"
)

func TestBadValuesSayWhichWhyAndWhatIsUsual(t *testing.T) {
	for _, c := range []struct {
		name   string
		given  map[string]float64
		symbol string
		says   []string
	}{
		{"absurd", map[string]float64{"CA": 100e-6}, "CA", []string{"CA = 100 uF", "too large", "at most 1 nF", "5 pF to 47 pF"}},
		{"negative", map[string]float64{"R1": -28}, "R1", []string{"R1 = -28 ohm", "cannot be negative", "10 ohm to 100 kohm"}},
		{"zero", map[string]float64{"C1": 0}, "C1", []string{"cannot be zero", "2 fF to 30 fF"}},
		{"zero of what may be open", map[string]float64{"Rleak": 0}, "Rleak", []string{"\"open\""}},
		{"not a number", map[string]float64{"gm": math.NaN()}, "gm", []string{"not a number"}},
		{"infinite", map[string]float64{"CB": math.Inf(1)}, "CB", []string{"finite"}},
		{"forgotten prefix", map[string]float64{"CA": 27}, "CA", []string{"CA = 27 F", "too large"}},
		{"unknown", map[string]float64{"CX": 1}, "CX", []string{"no such symbol", "CLnom"}},
		{"shunt below motional", map[string]float64{"C0": 0.1e-12, "C1": 0.2e-12}, "C0", []string{"smaller than C1 = 200 fF", "160 times"}},
		{"inductance alone", map[string]float64{"L1": 33e-3}, "L1", []string{"without C1"}},
		{"probe without resistance", map[string]float64{"CpA": 12e-12}, "CpA", []string{"without RpA", "10 Mohm"}},
		{"probe without capacitance", map[string]float64{"RpB": 10e6}, "RpB", []string{"without CpB"}},
		{"two frequencies", map[string]float64{"fs": 7e6, "fL": 8e6}, "fL", []string{"inconsistent crystal", "7."}},
		{"inductance against frequency", map[string]float64{"L1": 33e-3, "C1": 14e-15, "fs": 4e6}, "fs", []string{"inconsistent crystal"}},
		{"quality against resistance", map[string]float64{"Q": 50e3, "R1": 60}, "R1", []string{"inconsistent crystal"}},
		{"colder than can be", map[string]float64{"T": -300}, "T", []string{"too small", "-70"}},
	} {
		_, err := Healthy().With(c.given)
		problems := Errors(err)
		if len(problems) == 0 {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		if problems[0].Symbol != c.symbol {
			t.Errorf("%s: blames %s", c.name, problems[0].Symbol)
		}
		for _, part := range c.says {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%s: %q does not say %q", c.name, err, part)
			}
		}
	}
	_, err := Healthy().With(map[string]float64{"CA": -1, "CB": 1, "R1": 0})
	if n := len(Errors(err)); n != 3 {
		t.Errorf("three bad values, %d errors: %v", n, err)
	}
}

func TestGivenValuesAreSettledTogether(t *testing.T) {
	with := func(given map[string]float64) Circuit {
		t.Helper()
		c, err := Healthy().With(given)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	// The crystal keeps its frequency at its load whatever is given about it.
	c := with(map[string]float64{"fL": 8e6, "C1": 10e-15})
	near(t, "fs", c.Value("fs"), 8e6/math.Sqrt(1+10e-15/(3.8e-12+18e-12)), 1e-12)
	c = with(map[string]float64{"fs": 7.370433727e6})
	near(t, "fL of fs", c.Hertz, 7.3728e6, 1e-9)
	near(t, "L1 of fs", c.Value("L1"), 33.30628e-3, 1e-6)
	c = with(map[string]float64{"Q": 55086})
	near(t, "R1 of Q", c.Crystal.R1, 28, 1e-4)
	c = with(map[string]float64{"L1": 33.30628e-3, "C1": 14e-15})
	near(t, "fL of L1 and C1", c.Hertz, 7.3728e6, 1e-6)

	c = with(map[string]float64{"ca": 12e-12, "GM": 1e-3})
	near(t, "CA in another case", c.Net.CA, 12e-12, 0)
	near(t, "gm as given", c.Value("gm"), 1e-3, 0)
	if !slices.Equal(c.Assumed, []string{"ro"}) {
		t.Errorf("gm without ro: assumed %v", c.Assumed)
	}
	if c = with(map[string]float64{"gm": 1e-3, "ro": 50e3}); len(c.Assumed) != 0 {
		t.Errorf("gm with ro: assumed %v", c.Assumed)
	}
	near(t, "ro as given", c.Value("ro"), 50e3, 1e-12)
	typical, err := Typical(8e6)
	if err != nil {
		t.Fatal(err)
	}
	typical, err = typical.With(map[string]float64{"CA": 18e-12, "CB": 18e-12})
	if err != nil {
		t.Fatal(err)
	}
	if slices.Contains(typical.Assumed, "CA") || !slices.Contains(typical.Assumed, "R1") {
		t.Errorf("assumed %v", typical.Assumed)
	}
	if _, ok := LookupSymbol("nonsense"); ok || !math.IsNaN(Healthy().Value("nonsense")) {
		t.Error("nonsense is a symbol")
	}
}

func TestFormatSI(t *testing.T) {
	for _, c := range []struct {
		value float64
		unit  string
		want  string
	}{
		{27e-12, "F", "27 pF"}, {1.09e-3, "S", "1.09 mS"}, {28, "ohm", "28 ohm"}, {1e6, "ohm", "1 Mohm"},
		{math.Inf(1), "ohm", "open"}, {0, "F", "0 F"}, {14e-15, "F", "14 fF"}, {55086, "", "55086"},
		{7.372908e6, "Hz", "7.372908 MHz"}, {-20, "degC", "-20 degC"}, {-3, "V", "-3 V"}, {1e-3, "F", "1 mF"},
	} {
		if got := FormatSI(c.value, c.unit); got != c.want {
			t.Errorf("%g %s: %q, want %q", c.value, c.unit, got, c.want)
		}
	}
}
