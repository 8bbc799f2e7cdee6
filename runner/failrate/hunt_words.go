package failrate

import (
	"fmt"
	"math"
	"strings"
)

// Sentence says the hunt in words: effect size first, p-value second, then what
// the other treatments showed. "C7 chilled: 41 % fail against 3 %, p = 0.0002; the
// other six treatments: no change seen".
func (h HuntResult) Sentence() string {
	var shown []string
	others := 0
	for _, s := range h.Suspects {
		if s.Shown {
			shown = append(shown, s.Sentence())
		} else {
			others++
		}
	}
	if len(shown) == 0 {
		return h.nothing()
	}
	text := strings.Join(shown, "; ") + h.clusters()
	switch others {
	case 0:
	case 1:
		text += "; the other treatment: no change seen"
	default:
		text += fmt.Sprintf("; the other %s treatments: no change seen", inWords(others))
	}
	return text
}

// Sentence says what one treatment showed, with p-values corrected for all
// comparisons of the hunt.
func (s Suspect) Sentence() string {
	text := fmt.Sprintf("%s: %s fail against %s, %s", s.Treatment, Percent(s.Treated.Rate()), Percent(s.Base.Rate()), pValue(s.FailureAdjusted))
	if s.Start.Known {
		text += fmt.Sprintf(", and the median start takes %s against %s", milliseconds(s.Start.MedianA), milliseconds(s.Start.MedianB))
		if r := s.Start.Ratio; r.Estimate > 0 && !math.IsInf(r.Estimate, 1) {
			text += fmt.Sprintf(", %s times as long", significant(r.Estimate, 2))
		}
		text += ", " + pValue(s.StartAdjusted)
	}
	if s.BaseMoved {
		text += " (the unit itself changed meanwhile, so it was held against before and after each)"
	}
	return text
}

// nothing says that nothing was shown, and what would have been: for every
// treatment, so by the comparison that saw least.
func (h HuntResult) nothing() string {
	text := "nothing was shown: no treatment changed the failure rate or the start time beyond chance" + h.clusters()
	// The least that every comparison would have shown; NaN when one would have
	// shown nothing at all.
	worst := Visible{StartRatio: math.NaN()}
	base := math.NaN()
	for _, s := range h.Suspects {
		v := s.Visible()
		if math.IsNaN(v.Rate) || v.Rate > worst.Rate {
			worst.Rate, base = v.Rate, s.Base.Rate()
		}
		if v.StartRatio > worst.StartRatio || math.IsNaN(worst.StartRatio) {
			worst.StartRatio = v.StartRatio
		}
	}
	var seen []string
	if !math.IsNaN(worst.Rate) {
		seen = append(seen, fmt.Sprintf("a failure rate of %s instead of %s", roughly(worst.Rate), roughly(base)))
	}
	if !math.IsNaN(worst.StartRatio) {
		seen = append(seen, fmt.Sprintf("start times %s times as long or as short", significant(worst.StartRatio, 2)))
	}
	if len(seen) == 0 {
		return text + "; with so few cycles no effect of any size would have been seen, so do more"
	}
	return text + "; " + strings.Join(seen, ", or ") + ", would have been seen four times in five"
}

// clusters says that the failures come in clusters, if they do.
func (h HuntResult) clusters() string {
	if !h.Clustered {
		return ""
	}
	return fmt.Sprintf(" (%s, it varies more from stretch to stretch than chance: p allows for that)", h.Base)
}

// roughly words a rate that was only estimated, with two digits of it.
func roughly(rate float64) string {
	if rate > 0.01 && rate < 0.99 {
		return significant(100*rate, 2) + " %"
	}
	return Percent(rate)
}

// inWords writes small numbers as words.
func inWords(n int) string {
	words := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}
	if n < len(words) {
		return words[n]
	}
	return Count(n)
}
