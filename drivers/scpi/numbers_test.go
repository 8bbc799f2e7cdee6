package scpi

import (
	"errors"
	"math"
	"testing"
)

// Forms and examples of IEEE 488.2 section 8.7 as instrument makers' programming
// manuals print them; 9.91E37 and 9.9E37 are SCPI-99's NaN and infinity.
func TestParseNumber(t *testing.T) {
	for _, c := range []struct {
		in   string
		want float64
	}{
		{"146", 146}, {"+146", 146}, {"-12345", -12345}, // NR1
		{"12.3", 12.3}, {"+1.2345", 1.2345}, {"-0.123", -0.123}, {"12.", 12}, {".5", 0.5}, // NR2
		{"1.23E+6", 1.23e6}, {"-1.23E-03", -1.23e-3}, {"1.23e6", 1.23e6}, {"1.23E6", 1.23e6}, {"1E3", 1e3}, // NR3
		{"+200", 200}, {"-56", -56}, {"+9.9E36", 9.9e36}, {" +1.2E+00 ", 1.2}, // NRf
		{"#HA2F", 2607}, {"#ha4e", 2638}, {"#Q62", 50}, {"#q15", 13}, {"#B01011", 11},
		{"9.91E37", math.NaN()}, {"+9.910000E+37", math.NaN()}, {"NAN", math.NaN()},
		{"9.9E37", math.Inf(1)}, {"9.9E+37", math.Inf(1)}, {"INF", math.Inf(1)},
		{"-9.9E37", math.Inf(-1)}, {"-9.90000E+37", math.Inf(-1)}, {"NINF", math.Inf(-1)},
	} {
		got, err := ParseNumber(c.in)
		if err != nil || got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("ParseNumber(%q) = %v, %v, want %v", c.in, got, err, c.want)
		}
	}
	for _, in := range []string{"", "-", ".", "1.2.3", "3.6V", "0x10", "1_000", "1E", "E3", "1,2", "#H", "#HG", "#Q8", "#B2", "#15HELLO", "infinite", "1e999", "OFF"} {
		if got, err := ParseNumber(in); !errors.Is(err, ErrGarbled) {
			t.Errorf("ParseNumber(%q) = %v, %v, want ErrGarbled", in, got, err)
		}
	}
}

func TestParseNumbers(t *testing.T) {
	got, err := ParseNumbers("1000,-1.000E-02, 9.91E37,#HFF")
	if err != nil || len(got) != 4 || got[0] != 1000 || got[1] != -0.01 || !math.IsNaN(got[2]) || got[3] != 255 {
		t.Errorf("got %v, %v", got, err)
	}
	for _, in := range []string{"", "1,,2", "1,x"} {
		if _, err := ParseNumbers(in); !errors.Is(err, ErrGarbled) {
			t.Errorf("ParseNumbers(%q): %v, want ErrGarbled", in, err)
		}
	}
}

func TestParseBoolean(t *testing.T) {
	for in, want := range map[string]bool{"1": true, "0": false, "+1": true, "ON": true, "off": false, " 1 ": true} {
		if got, err := ParseBoolean(in); err != nil || got != want {
			t.Errorf("ParseBoolean(%q) = %v, %v", in, got, err)
		}
	}
	for _, in := range []string{"", "2", "-1", "yes", "1.0", "+3.600000E+00"} {
		if got, err := ParseBoolean(in); !errors.Is(err, ErrGarbled) {
			t.Errorf("ParseBoolean(%q) = %v, %v, want ErrGarbled", in, got, err)
		}
	}
}

func FuzzParseNumber(f *testing.F) {
	for _, seed := range []string{"1", "-1.5E+3", "#HFF", "9.91E37", "1,2,3", "NINF"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := ParseNumber(s); err != nil && !errors.Is(err, ErrGarbled) {
			t.Fatalf("ParseNumber(%q) = %v, %v", s, v, err)
		}
		if v, err := ParseNumbers(s); err == nil && len(v) == 0 {
			t.Fatalf("ParseNumbers(%q) gave nothing without an error", s)
		}
		for name, parse := range map[string]func(string) error{
			"boolean":  func(s string) error { _, err := ParseBoolean(s); return err },
			"quantity": func(s string) error { _, err := ParseQuantity(s); return err },
			"entry":    func(s string) error { _, err := ParseInstrumentMessage(s); return err },
			"status":   func(s string) error { _, err := ParseErrorReply("*ESR?", s); return err },
		} {
			if err := parse(s); err != nil && !errors.Is(err, ErrGarbled) {
				t.Fatalf("%s %q: %v", name, s, err)
			}
		}
	})
}
