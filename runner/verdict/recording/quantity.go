package recording

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// units are what a quantity of a file may be written in, in lower case, with the
// factor to the SI unit. A prefix that differs only in case from another does
// not occur: nobody records megaseconds.
var (
	timeUnits = map[string]float64{
		"s": 1, "sec": 1, "second": 1, "seconds": 1, "ms": 1e-3, "msec": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "usec": 1e-6, "ns": 1e-9, "ps": 1e-12,
	}
	voltUnits = map[string]float64{
		"v": 1, "volt": 1, "volts": 1, "mv": 1e-3, "millivolt": 1e-3, "millivolts": 1e-3, "uv": 1e-6, "µv": 1e-6, "μv": 1e-6, "kv": 1e3,
	}
	ampUnits  = map[string]float64{"a": 1, "amp": 1, "amps": 1, "ampere": 1, "ma": 1e-3, "ua": 1e-6, "µa": 1e-6, "μa": 1e-6}
	rateUnits = map[string]float64{
		"hz": 1, "khz": 1e3, "mhz": 1e6, "ghz": 1e9, "s/s": 1, "sa/s": 1, "ks/s": 1e3, "ksa/s": 1e3, "ms/s": 1e6, "msa/s": 1e6, "gs/s": 1e9, "gsa/s": 1e9,
	}
)

// quantity reads "1.5 us" in the given units. Without a unit it is taken in the
// SI unit if bare allows that.
func quantity(text string, decimal byte, units map[string]float64, bare bool) (float64, error) {
	b := []byte(strings.TrimSpace(text))
	n, length := parse(b, decimal)
	if length == 0 {
		return 0, fmt.Errorf("%q, which is no number with a unit", text)
	}
	unit := strings.ToLower(strings.TrimSpace(string(b[length:])))
	if math.IsInf(n.value, 0) {
		return 0, errors.New("a number that is out of range")
	}
	if unit == "" && bare {
		return n.value, nil
	}
	factor, ok := units[unit]
	if !ok {
		return 0, fmt.Errorf("%q, whose unit %q is not known here", text, unit)
	}
	return scaled(n.value, factor), nil
}

// scaled multiplies; by a division where that keeps 65 ms at 0.065 to the last bit.
func scaled(v, factor float64) float64 {
	if factor < 1 {
		return v / math.Round(1/factor)
	}
	return v * factor
}

// unitOf looks a unit up among those of time and voltage.
func unitOf(text string) (factor float64, time, volts bool) {
	unit := strings.ToLower(strings.Trim(strings.TrimSpace(text), `"()[]`))
	unit = strings.TrimPrefix(unit, "in ")
	if f, ok := timeUnits[unit]; ok {
		return f, true, false
	}
	if f, ok := voltUnits[unit]; ok {
		return f, false, true
	}
	return 1, false, false
}
