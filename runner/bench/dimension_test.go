package bench

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func TestDimensions(t *testing.T) {
	for _, test := range []struct {
		d    Dimension
		text string
		want float64
	}{
		{Capacitance, "14fF", 14e-15}, {Capacitance, "27 pF", 27e-12}, {Resistance, "300mohm", 0.3}, {Resistance, "1.2 kΩ", 1200}, {Resistance, "2Gohm", 2e9},
		{Inductance, "33.3 mH", 33.3e-3}, {Conductance, "1.09mS", 1.09e-3}, {Conductance, "25 mA/V", 25e-3},
		{Temperature, "-20C", -20}, {Relative, "50ppm", 50e-6}, {Relative, "1 %", 0.01}, {Frequency, "7.3728MHz", 7372800},
	} {
		if got, err := test.d.Parse(test.text); err != nil || math.Abs(got-test.want) > 1e-12*math.Abs(test.want) {
			t.Errorf("%s: %g, %v; want %g", test.text, got, err, test.want)
		}
	}
	for _, text := range []string{"", "27", "27 kg", "pF", "1e999 pF", "0x10pF"} {
		if v, err := Capacitance.Parse(text); err == nil {
			t.Errorf("%q was read as %g farads", text, v)
		}
	}
}

func TestValues(t *testing.T) {
	values, err := Values("net.toml", []byte("# a board\nR1 = \"40 ohm\"\n[load]\nCA = \"22 pF\"\n  CB = 22\n"))
	if len(values) != 2 || values[1].Key != "CA" || values[1].Text != "22 pF" || values[1].Position != (Position{"net.toml", 4, 6}) {
		t.Errorf("values %+v", values)
	}
	var bad *Errors
	if !errors.As(err, &bad) || len(*bad) != 1 || !strings.HasPrefix((*bad)[0].String(), "net.toml:5:8: load.CB: found the bare number 22") {
		t.Errorf("error %v", err)
	}
	if _, err := Values("net.toml", []byte("R1 = ")); err == nil || !strings.Contains(err.Error(), "net.toml:1:") {
		t.Errorf("not TOML: %v", err)
	}
}
