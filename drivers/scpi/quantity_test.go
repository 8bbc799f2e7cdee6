package scpi

import (
	"errors"
	"math"
	"testing"
)

// Replies with units as scopes' and supplies' guides print them.
func TestParseQuantity(t *testing.T) {
	for in, want := range map[string]float64{
		"3.300V": 3.3, "0.150A": 0.15, "500MSa/s": 5e8, "1.00GSa/s": 1e9, "500.0kSa/s": 5e5, "14Mpts": 14e6, "700pts": 700, "7.00E+05": 7e5,
		"5.00E-01V": 0.5, "-5.00E-01V": -0.5, "1.00E-02S": 0.01, "20mV": 0.02, "50us": 50e-6, "2ns": 2e-9, "12pS": 12e-12, " 7.37E+06Hz ": 7.37e6, "1 kHz": 1e3,
		"21.5C": 21.5, "+3.3": 3.3, ".5V": 0.5,
	} {
		if got, err := ParseQuantity(in); err != nil || math.Abs(got-want) > 1e-12*math.Abs(want) {
			t.Errorf("%q = %v, %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"", "V", "3.3X", "3.3 m", "3.3M", "3.3VV", "3,3V", "1e", "--1V", "3.3V,1", "0x10V", "****", "1E999V"} {
		if got, err := ParseQuantity(in); !errors.Is(err, ErrGarbled) {
			t.Errorf("%q = %v, %v, want ErrGarbled", in, got, err)
		}
	}
	if got, err := ParseQuantity("9.91E37V"); err != nil || !math.IsNaN(got) {
		t.Errorf("not a number = %v, %v", got, err)
	}
}
