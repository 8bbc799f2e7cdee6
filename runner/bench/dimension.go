package bench

import (
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Dimension is a kind of quantity, for command lines and for files of quantities other than the bench file: the
// same forms and the same words in an error.
type Dimension struct{ d dimension }

// The dimensions of an oscillator's parts and of what is measured on it.
var (
	Voltage     = Dimension{voltage}
	Current     = Dimension{current}
	Frequency   = Dimension{frequency}
	Capacitance = Dimension{dimension{name: "a capacitance", units: prefixed("F", "f", "p", "n", "u"), example: `"27 pF"`}}
	Resistance  = Dimension{dimension{name: "a resistance", units: join(prefixed("ohm", "m", "k", "M", "G"), prefixed("Ω", "m", "k", "M", "G")), example: `"28 ohm"`}}
	Inductance  = Dimension{dimension{name: "an inductance", units: prefixed("H", "u", "m"), example: `"33.3 mH"`}}
	Conductance = Dimension{dimension{name: "a transconductance", units: join(prefixed("S", "u", "m"), map[string]float64{"A/V": 1, "mA/V": 1e-3, "uA/V": 1e-6, "µA/V": 1e-6}), example: `"1.09 mS"`}}
	Duration    = Dimension{duration}
	Temperature = Dimension{dimension{name: "a temperature", units: map[string]float64{"°C": 1, "degC": 1, "C": 1}, example: `"25 °C"`}}
	Relative    = Dimension{dimension{name: "a relative deviation", units: map[string]float64{"ppm": 1e-6, "%": 0.01}, example: `"50 ppm"`}}
)

// Parse reads "27 pF" as 27e-12. An error says what was found, to go after the word "found".
func (d Dimension) Parse(text string) (float64, error) { return d.d.parse(text) }

// Allowed says what is allowed: the dimension, an example and the range.
func (d Dimension) Allowed(low, high float64) string { return d.d.allowed(low, high) }

// Format writes a value in the unit that needs the fewest digits.
func (d Dimension) Format(v float64) string { return d.d.format(v) }

// Value is one key of a TOML file whose values are quantities in quotes, and where it stands.
type Value struct {
	Position // of the value
	Key      string
	Text     string
}

// Values reads a TOML file of quantities in quotes. Tables only group keys: their names are left out of Key. The
// error is *Errors, with every value that is none; the others are returned all the same.
func Values(name string, text []byte) ([]Value, error) {
	entries, _, err := document(name, text)
	if err != nil {
		return nil, err
	}
	var (
		values   []Value
		problems Errors
	)
	for _, e := range entries {
		at := Position{name, e.line, e.column}
		if e.kind != unstable.String {
			what := found(e).Error()
			if e.kind == unstable.Integer || e.kind == unstable.Float {
				what = fmt.Sprintf("the bare number %s, whose unit would be a guess", e.text)
			}
			problems = append(problems, Problem{at, e.key, what, `a quantity with its unit in quotes, like "27 pF"`})
			continue
		}
		values = append(values, Value{at, lastKey(e.key), e.text})
	}
	if len(problems) > 0 {
		return values, &problems
	}
	return values, nil
}

func lastKey(dotted string) string {
	for i := len(dotted) - 1; i >= 0; i-- {
		if dotted[i] == '.' {
			return dotted[i+1:]
		}
	}
	return dotted
}
