package failrate

import "encoding/json"

// intervalRecord is an Interval as JSON has it.
type intervalRecord struct {
	Estimate   *float64 `json:"estimate"` // null with no cycles
	Low        float64  `json:"low"`
	High       float64  `json:"high"`
	Confidence float64  `json:"confidence"`
	OneSided   bool     `json:"one_sided"`
}

// MarshalJSON implements [json.Marshaler]; an estimate that is not measured is
// null.
func (iv Interval) MarshalJSON() ([]byte, error) {
	return json.Marshal(intervalRecord{nullable(iv.Estimate), iv.Low, iv.High, iv.Confidence, iv.OneSided})
}

// UnmarshalJSON implements [json.Unmarshaler].
func (iv *Interval) UnmarshalJSON(data []byte) error {
	var r intervalRecord
	if err := json.Unmarshal(data, &r); err != nil {
		return err
	}
	*iv = Interval{number(r.Estimate), r.Low, r.High, r.Confidence, r.OneSided}
	return nil
}
