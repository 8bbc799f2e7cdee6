package runner

import (
	"context"
	"encoding/json"
	"math"

	"ringup/runner/failrate"
)

// thresholdArguments are those of a search for the voltage with a given failure rate.
type thresholdArguments struct {
	Title  string   `json:"title"`
	Rate   float64  `json:"rate"`
	Low    float64  `json:"low"`
	High   float64  `json:"high"`
	Step   float64  `json:"step"`
	Cycles int      `json:"cycles"`
	Width  *float64 `json:"width"`
	Rest   *float64 `json:"rest"`
	Watch  *float64 `json:"watch"`
}

func toMicrovolt(volts float64) float64 { return math.Round(volts*1e6) / 1e6 }

// callThreshold does each cycle at the voltage whose outcome tells most. The voltages follow from the outcomes alone, so
// a resumed search takes the same way.
func (s *Session) callThreshold(ctx context.Context, a thresholdArguments) (json.RawMessage, error) {
	if err := s.allowed(a.High); err != nil {
		return nil, err
	}
	search, err := failrate.NewSearch(failrate.SearchOptions{LowVolts: a.Low, HighVolts: a.High, StepVolts: a.Step, Rate: a.Rate})
	if err != nil {
		return nil, err
	}
	s.plan(a.Cycles)
	notCounted := 0
	for done := 1; done <= a.Cycles; done++ {
		// A microvolt is less than any supply sets, and keeps what is recorded short.
		raw, err := s.cycle(ctx, s.condition(cycleArguments{toMicrovolt(search.Next()), a.Rest, a.Watch}))
		if err != nil {
			return nil, err
		}
		o, err := recordedObservation(raw)
		if err != nil {
			return nil, err
		}
		if !o.Counted {
			notCounted++
			continue
		}
		if err := search.Add(o.Volts, o.Failed); err != nil {
			return nil, err
		}
		if e, err := search.Estimate(Confidence); err != nil {
			return nil, err
		} else if a.Width != nil && e.Volts.High-e.Volts.Low <= *a.Width {
			s.plan(done - a.Cycles)
			break
		}
	}
	e, err := search.Estimate(Confidence)
	if err != nil {
		return nil, err
	}
	return json.Marshal(struct {
		Rate       float64 `json:"rate"`
		Volts      float64 `json:"volts"`
		Low        float64 `json:"low"`
		High       float64 `json:"high"`
		Confidence float64 `json:"confidence"`
		Edge       bool    `json:"edge"`
		Cycles     int     `json:"cycles"`
		Failures   int     `json:"failures"`
		NotCounted int     `json:"not_counted"`
		Sentence   string  `json:"sentence"`
	}{e.Rate, e.Volts.Estimate, e.Volts.Low, e.Volts.High, e.Volts.Confidence, e.Edge, e.Counts.Cycles, e.Counts.Failures, notCounted, e.Sentence()})
}
