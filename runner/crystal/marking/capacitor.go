package marking

// capacitorTolerances are the tolerance letters of EIA-198 for 10 pF and more;
// B, C and D are in picofarads at any value.
var capacitorTolerances = map[byte]string{
	'B': "±0.1 pF", 'C': "±0.25 pF", 'D': "±0.5 pF", 'F': "±1 %", 'G': "±2 %", 'J': "±5 %", 'K': "±10 %", 'M': "±20 %", 'Z': "+80 −20 %",
}

// smallTolerances are the letters that mean picofarads below 10 pF.
var smallTolerances = map[string]string{"±1 %": "±1 pF", "±2 %": "±2 pF"}

func capacitor(picofarads float64, tolerance, code string) (Reading, bool) {
	if small, ok := smallTolerances[tolerance]; ok && picofarads < 10 {
		tolerance = small
	}
	return Reading{Capacitor, scaled(picofarads, -12), "F", tolerance, code}, picofarads > 0
}

// capacitorDigits reads two digits and a power of ten, in picofarads: 106 is
// 10 µF. The last digits 8 and 9 mean hundredths and tenths: 479 is 4.7 pF.
func capacitorDigits(mark string) (Reading, bool) {
	body, tolerance := cutTolerance(mark, capacitorTolerances)
	n, ok := digits(body, 3)
	if !ok {
		return Reading{}, false
	}
	power := n % 10
	switch power {
	case 7:
		return Reading{}, false // 100 µF and more: not in this code
	case 8, 9:
		power -= 10
	}
	return capacitor(scaled(float64(n/10), power), tolerance, "two digits and a power of ten, in picofarads (EIA-198)")
}

// capacitorLetter reads a letter in place of the decimal point: p pico, n nano,
// u or µ micro (IEC 60062), and R for picofarads on small ceramic parts.
func capacitorLetter(mark string) (Reading, bool) {
	body, tolerance := cutTolerance(plainMicro(mark), capacitorTolerances)
	n, letter, ok := withPoint(body, "Rpnu")
	if !ok {
		return Reading{}, false
	}
	code := "letter for the decimal point (IEC 60062)"
	if letter == 'R' {
		code = "R for the decimal point, in picofarads"
	}
	return capacitor(scaled(n, map[byte]int{'R': 0, 'p': 0, 'n': 3, 'u': 6}[letter]), tolerance, code)
}

// capacitorPlain reads the value itself in picofarads. One and two digits can be
// nothing else; three that end in 0 can be, and some makers of ceramic discs do
// print 220 for 220 pF.
func capacitorPlain(mark string) (Reading, bool) {
	body, tolerance := cutTolerance(mark, capacitorTolerances)
	const code = "the value itself, in picofarads"
	for length := 1; length <= 2; length++ {
		if n, ok := digits(body, length); ok {
			return capacitor(float64(n), tolerance, code)
		}
	}
	if n, ok := digits(body, 3); ok && n%10 == 0 && n >= 100 {
		return capacitor(float64(n), tolerance, code+", as some makers print it")
	}
	return Reading{}, false
}
