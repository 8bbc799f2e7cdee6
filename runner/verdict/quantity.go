package verdict

import (
	"math"
	"strconv"
)

// si writes a quantity with three significant digits and an SI prefix, as a
// bench engineer would: 11.9 ms, 1.12 V, 80.0 mV.
func si(v float64, unit string) string { return engineering(v, 3, unit) }

// hertzText writes a frequency with the digits needed to see a wrong crystal.
func hertzText(v float64) string { return engineering(v, 5, "Hz") }

func engineering(v float64, digits int, unit string) string {
	prefixes := [...]string{"p", "n", "µ", "m", "", "k", "M", "G"}
	const unity = 4
	if v == 0 || !finite(v) {
		return strconv.FormatFloat(v, 'g', digits, 64) + " " + unit
	}
	// Round first, so that 999.96 mV becomes 1.00 V.
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	if err != nil {
		rounded = v
	}
	exponent := math.Floor(math.Log10(math.Abs(rounded)) + 1e-12)
	p := int(min(max(math.Floor(exponent/3), -unity), float64(len(prefixes)-1-unity)))
	decimals := max(0, digits-1-(int(exponent)-3*p))
	if decimals > 12 {
		return strconv.FormatFloat(v, 'g', digits, 64) + " " + unit
	}
	scaled := rounded / math.Pow(1000, float64(p))
	return strconv.FormatFloat(scaled, 'f', decimals, 64) + " " + prefixes[p+unity] + unit
}

func percent(v float64) string { return strconv.FormatFloat(100*v, 'g', 3, 64) + " %" }
