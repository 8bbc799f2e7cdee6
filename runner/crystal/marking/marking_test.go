package marking

import (
	"bufio"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-12*math.Abs(b) }

// Worked readings of IEC 60062 (R, K, M letters, digit codes), EIA-198 (capacitor
// codes in picofarads, tolerance letters) and the EIA-96 code.
func TestRead(t *testing.T) {
	const r, c = Resistor, Capacitor
	for _, test := range []struct {
		mark      string
		kind      Kind
		value     float64
		tolerance string
	}{
		{"103", r, 10e3, ""}, {"220", r, 22, ""}, {"472", r, 4.7e3, ""}, {"105", r, 1e6, ""},
		{"000", r, 0, ""}, {"0", r, 0, ""}, {"1001", r, 1e3, ""}, {"4992", r, 49.9e3, ""},
		{"4R7", r, 4.7, ""}, {"R047", r, 0.047, ""}, {"4K7", r, 4.7e3, ""}, {"4k7J", r, 4.7e3, "±5 %"}, {"10M", r, 10e6, ""},
		{"L47", r, 0.47e-3, ""}, {"100K", r, 100e3, ""}, {"100K", r, 10, "±10 %"}, {"103J", r, 10e3, "±5 %"},
		{"01C", r, 10e3, "±1 %"}, {"68X", r, 49.9, "±1 %"}, {"96D", r, 976e3, "±1 %"}, {"22R", r, 22, ""}, {"22R", r, 1.65, "±1 %"},

		{"106", c, 10e-6, ""}, {"104K", c, 100e-9, "±10 %"}, {"103", c, 10e-9, ""}, {"105M", c, 1e-6, "±20 %"}, {"104Z", c, 100e-9, "+80 −20 %"},
		{"220", c, 22e-12, ""}, {"220", c, 220e-12, ""}, {"270J", c, 27e-12, "±5 %"}, {"27", c, 27e-12, ""}, {"27J", c, 27e-12, "±5 %"},
		{"479", c, 4.7e-12, ""}, {"508", c, 0.5e-12, ""}, {"4R7C", c, 4.7e-12, "±0.25 pF"}, {"8R2F", c, 8.2e-12, "±1 pF"},
		{"p47", c, 0.47e-12, ""}, {"4p7", c, 4.7e-12, ""}, {"10n", c, 10e-9, ""}, {"2u2", c, 2.2e-6, ""}, {"4µ7", c, 4.7e-6, ""}, {" 106 ", c, 10e-6, ""},
	} {
		readings, err := Read(test.mark)
		if err != nil {
			t.Errorf("%s: %v", test.mark, err)
			continue
		}
		if !slices.ContainsFunc(readings, func(r Reading) bool {
			return r.Kind == test.kind && (r.Value == test.value || near(r.Value, test.value)) && r.Tolerance == test.tolerance
		}) {
			t.Errorf("%s: found %+v, want a %s of %g %s", test.mark, readings, test.kind, test.value, test.tolerance)
		}
	}
}

// An ambiguous marking shows every reading, one that is not shows one.
func TestReadAll(t *testing.T) {
	for mark, want := range map[string]int{
		"106": 2, "103": 2, // resistor or capacitor
		"220": 3, // resistor 22 Ω, capacitor 22 pF by code, 220 pF as printed
		"22R": 3, // resistor by letter or EIA-96, capacitor with R for the point
		"68X": 1, "01C": 2 /* 1 pF ±0.25 pF */, "4992": 1, "10n": 1, "000": 1,
	} {
		readings, err := Read(mark)
		if err != nil || len(readings) != want {
			t.Errorf("%s: %d readings %+v, %v; want %d", mark, len(readings), readings, err, want)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	for _, mark := range []string{"", " ", "R", "abc", "97X", "00X", "10Q", "1234567", "-47", "4.7", "R4R", "µ", "4RR7", "1e3", "٣٣٣"} {
		if readings, err := Read(mark); err == nil || !strings.Contains(err.Error(), "4R7") {
			t.Errorf("%q was read as %+v, %v", mark, readings, err)
		}
	}
}

// testdata/e96.csv: the values of E96, IEC 60063.
func TestEIA96(t *testing.T) {
	f, err := os.Open("../../../testdata/e96.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	seen := 0
	for lines := bufio.NewScanner(f); lines.Scan(); {
		code, text, ok := strings.Cut(lines.Text(), ",")
		value, err := strconv.ParseFloat(text, 64)
		if !ok || err != nil {
			continue // source and heading
		}
		seen++
		readings, err := Read(code + "A")
		if err != nil || readings[0].Value != value {
			t.Errorf("%sA: %+v, %v; want %g ohms", code, readings, err, value)
		}
	}
	if seen != 96 {
		t.Errorf("%d values, want 96", seen)
	}
}

func TestSeries(t *testing.T) {
	if got := Between(E24, 23.2e-12, 36.6e-12); !slices.EqualFunc(got, []float64{24e-12, 27e-12, 30e-12, 33e-12, 36e-12}, near) {
		t.Errorf("E24 from 23.2 to 36.6 pF: %g", got)
	}
	if got := Between(E12, 82, 120); !slices.Equal(got, []float64{82, 100, 120}) {
		t.Errorf("E12 from 82 to 120: %g", got)
	}
	if got := Between(E12, 0, 1); got != nil {
		t.Errorf("from nothing: %g", got)
	}
	for v, want := range map[float64]float64{28.8e-12: 30e-12, 28.4e-12: 27e-12, 9.7: 10, 95.6: 100, 1e-12: 1e-12} {
		if got := Nearest(E24, v); !near(got, want) {
			t.Errorf("nearest to %g: %g, want %g", v, got, want)
		}
	}
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if got := Nearest(E12, v); !math.IsNaN(got) {
			t.Errorf("nearest to %g: %g", v, got)
		}
	}
}

func FuzzRead(f *testing.F) {
	for _, mark := range []string{"106", "4R7K", "22R", "68X", "4µ7", "p47", "000"} {
		f.Add(mark)
	}
	f.Fuzz(func(t *testing.T, mark string) {
		readings, err := Read(mark)
		if (err == nil) == (len(readings) == 0) {
			t.Fatalf("%d readings and error %v", len(readings), err)
		}
		for _, r := range readings {
			if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || r.Value < 0 {
				t.Fatalf("%+v", r)
			}
		}
	})
}
