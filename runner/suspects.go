package runner

import (
	"encoding/json"
	"math"

	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// LeastStartRatio is the factor by which a treatment has to move the start time to count. A sound unit's moves, too:
// its microcontroller, chilled to -25 °C or warmed to 60 °C, drives the crystal better or worse, by up to 1.32 between
// 2.2 and 3.6 V. Nearer to the voltage at which a sound unit stops starting it is more, and no hunt belongs there.
const LeastStartRatio = 1.35

// Hunt is what the treatments of a run did to failure rate and start time, against the unit as found before and after
// each.
type Hunt struct {
	failrate.HuntResult
}

// RankTreatments compares every treatment with the cycles as found around it and ranks the treatments, the surest
// change first. cycles are counted ones in the order they were done. Its error is a *failrate.InputError: there is
// nothing to compare.
func RankTreatments(cycles []failrate.Cycle) (Hunt, error) {
	h, err := failrate.Hunt(cycles, failrate.HuntOptions{Base: AsFound, Confidence: Confidence, LeastStartRatio: LeastStartRatio})
	return Hunt{HuntResult: h}, err
}

// sideOfHunt is one side of a comparison as JSON has it.
type sideOfHunt struct {
	Failures    int      `json:"failures"`
	Cycles      int      `json:"cycles"`
	Estimate    *float64 `json:"estimate"`
	Low         float64  `json:"low"`
	High        float64  `json:"high"`
	MedianStart *float64 `json:"start_seconds_median"`
}

// Suspect is one treatment of a hunt as JSON has it.
type Suspect struct {
	Treatment   string     `json:"treatment"`
	Shown       bool       `json:"shown"`
	Adjusted    float64    `json:"p_adjusted"`
	P           float64    `json:"p"`
	StartP      *float64   `json:"p_start"`
	Treated     sideOfHunt `json:"treated"`
	AsFound     sideOfHunt `json:"as_found"`
	StartRatio  *float64   `json:"start_ratio"`
	BaseMoved   bool       `json:"base_moved"`
	Sentence    string     `json:"sentence"`
	VisibleRate *float64   `json:"visible_rate"`        // failure rate that would have been seen four times in five
	VisibleTime *float64   `json:"visible_start_ratio"` // factor on the start time, the same
}

// List is the ranking, the surest change first.
func (h Hunt) List() []Suspect {
	list := []Suspect{}
	for _, s := range h.Suspects {
		side := func(c failrate.Counts, iv failrate.Interval, start float64) sideOfHunt {
			return sideOfHunt{c.Failures, c.Cycles, measured(iv.Estimate), iv.Low, iv.High, measured(start)}
		}
		a, b := s.Start.MedianA, s.Start.MedianB
		ratio := measured(s.Start.Ratio.Estimate)
		if !s.Start.Known {
			a, b, ratio = math.NaN(), math.NaN(), nil
		}
		v := s.Visible()
		list = append(list, Suspect{
			Treatment: s.Treatment, Shown: s.Shown, Adjusted: s.Adjusted, P: s.FailureP, StartP: measured(s.StartP),
			Treated: side(s.Treated, s.RateA, a), AsFound: side(s.Base, s.RateB, b), StartRatio: ratio, BaseMoved: s.BaseMoved,
			Sentence: s.Sentence(), VisibleRate: measured(v.Rate), VisibleTime: measured(v.StartRatio),
		})
	}
	return list
}

// MarshalJSON implements [json.Marshaler].
func (h Hunt) MarshalJSON() ([]byte, error) {
	notCompared := h.NotCompared
	if notCompared == nil {
		notCompared = []string{}
	}
	return json.Marshal(struct {
		Shown       bool      `json:"shown"`
		Suspects    []Suspect `json:"suspects"`
		Comparisons int       `json:"comparisons"`
		Clustered   bool      `json:"clustered"`
		NotCompared []string  `json:"not_compared"`
		Sentence    string    `json:"sentence"`
	}{h.Shown, h.List(), h.Comparisons, h.Clustered, notCompared, h.Sentence()})
}

// CountedCycle is a cycle as comparisons see it; ok is false for one that is not counted.
func CountedCycle(c logbook.Cycle) (counted failrate.Cycle, ok bool) {
	return failrate.Cycle{
		Treatment: c.Treatment, Volts: c.SetVolts, Failed: c.Verdict.Failed(),
		StartSeconds: above0(c.StartSeconds), GrowthSeconds: above0(c.GrowthSeconds),
		WatchSeconds: c.WatchSeconds, RestSeconds: c.RestSeconds,
	}, c.Verdict.Counted()
}

// above0 keeps a time that a coarse record shows as none above 0; NaN stays NaN.
func above0(seconds float64) float64 { return math.Max(seconds, 1e-9) }
