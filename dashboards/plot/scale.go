package plot

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// scale maps a range of values on a range of pixels, linearly.
type scale struct{ fromValue, toValue, fromPixel, toPixel float64 }

func (s scale) at(v float64) float64 {
	return s.fromPixel + (v-s.fromValue)/(s.toValue-s.fromValue)*(s.toPixel-s.fromPixel)
}

// inside is at, kept within the range: what lies beyond is drawn on the edge.
func (s scale) inside(v float64) float64 {
	return s.at(min(max(v, min(s.fromValue, s.toValue)), max(s.fromValue, s.toValue)))
}

// step is the smallest of 1, 2 or 5 times a power of ten that divides span into
// at most most parts.
func step(span float64, most int) float64 {
	raw := span / float64(most)
	power := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		// The slack keeps 0.3/3 from becoming 0.2.
		if m*power >= raw*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// ticks are the multiples of a step from low to high.
func ticks(low, high, step float64) []float64 {
	var all []float64
	// Adding nothing turns the negative zero that Ceil may give into zero.
	for i := math.Ceil(low/step-1e-9) + 0; i*step <= high+1e-9*step; i++ {
		all = append(all, i*step)
	}
	return all
}

// label words a tick with the decimals its step needs.
func label(v, step float64) string {
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	// Half a step above nothing is rounding, and is not to become "−0".
	if math.Abs(v) < step/2 {
		v = 0
	}
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if negative, ok := strings.CutPrefix(text, "-"); ok {
		return "−" + negative
	}
	return text
}

// clockSteps are the distances that ticks on a clock may have.
var clockSteps = []time.Duration{
	time.Second, 5 * time.Second, 15 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour,
	48 * time.Hour, 7 * 24 * time.Hour, 28 * 24 * time.Hour,
}

// clockTicks gives the round moments of the local day between from and to, at
// most that many.
func clockTicks(from, to time.Time, most int) (all []time.Time, step time.Duration) {
	step = clockSteps[len(clockSteps)-1]
	for _, s := range clockSteps {
		if to.Sub(from) <= time.Duration(most)*s {
			step = s
			break
		}
	}
	if step >= 24*time.Hour {
		days := int(step / (24 * time.Hour))
		for day := midnight(from); !day.After(to); day = day.AddDate(0, 0, days) {
			if !day.Before(from) {
				all = append(all, day)
			}
		}
		return all, step
	}
	// From each midnight anew: a day on which the clocks change has 23 or 25 hours.
	for day := midnight(from); !day.After(to); day = day.AddDate(0, 0, 1) {
		next := day.AddDate(0, 0, 1)
		for at := day; at.Before(next) && !at.After(to); at = at.Add(step) {
			if !at.Before(from) {
				all = append(all, at)
			}
		}
	}
	return all, step
}

func midnight(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())
}
