package marking

import (
	"fmt"
	"strings"
)

// Kind is the kind of part a reading is for.
type Kind string

// The kinds of part whose markings are read.
const (
	Resistor  Kind = "resistor"
	Capacitor Kind = "capacitor"
)

// Reading is what a marking means on one kind of part.
type Reading struct {
	Kind      Kind    `json:"kind"`
	Value     float64 `json:"value"`     // ohms or farads
	Unit      string  `json:"unit"`      // "ohm" or "F"
	Tolerance string  `json:"tolerance"` // "±5 %"; empty where the marking has none
	Code      string  `json:"code"`      // how it was read, for a person
}

// reader reads a marking by one code, or says that it is none.
type reader func(mark string) (Reading, bool)

// readers are tried all, in this order: the commonest meaning of a marking comes
// first for either kind.
var readers = []reader{
	resistorDigits, resistorLetter, resistorEIA96,
	capacitorDigits, capacitorLetter, capacitorPlain,
}

const longest = 6 // characters

// Read returns every reading of a marking. A marking that no code explains is an
// error that lists the forms there are. Blanks round it do not matter; capitals
// do: M is mega, m is not.
func Read(mark string) ([]Reading, error) {
	trimmed := strings.TrimSpace(mark)
	var readings []Reading
	if trimmed != "" && len(trimmed) <= longest {
		for _, read := range readers {
			if r, ok := read(trimmed); ok {
				readings = append(readings, r)
			}
		}
	}
	if len(readings) == 0 {
		return nil, fmt.Errorf("marking %q: no code explains it; read are 3 and 4 digits (106, 4992), R or another letter for the point (4R7, R047, 4k7, p47, 10n), "+
			"EIA-96 (01C, 68X), and a tolerance letter after these (104K)", mark)
	}
	return readings, nil
}

// digits returns s as a number when it is all digits and of that length.
func digits(s string, length int) (int, bool) {
	if len(s) != length {
		return 0, false
	}
	n := 0
	for _, r := range s {
		if r < '0' || r > '9' {
			return 0, false
		}
		n = 10*n + int(r-'0')
	}
	return n, true
}

// withPoint reads a number in which one of the letters stands for the decimal
// point, as in 4R7, R047 and 47R: the number and the letter.
func withPoint(s, letters string) (number float64, letter byte, ok bool) {
	at := strings.IndexAny(s, letters)
	if at < 0 || len(s) < 2 {
		return 0, 0, false
	}
	whole, part := s[:at], s[at+1:]
	if len(whole)+len(part) > 4 {
		return 0, 0, false
	}
	n, ok := digits(whole+part, len(whole)+len(part))
	return scaled(float64(n), -len(part)), s[at], ok
}
