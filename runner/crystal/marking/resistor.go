package marking

import (
	"math"
	"strings"
)

// resistorTolerances are the tolerance letters of IEC 60062.
var resistorTolerances = map[byte]string{
	'B': "±0.1 %", 'C': "±0.25 %", 'D': "±0.5 %", 'F': "±1 %", 'G': "±2 %", 'J': "±5 %", 'K': "±10 %", 'M': "±20 %",
}

func resistor(ohms float64, tolerance, code string) (Reading, bool) {
	return Reading{Resistor, ohms, "ohm", tolerance, code}, true
}

// resistorDigits reads significant digits and a power of ten, in ohms: 103, 4992,
// and 0 to 000 for a link. A tolerance letter may follow.
func resistorDigits(mark string) (Reading, bool) {
	body, tolerance := cutTolerance(mark, resistorTolerances)
	if strings.Trim(body, "0") == "" && len(body) >= 1 && len(body) <= 4 {
		return resistor(0, tolerance, "link")
	}
	for _, length := range []int{3, 4} {
		if n, ok := digits(body, length); ok {
			return resistor(scaled(float64(n/10), n%10), tolerance, "digits and a power of ten, in ohms (IEC 60062)")
		}
	}
	return Reading{}, false
}

// resistorLetter reads a letter in place of the decimal point (IEC 60062): L milli,
// R ohms, K kilo, M mega, G giga. Makers also print a small k.
func resistorLetter(mark string) (Reading, bool) {
	read := func(body, tolerance string) (Reading, bool) {
		n, letter, ok := withPoint(body, "LRKkMG")
		if !ok || n == 0 {
			return Reading{}, false
		}
		power := map[byte]int{'L': -3, 'R': 0, 'K': 3, 'k': 3, 'M': 6, 'G': 9}[letter]
		return resistor(scaled(n, power), tolerance, "letter for the decimal point (IEC 60062)")
	}
	// 10M is ten megohms; only a letter after another letter is a tolerance.
	if r, ok := read(mark, ""); ok {
		return r, true
	}
	body, tolerance := cutTolerance(mark, resistorTolerances)
	return read(body, tolerance)
}

// eia96Powers are the multiplier letters of the EIA-96 code; some have two names.
var eia96Powers = map[byte]int{'Z': -3, 'Y': -2, 'R': -2, 'X': -1, 'S': -1, 'A': 0, 'B': 1, 'H': 1, 'C': 2, 'D': 3, 'E': 4, 'F': 5}

// resistorEIA96 reads a two-digit index into E96 and a multiplier letter: 68X is
// 49.9 ohms. E96 is round(100·10^(i/96)) throughout (IEC 60063).
func resistorEIA96(mark string) (Reading, bool) {
	if len(mark) != 3 {
		return Reading{}, false
	}
	index, ok := digits(mark[:2], 2)
	power, known := eia96Powers[mark[2]]
	if !ok || !known || index < 1 || index > 96 {
		return Reading{}, false
	}
	value := math.Round(100 * math.Pow(10, float64(index-1)/96))
	return resistor(scaled(value, power), "±1 %", "EIA-96: index into E96 and a multiplier letter")
}
