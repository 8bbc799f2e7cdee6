package runner

import (
	"context"
	"encoding/json"

	"ringup/runner/failrate"
)

// comparison is what a script sees of two treatments held against each other.
type comparison struct {
	Treatment  sideOfHunt `json:"treatment"`
	Against    sideOfHunt `json:"against"`
	Difference float64    `json:"difference"` // of the failure rates, treatment less against
	Low        float64    `json:"low"`
	High       float64    `json:"high"`
	Confidence float64    `json:"confidence"`
	P          float64    `json:"p"`
	Shown      bool       `json:"shown"`
	OddsRatio  *float64   `json:"odds_ratio"`
	Sentence   string     `json:"sentence"`
}

// callCompare needs no ordinal: it follows from the cycles before it.
func (s *Session) callCompare(_ context.Context, a struct {
	Treatment string   `json:"treatment"`
	Against   string   `json:"against"`
	Volts     *float64 `json:"volts"`
}) (json.RawMessage, error) {
	sample := func(treatment string) failrate.Sample {
		cycles := failrate.Sample{Name: treatment}
		for _, c := range s.counted {
			if (selection{a.Volts, &treatment}).match(c.Volts, c.Treatment) {
				cycles.Cycles = append(cycles.Cycles, c)
			}
		}
		return cycles
	}
	c, err := failrate.Compare(sample(a.Treatment), sample(a.Against), Confidence)
	if err != nil {
		return nil, err
	}
	side := func(n failrate.Counts, iv failrate.Interval, start float64) sideOfHunt {
		shown := sideOfHunt{Failures: n.Failures, Cycles: n.Cycles, Estimate: measured(iv.Estimate), Low: iv.Low, High: iv.High}
		if c.Start.Known {
			shown.MedianStart = measured(start)
		}
		return shown
	}
	answer := comparison{
		Treatment: side(c.A, c.RateA, c.Start.MedianA), Against: side(c.B, c.RateB, c.Start.MedianB),
		Difference: c.Difference.Estimate, Low: c.Difference.Low, High: c.Difference.High, Confidence: c.Difference.Confidence,
		P: c.P, Shown: c.P < 1-Confidence, Sentence: c.Sentence(),
	}
	if c.Comparable {
		answer.OddsRatio = measured(c.OddsRatio.Estimate)
	}
	return json.Marshal(answer)
}
