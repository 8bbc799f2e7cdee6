package scripts

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A unit turns a number written with it into SI: number * multiply / divide.
// Two whole numbers instead of one factor, because 3300/1000 is exactly the
// double 3.3 and 3300*0.001 is not.
type unit struct {
	symbol           string
	multiply, divide float64
}

var (
	voltUnits   = []unit{{"V", 1, 1}, {"mV", 1, 1e3}}
	secondUnits = []unit{{"s", 1, 1}, {"ms", 1, 1e3}, {"us", 1, 1e6}, {"µs", 1, 1e6}, {"min", 60, 1}, {"h", 3600, 1}}
	shareUnits  = []unit{{"%", 1, 100}}
)

// parseQuantity reads "3.3 V", "250 ms": a number, any blanks, and one of units.
func parseQuantity(text string, units []unit) (float64, error) {
	text = strings.TrimSpace(text)
	// The symbol is what follows the last digit or point.
	end := strings.LastIndexAny(text, "0123456789.") + 1
	number, symbol := text[:end], strings.TrimSpace(text[end:])
	at := slices.IndexFunc(units, func(u unit) bool { return u.symbol == symbol })
	value, err := strconv.ParseFloat(number, 64)
	if at < 0 || err != nil || !isPlainNumber(number) {
		return 0, fmt.Errorf("found %s; allowed: a number with one of the units %s", show(text), symbols(units))
	}
	return value * units[at].multiply / units[at].divide, nil
}

// isPlainNumber keeps out what ParseFloat takes and no person writes: "0x1p-2", "1_000", "inf".
func isPlainNumber(number string) bool {
	return strings.Trim(number, "0123456789.eE+-") == ""
}

func symbols(units []unit) string {
	var names []string
	for _, u := range units {
		names = append(names, u.symbol)
	}
	return strings.Join(names, ", ")
}

// round rounds to 1/perUnit. A script that counts 3.6, 3.5, … down in steps of
// 0.1 arrives at 3.3000000000000003; set-points must not split into two
// conditions over that.
func round(value, perUnit float64) float64 {
	return math.Round(value*perUnit) / perUnit
}

// show renders a value found in a script for an error message, cut to a length
// that a line can hold.
func show(value any) string {
	switch v := value.(type) {
	case nil:
		return "nothing"
	case string:
		const longest = 40
		if len(v) > longest {
			v = strings.ToValidUTF8(v[:longest], "") + "…"
		}
		return strconv.Quote(v)
	case float64:
		return number(v)
	case []any:
		return "a list"
	case map[string]any:
		return "a table"
	default:
		return fmt.Sprint(v)
	}
}
