package failrate

import (
	"encoding/json"
	"math"
)

// Condition is what the cycles at one condition showed. In JSON a NaN is null,
// both ways.
type Condition struct {
	Volts     float64 // set voltage; NaN where several are pooled
	Treatment string
	Cycles    int // counted cycles
	Failures  int

	Estimate, Low, High float64 // failure rate and its interval; see [Interval]
	Confidence          float64
	OneSided            bool

	Verdicts           map[string]int // every cycle, the not counted ones too
	StartSecondsMedian float64        // counted cycles, censored ones last; NaN when the median is censored
	NotCounted         int            // unpowered or unread cycles
}

// record is a Condition as JSON has it.
type record struct {
	Volts              *float64       `json:"volts"`
	Treatment          string         `json:"treatment"`
	Cycles             int            `json:"cycles"`
	Failures           int            `json:"failures"`
	Estimate           *float64       `json:"estimate"`
	Low                *float64       `json:"low"`
	High               *float64       `json:"high"`
	Confidence         *float64       `json:"confidence"`
	OneSided           bool           `json:"one_sided"`
	Verdicts           map[string]int `json:"verdicts"`
	StartSecondsMedian *float64       `json:"start_seconds_median"`
	NotCounted         int            `json:"not_counted"`
}

// Bounds words the interval of the rate, "3 % to 5 %"; a one-sided one has one
// bound, "below 1 %". percent words a rate, as [Percent] does; one cycle at least
// is counted.
func (c Condition) Bounds(percent func(float64) string) string {
	switch {
	case c.OneSided && c.Failures == 0:
		return "below " + percent(c.High)
	case c.OneSided:
		return "above " + percent(c.Low)
	}
	return percent(c.Low) + " to " + percent(c.High)
}

// MarshalJSON implements [json.Marshaler]. A struct that embeds a Condition
// would inherit it and lose its own fields, so hold a Condition in a named field.
func (c Condition) MarshalJSON() ([]byte, error) {
	verdicts := c.Verdicts
	if verdicts == nil {
		verdicts = map[string]int{}
	}
	return json.Marshal(record{
		nullable(c.Volts), c.Treatment, c.Cycles, c.Failures,
		nullable(c.Estimate), nullable(c.Low), nullable(c.High), nullable(c.Confidence), c.OneSided,
		verdicts, nullable(c.StartSecondsMedian), c.NotCounted,
	})
}

// UnmarshalJSON implements [json.Unmarshaler].
func (c *Condition) UnmarshalJSON(data []byte) error {
	var r record
	if err := json.Unmarshal(data, &r); err != nil {
		return err
	}
	*c = Condition{
		number(r.Volts), r.Treatment, r.Cycles, r.Failures,
		number(r.Estimate), number(r.Low), number(r.High), number(r.Confidence), r.OneSided,
		r.Verdicts, number(r.StartSecondsMedian), r.NotCounted,
	}
	return nil
}

func nullable(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func number(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}
