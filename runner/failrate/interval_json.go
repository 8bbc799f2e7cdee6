package failrate

import (
	"encoding/json"
	"math"
)

// intervalRecord is an Interval as JSON has it.
type intervalRecord struct {
	Estimate   *float64 `json:"estimate"` // null with no cycles
	Low        *float64 `json:"low"`      // null with no bound below
	High       *float64 `json:"high"`     // null with no bound above, as of some odds ratios
	Confidence float64  `json:"confidence"`
	OneSided   bool     `json:"one_sided"`
}

// MarshalJSON implements [json.Marshaler]; an estimate that is not measured
// is null, and so is a limit that is infinite.
func (iv Interval) MarshalJSON() ([]byte, error) {
	return json.Marshal(intervalRecord{nullable(iv.Estimate), nullable(iv.Low), nullable(iv.High), iv.Confidence, iv.OneSided})
}

// UnmarshalJSON implements [json.Unmarshaler].
func (iv *Interval) UnmarshalJSON(data []byte) error {
	var r intervalRecord
	if err := json.Unmarshal(data, &r); err != nil {
		return err
	}
	*iv = Interval{number(r.Estimate), math.Inf(-1), math.Inf(1), r.Confidence, r.OneSided}
	if r.Low != nil {
		iv.Low = *r.Low
	}
	if r.High != nil {
		iv.High = *r.High
	}
	return nil
}
