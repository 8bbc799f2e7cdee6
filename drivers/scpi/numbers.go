package scpi

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

var (
	decimal    = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$`)
	integer    = regexp.MustCompile(`^[+-]?[0-9]+$`)
	nonDecimal = regexp.MustCompile(`^#([hH][0-9a-fA-F]+|[qQ][0-7]+|[bB][01]+)$`)
)

// Numbers with a meaning of their own (SCPI-99 volume 1 section 7.2.1.4-5).
const (
	notANumber = 9.91e37
	infinity   = 9.9e37
)

// ParseNumber reads a numeric reply: NR1, NR2, NR3 (IEEE 488.2 section 8.7),
// leniently as to exponents, or #H, #Q, #B. 9.91E37 is NaN and ±9.9E37 ±Inf,
// before anybody takes them for a measurement.
func ParseNumber(reply string) (float64, error) {
	s := strings.TrimSpace(reply)
	if nonDecimal.MatchString(s) {
		base := map[byte]int{'H': 16, 'Q': 8, 'B': 2}[s[1]&^0x20]
		if n, err := strconv.ParseUint(s[2:], base, 64); err == nil {
			return float64(n), nil
		}
	}
	if decimal.MatchString(s) {
		v, err := strconv.ParseFloat(s, 64)
		switch {
		case err != nil: // beyond a float64
		case near(v, notANumber):
			return math.NaN(), nil
		case near(v, infinity):
			return math.Inf(1), nil
		case near(v, -infinity):
			return math.Inf(-1), nil
		default:
			return v, nil
		}
	}
	switch strings.ToUpper(s) {
	case "NAN":
		return math.NaN(), nil
	case "INF", "INFINITY":
		return math.Inf(1), nil
	case "NINF", "NINFINITY":
		return math.Inf(-1), nil
	}
	return 0, fmt.Errorf("%w: %q is no number", ErrGarbled, shorten(reply))
}

// near allows for the few digits an instrument prints; 9.9 and 9.91 differ by
// a thousandth.
func near(v, want float64) bool { return math.Abs(v-want) <= 1e-5*math.Abs(want) }

// quantity is a number with a unit: an SI prefix may come before the letters of
// a unit, but a single letter is a unit and no prefix.
var quantity = regexp.MustCompile(`^([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(?:([GMkmunp]?)(V|v|A|a|W|S|s|Sa|Sa/s|S/s|SA|SA/S|pts|Hz|HZ|C|DEG C))?$`)

// prefixes are the SI prefixes that instruments print.
var prefixes = map[string]float64{"": 1, "G": 1e9, "M": 1e6, "k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}

// ParseQuantity reads a number that may be followed by a unit, with or without
// an SI prefix, as in 3.300V, 500MSa/s or 14Mpts, and returns it without prefix.
func ParseQuantity(reply string) (float64, error) {
	m := quantity.FindStringSubmatch(strings.TrimSpace(reply))
	if m == nil {
		return 0, fmt.Errorf("%w: %q is no number with a unit", ErrGarbled, shorten(reply))
	}
	v, err := ParseNumber(m[1])
	return v * prefixes[m[2]], err
}

// ParseNumbers reads numbers separated by commas.
func ParseNumbers(reply string) ([]float64, error) {
	fields := strings.Split(reply, ",")
	numbers := make([]float64, len(fields))
	for i, f := range fields {
		v, err := ParseNumber(f)
		if err != nil {
			return nil, fmt.Errorf("field %d of %d: %w", i+1, len(fields), err)
		}
		numbers[i] = v
	}
	return numbers, nil
}

// ParseBoolean reads 1, 0, ON or OFF.
func ParseBoolean(reply string) (bool, error) {
	switch s := strings.ToUpper(strings.TrimSpace(reply)); s {
	case "ON":
		return true, nil
	case "OFF":
		return false, nil
	default:
		if n, err := parseInteger(s); err == nil && (n == 0 || n == 1) {
			return n == 1, nil
		}
	}
	return false, fmt.Errorf("%w: %q is neither 1, 0, ON nor OFF", ErrGarbled, shorten(reply))
}

func parseInteger(s string) (int, error) {
	s = strings.TrimSpace(s)
	if !integer.MatchString(s) {
		return 0, fmt.Errorf("%w: %q is no whole number", ErrGarbled, shorten(s))
	}
	return strconv.Atoi(s)
}
