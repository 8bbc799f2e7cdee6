package failrate

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ParseConfidence reads a confidence: "95 %", "95%" or "0.95". A bare number of 1
// or more is refused, because 1 might be 1 % or certainty. The error is an
// [*InputError].
func ParseConfidence(text string) (float64, error) {
	confidence, err := parseShare("confidence", text, "0.95 or 95 %")
	if err != nil {
		return 0, err
	}
	if checkConfidence(confidence) != nil {
		return 0, refuse("confidence", strconv.Quote(text), "it lies above 0 % and below 100 %; write 0.95 or 95 %")
	}
	return confidence, nil
}

// ParseRate reads a failure rate from 0 to 1: "1 %", "0.1%" or "0.01". A bare number
// above 1 is refused. The error is an [*InputError].
func ParseRate(text string) (float64, error) {
	rate, err := parseShare("rate", text, "0.01 or 1 %")
	if err != nil {
		return 0, err
	}
	if !(rate >= 0 && rate <= 1) {
		return 0, refuse("rate", strconv.Quote(text), "it lies from 0 % to 100 %; write 0.01 or 1 %")
	}
	return rate, nil
}

// parseShare reads a number, or a percentage.
func parseShare(what, text, example string) (float64, error) {
	digits, percentage := strings.CutSuffix(strings.TrimSpace(text), "%")
	digits = strings.TrimSpace(digits)
	v, err := strconv.ParseFloat(digits, 64)
	switch {
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0):
		return 0, refuse(what, strconv.Quote(text), "it is a number such as "+example)
	case percentage:
		return v / 100, nil
	case v > 1:
		return 0, refuse(what, strconv.Quote(text), fmt.Sprintf("a number without %% lies between 0 and 1; for %s %% write \"%s %%\"", digits, digits))
	}
	return v, nil
}

// Percent words a rate with three digits, "0.25 %". What is not measured is a
// dash. A rate above 0 is never "0 %", and one below 1 only "100 %" where a float64
// of the percentage is.
func Percent(rate float64) string { return percentage(rate, math.Round) }

// percentUp words a rate that is a limit from above, percentDown one from below.
// They round away from the estimate, so that the words claim no more than the
// number.
func percentUp(rate float64) string   { return percentage(rate, math.Ceil) }
func percentDown(rate float64) string { return percentage(rate, math.Floor) }

func percentage(rate float64, round func(float64) float64) string {
	switch {
	case math.IsNaN(rate):
		return "–"
	case rate <= 0:
		return "0 %"
	case rate >= 1:
		return "100 %"
	}
	p := 100 * rate
	switch {
	case p < 1e-9:
		return strconv.FormatFloat(p, 'e', 1, 64) + " %"
	case 100-p < 1e-9:
		return strconv.FormatFloat(p, 'f', -1, 64) + " %"
	}
	// Three digits of what is rarer: failures or successes.
	decimals := max(0, 2-int(math.Floor(math.Log10(min(p, 100-p)))))
	scale := math.Pow10(decimals)
	steps := p * scale
	if near := math.Round(steps); math.Abs(steps-near) < 1e-9*near {
		steps = near // 7 % in binary is 7.000000000000001 %
	}
	text := strconv.FormatFloat(round(steps)/scale, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text + " %"
}

// Count words a number with its thousands apart.
func Count(n int) string {
	text := strconv.Itoa(n)
	for i := len(text) - 3; i > 0 && text[i-1] != '-'; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

// counted words a number of things: "no failure", "1 failure", "2,995 cycles".
func counted(n int, thing string) string {
	switch n {
	case 0:
		return "no " + thing
	case 1:
		return "1 " + thing
	}
	return Count(n) + " " + thing + "s"
}
