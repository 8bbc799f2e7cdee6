package dialect

import (
	"math"
	"strings"
	"testing"
)

func TestRender(t *testing.T) {
	settings := Settings{"volts": 3.3, "negative": -0.00015, "points": 4096, "on": 1, "off": 0, "window": 80e-3, "nan": math.NaN(), "inf": math.Inf(1)}
	for _, c := range []struct{ in, want string }{
		{"OUTPut?", "OUTPut?"},
		{"SOURce:VOLTage {volts:.4f}", "SOURce:VOLTage 3.3000"},
		{"VOLT {volts:.0f};CURR {negative:.4f}", "VOLT 3;CURR -0.0001"},
		{"OFFS {negative:.2e}", "OFFS -1.50E-04"},
		{"SWEep:TIME {window:.9e}", "SWEep:TIME 8.000000000E-02"},
		{"POINts {points:d}", "POINts 4096"},
		{"OUTP{points:d} {on:ON|OFF},{off:ON|OFF}", "OUTP4096 ON,OFF"},
	} {
		tp, err := parseTemplate(c.in)
		if err != nil {
			t.Errorf("%q: %v", c.in, err)
			continue
		}
		if got, err := tp.render(settings); err != nil || got != c.want {
			t.Errorf("%q renders as %q, %v, want %q", c.in, got, err, c.want)
		}
	}
	for in, reason := range map[string]string{
		"{nan:.4f}": "finite", "{inf:.4f}": "finite", "{nan:ON|OFF}": "finite", "{volts:d}": "whole", "{ohms:.4f}": "no value",
	} {
		tp, err := parseTemplate(in)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := tp.render(settings); err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("%q renders as %q, %v, want an error that says %q", in, got, err, reason)
		}
	}
	for _, in := range []string{"", " ", "A\n", "VOLT {volts}", "VOLT {volts:}", "VOLT {volts:.4g}", "VOLT {volts:.123f}", "VOLT {Volts:.4f}", "VOLT {volts:.4f", "VOLT }", "VOLT {a:ON|OFF|X}", "VÖLT"} {
		if _, err := parseTemplate(in); err == nil {
			t.Errorf("template %q was accepted", in)
		}
	}
}
