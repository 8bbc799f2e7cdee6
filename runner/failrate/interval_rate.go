package failrate

import "fmt"

// Rate is a failure rate as it is shown: never without its interval, and never
// without the cycles that could not be counted.
type Rate struct {
	Failures   int      `json:"failures"`
	Cycles     int      `json:"cycles"`      // counted ones
	NotCounted int      `json:"not_counted"` // unpowered or unread
	Interval   Interval `json:"interval"`
	Method     Method   `json:"method"`
}

// NewRate returns the rate of the counts, its interval by the method given (""
// is Clopper-Pearson). Counts and confidence that cannot be are refused with an
// [*InputError].
func NewRate(m Method, failures, cycles, notCounted int, confidence float64) (Rate, error) {
	m, err := ParseMethod(string(m))
	if err != nil {
		return Rate{}, err
	}
	if notCounted < 0 {
		return Rate{}, refuse("not counted cycles", notCounted, "a number of cycles is 0 or more")
	}
	iv, err := m.Interval(failures, cycles, confidence)
	return Rate{failures, cycles, notCounted, iv, m}, err
}

// Rate returns the condition's failure rate.
func (c Condition) Rate() Rate {
	return Rate{c.Failures, c.Cycles, c.NotCounted,
		Interval{c.Estimate, c.Low, c.High, c.Confidence, c.OneSided}, MethodClopperPearson}
}

// Sentence says the rate in words: "12 failures in 300 cycles: 4 %, between 2.08 %
// and 6.89 % with 95 % confidence". Limits are rounded outwards.
func (r Rate) Sentence() string {
	said := r.counts()
	if r.NotCounted > 0 {
		said += fmt.Sprintf("; %s not counted", counted(r.NotCounted, "more cycle"))
	}
	return said
}

func (r Rate) counts() string {
	if r.Cycles == 0 {
		return "no cycle counted: nothing is known of the rate"
	}
	iv := r.Interval
	sure := fmt.Sprintf("with %s confidence", Percent(iv.Confidence))
	if r.Method == MethodAnytime {
		sure += " whenever the run is stopped"
	}
	said := fmt.Sprintf("%s in %s", counted(r.Failures, "failure"), counted(r.Cycles, "cycle"))
	switch {
	case iv.Low <= 0:
		if r.Failures > 0 {
			said += ": " + Percent(iv.Estimate) + ","
		} else {
			said += ":"
		}
		return fmt.Sprintf("%s below %s %s", said, percentUp(iv.High), sure)
	case iv.High >= 1:
		if r.Failures < r.Cycles {
			said += ": " + Percent(iv.Estimate) + ","
		} else {
			said += ":"
		}
		return fmt.Sprintf("%s above %s %s", said, percentDown(iv.Low), sure)
	}
	return fmt.Sprintf("%s: %s, between %s and %s %s", said, Percent(iv.Estimate), percentDown(iv.Low), percentUp(iv.High), sure)
}
