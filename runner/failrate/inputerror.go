package failrate

import "fmt"

// InputError says that a question cannot be answered as it was put: a count, a
// rate or a confidence that is none.
type InputError struct {
	What    string // what was given: "confidence", "failures", …
	Found   string // its value
	Allowed string // what it may be, and what to do
}

func (e *InputError) Error() string {
	return fmt.Sprintf("%s %s: %s", e.What, e.Found, e.Allowed)
}

// refuse returns an [*InputError] for a value that is not allowed.
func refuse(what string, found any, allowed string) error {
	return &InputError{what, fmt.Sprint(found), allowed}
}

// checkCounts refuses counts that no cycles can have. No cycles at all are
// allowed.
func checkCounts(failures, cycles int) error {
	switch {
	case cycles < 0:
		return refuse("cycles", cycles, "a number of cycles is 0 or more")
	case failures < 0:
		return refuse("failures", failures, "a number of failures is 0 or more")
	case failures > cycles:
		return refuse("failures", fmt.Sprintf("%d of %d cycles", failures, cycles), "there are at most as many failures as cycles")
	}
	return nil
}

// surest is the highest confidence: what it leaves out must not be lost in the
// rounding of 1 less that.
const surest = 1 - 1e-9

// checkConfidence refuses what is no confidence. NaN is none.
func checkConfidence(confidence float64) error {
	if confidence > 0 && confidence <= surest {
		return nil
	}
	if confidence > surest && confidence < 1 {
		return refuse("confidence", confidence, "it is at most 99.9999999 %")
	}
	allowed := "it lies between 0 and 1; 95 % is 0.95"
	if confidence >= 1 && confidence < 100 {
		allowed = fmt.Sprintf("it lies between 0 and 1; %v %% is %v", confidence, confidence/100)
	}
	return refuse("confidence", confidence, allowed)
}

// checkRate refuses what is no failure rate strictly between never and always.
func checkRate(what string, rate float64) error {
	if rate > 0 && rate < 1 {
		return nil
	}
	return refuse(what, rate, "it lies between 0 and 1, both excluded; 1 % is 0.01")
}
