package failrate

import (
	"fmt"
	"math"
)

// RestCounts is what the counted cycles after one rest showed.
type RestCounts struct {
	RestSeconds float64 // off before the start
	Counts      Counts
}

// RestEffect says whether the failure rate goes with the rest before the start.
type RestEffect struct {
	Trend    Trend    // along the logarithm of the rest
	OddsTen  Interval // factor on the odds of failing for a rest ten times as long
	Shortest RestCounts
	Longest  RestCounts
}

// RestTrend tests for a trend of the failure rate with the logarithm of the
// rest. It refuses fewer than two rests, no failures, and nothing but failures.
func RestTrend(rests []RestCounts, confidence float64) (RestEffect, error) {
	if err := checkConfidence(confidence); err != nil {
		return RestEffect{}, err
	}
	var scores []float64
	var groups []Counts
	var doses []Dose
	effect := RestEffect{Shortest: RestCounts{RestSeconds: math.Inf(1)}}
	for _, r := range rests {
		if !(r.RestSeconds > 0) || math.IsInf(r.RestSeconds, 1) {
			return RestEffect{}, refuse("rest", r.RestSeconds, "it is a number of seconds above 0")
		}
		x := math.Log10(r.RestSeconds)
		scores, groups, doses = append(scores, x), append(groups, r.Counts), append(doses, Dose{x, r.Counts})
		if r.Counts.Cycles == 0 {
			continue
		}
		if r.RestSeconds < effect.Shortest.RestSeconds {
			effect.Shortest = r
		}
		if r.RestSeconds > effect.Longest.RestSeconds {
			effect.Longest = r
		}
	}
	var err error
	if effect.Trend, err = TrendTest(scores, groups); err != nil {
		return RestEffect{}, err
	}
	fit, err := FitFirth(doses)
	if err != nil {
		return RestEffect{}, err
	}
	half := twoSidedZ(confidence) * fit.SlopeError
	effect.OddsTen = Interval{Estimate: math.Exp(fit.Slope), Low: math.Exp(fit.Slope - half), High: math.Exp(fit.Slope + half), Confidence: confidence}
	return effect, nil
}

// Sentence says the effect in words.
func (e RestEffect) Sentence() string {
	text := fmt.Sprintf("%s fail after %s s of rest, %s after %s s, %s", Percent(e.Shortest.Counts.Rate()), significant(e.Shortest.RestSeconds, 3),
		Percent(e.Longest.Counts.Rate()), significant(e.Longest.RestSeconds, 3), pValue(e.Trend.P))
	switch {
	case e.Trend.P >= 1-e.OddsTen.Confidence:
		return text + ": no effect of rest shown"
	case e.Trend.Slope > 0:
		return text + ": fails more often the longer it rests"
	}
	return text + ": fails more seldom the longer it rests"
}
