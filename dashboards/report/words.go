package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"ringup/runner/failrate"
)

// percent words a rate with the digits a person can use.
func percent(rate float64) string {
	p := 100 * rate
	switch {
	case math.IsNaN(p):
		return "–"
	case p == 0 || p == 100:
		return strconv.FormatFloat(p, 'f', 0, 64) + " %"
	case p >= 1 && p < 99.95:
		return strconv.FormatFloat(p, 'f', 1, 64) + " %"
	case p >= 99.95:
		return strconv.FormatFloat(p, 'f', 2, 64) + " %"
	case p < 0.001:
		return "under 0.001 %"
	case p < 0.1:
		return strconv.FormatFloat(p, 'f', 3, 64) + " %"
	}
	return strconv.FormatFloat(p, 'f', 2, 64) + " %"
}

// unbroken keeps a number and its unit on one line.
var unbroken = strings.NewReplacer(" %", "\u00a0%", " V", "\u00a0V", " ms", "\u00a0ms")

// interval words the bounds of a rate; a one-sided one has only one.
func interval(c failrate.Condition) string {
	if c.Cycles == 0 {
		return "–"
	}
	return c.Bounds(percent)
}

// milliseconds words a start time to three digits; one that is not known is a dash.
func milliseconds(seconds float64) string {
	if math.IsNaN(seconds) || math.IsInf(seconds, 0) {
		return "–"
	}
	return threeDigits(1e3*seconds) + " ms"
}

// threeDigits keeps the noughts at the end, so that numbers in a column compare.
func threeDigits(v float64) string {
	if math.Abs(v) >= 999.5 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strings.TrimSuffix(fmt.Sprintf("%#.3g", v), ".")
}

// start words a median start time that may not be known.
func start(seconds *float64) string {
	if seconds == nil {
		return "–"
	}
	return milliseconds(*seconds)
}

// seconds words a set time with the unit that suits it, "" if it was not set.
func seconds(s float64) string {
	switch {
	case math.IsNaN(s):
		return ""
	case s != 0 && s < 1:
		return fmt.Sprintf("%.4g ms", 1e3*s)
	case s >= 3600:
		return fmt.Sprintf("%.4g h", s/3600)
	case s >= 120:
		return fmt.Sprintf("%.4g min", s/60)
	}
	return fmt.Sprintf("%.4g s", s)
}

// volts words a set voltage as an engineer does: with one decimal at least.
func volts(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	text := strconv.FormatFloat(v, 'g', 4, 64)
	if !strings.Contains(text, ".") {
		text += ".0"
	}
	return text + " V"
}

// probability words a p-value.
func probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return "–"
	case p < 1e-4:
		return "< 0.0001"
	case p < 0.1:
		return fmt.Sprintf("%.2g", p)
	}
	return fmt.Sprintf("%.2f", p)
}

func moment(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return "–"
	}
	return t.In(zone).Format("Mon 2 Jan 2006 15:04:05 MST")
}

func lasted(d time.Duration) string {
	switch {
	case d >= time.Hour:
		return fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60)
	case d >= time.Minute:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%.0f s", d.Seconds())
}
