package metrics

import (
	"math"
	"strconv"
	"strings"
)

// longestLabel bounds free text (a script's path, a question) in runes; the logbook keeps it whole.
const longestLabel = 120

// clean makes free text fit for a label: the client library panics on a value that is not valid UTF-8.
func clean(text string) string {
	text = strings.ToValidUTF8(text, "\uFFFD")
	if runes := []rune(text); len(runes) > longestLabel {
		return string(runes[:longestLabel-1]) + "…"
	}
	return text
}

// voltsLabel writes a set voltage without trailing zeros: "2.4". Rounding to a tenth of a millivolt, as the tally does,
// keeps 0.1+0.2 from becoming a condition of its own.
func voltsLabel(volts float64) string {
	return strconv.FormatFloat(math.Round(volts*1e4)/1e4, 'f', -1, 64)
}

func runLabel(id int64) string {
	return strconv.FormatInt(id, 10)
}
