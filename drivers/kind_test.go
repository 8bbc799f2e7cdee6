package drivers_test

import (
	"errors"
	"strings"
	"testing"

	"ringup/drivers"
	"ringup/drivers/dialect"
	"ringup/drivers/internal/fake"
)

// TestWrongKind opens a scope as a supply, also with the dialect that fits any
// supply named: nothing but the identity query may reach it.
func TestWrongKind(t *testing.T) {
	instrument, _ := fake.NewScope("OSC-1")
	wire := fake.Serve(t, instrument, "tcp")
	for _, name := range []string{"auto", "scpi99-supply"} {
		_, err := drivers.OpenSupply(t.Context(), drivers.Options{Address: wire.Address, Dialect: name})
		var wrong *dialect.WrongKindError
		if !errors.As(err, &wrong) || wrong.Is != dialect.Scope || wrong.Want != dialect.Supply {
			t.Fatalf("dialect %s: %v, want that this is a scope", name, err)
		}
		for _, part := range []string{"supply at " + wire.Address, "this is a scope (ringup,simulated oscilloscope,OSC-1,", "give the address of the supply"} {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%v\nlacks %q", err, part)
			}
		}
	}
	for _, sent := range instrument.Log() {
		if sent != "*IDN?" {
			t.Errorf("the scope was sent %q", sent)
		}
	}
}
