package failrate

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// pValue words a p-value: "p = 0.012", "p = 0.0004", "p below 1 in 10,000".
func pValue(p float64) string {
	switch {
	case p >= 0.0995:
		return fmt.Sprintf("p = %.2f", p)
	case p >= 1e-4:
		return "p = " + significant(p, 2)
	case p >= 1e-6:
		return "p below 1 in 10,000"
	}
	return "p below 1 in a million"
}

// roundTo rounds to so many significant digits.
func roundTo(x float64, digits int) float64 {
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return x
	}
	v, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', digits-1, 64), 64)
	if err != nil {
		return x
	}
	return v
}

// significant writes a number with so many significant digits, without an
// exponent.
func significant(x float64, digits int) string {
	return strconv.FormatFloat(roundTo(x, digits), 'f', -1, 64)
}

// milliseconds words a start time.
func milliseconds(seconds float64) string {
	if math.IsInf(seconds, 1) {
		return "later than the window"
	}
	return significant(seconds*1000, 3) + " ms"
}

// List joins names as English does: "a", "a and b", "a, b and c".
func List(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}
