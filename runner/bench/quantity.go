package bench

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// dimension is a kind of quantity and the units it may be written in.
type dimension struct {
	name    string
	units   map[string]float64 // factor to the SI unit
	example string
}

var (
	voltage     = dimension{name: "a voltage", units: prefixed("V", "m", "k"), example: `"3.6 V"`}
	current     = dimension{name: "a current", units: prefixed("A", "m", "u"), example: `"150 mA"`}
	frequency   = dimension{name: "a frequency", units: prefixed("Hz", "k", "M"), example: `"7.3728 MHz"`}
	capacitance = dimension{name: "a capacitance", units: prefixed("F", "p", "n", "u"), example: `"12 pF"`}
	resistance  = dimension{name: "a resistance", units: join(prefixed("ohm", "k", "M"), prefixed("Ω", "k", "M")), example: `"10 Mohm"`}
	duration    = dimension{name: "a time", units: join(prefixed("s", "m", "u"), map[string]float64{"min": 60, "h": 3600}), example: `"65 ms"`}
	temperature = dimension{name: "a temperature", units: map[string]float64{"°C": 1, "degC": 1}, example: `"-4 °C"`}
	fraction    = dimension{name: "a percentage", units: map[string]float64{"%": 0.01}, example: `"1 %"`}
)

var prefixFactor = map[string]float64{"f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1, "k": 1e3, "M": 1e6, "G": 1e9}

func prefixed(unit string, prefixes ...string) map[string]float64 {
	units := map[string]float64{unit: 1}
	for _, p := range prefixes {
		units[p+unit] = prefixFactor[p]
		if p == "u" {
			units["µ"+unit] = 1e-6
		}
	}
	return units
}

func join(a, b map[string]float64) map[string]float64 {
	maps.Copy(a, b)
	return a
}

// lookalikes are what typeset text has in the place of what a keyboard types.
var lookalikes = strings.NewReplacer("\u00a0", " ", "\u2009", " ", "\u202f", " ", "\u2212", "-", "\u03bc", "µ", "\u2126", "Ω")

var decimalComma = regexp.MustCompile(`\d,\d`)

var quantityForm = regexp.MustCompile(`^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S*)\s*$`)

// parse reads "7.3728 MHz" as 7372800. Errors say what was found, in the words of Problem.Found.
func (d dimension) parse(text string) (float64, error) {
	if decimalComma.MatchString(text) {
		return 0, fmt.Errorf("%q, which has a comma where a point is wanted", text)
	}
	m := quantityForm.FindStringSubmatch(lookalikes.Replace(text))
	if m == nil {
		return 0, fmt.Errorf("%q, which is no number with a unit", text)
	}
	if m[2] == "" {
		return 0, fmt.Errorf("%q without a unit", text)
	}
	factor, ok := d.units[m[2]]
	if !ok {
		return 0, fmt.Errorf("%q, whose unit %q is none of %s", text, m[2], strings.Join(d.names(), ", "))
	}
	number, err := strconv.ParseFloat(m[1], 64)
	if err != nil || math.IsInf(number, 0) {
		return 0, fmt.Errorf("%q, which is out of range", text)
	}
	if factor < 1 {
		// Dividing by the exact power of ten keeps 65 ms at 0.065 to the last bit.
		return number / math.Round(1/factor), nil
	}
	return number * factor, nil
}

// allowed describes the dimension for an error: what it is, its range and an example.
func (d dimension) allowed(low, high float64) string {
	text := d.name + " with its unit, like " + d.example
	if !math.IsInf(low, 0) || !math.IsInf(high, 0) {
		text += fmt.Sprintf(", from %s to %s", d.format(low), d.format(high))
	}
	return text
}

// names lists the units, the smallest first; of prefixed ones with two spellings that which every keyboard has.
func (d dimension) names() []string {
	second := func(unit string) bool { return strings.ContainsAny(unit, "µΩ") && unit != "Ω" }
	units := slices.DeleteFunc(slices.Collect(maps.Keys(d.units)), second)
	slices.SortFunc(units, func(a, b string) int { return cmp.Or(cmp.Compare(d.units[a], d.units[b]), cmp.Compare(a, b)) })
	return units
}

// format writes a value in the unit of the dimension that needs the fewest digits.
func (d dimension) format(v float64) string {
	best := ""
	for _, unit := range d.names() {
		text := strconv.FormatFloat(v/d.units[unit], 'g', 10, 64) + " " + unit
		if best == "" || len(text) < len(best) || len(text) == len(best) && text < best {
			best = text
		}
	}
	return best
}
