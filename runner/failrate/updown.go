package failrate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// UpDown is the up-and-down method: the next voltage is one step lower after a
// good start and one step higher after a failure, so that the cycles gather
// about the voltage at which half of them fail.
//
// Source: Dixon and Mood, JASA 43 (1948) 109.
type UpDown struct {
	StepVolts           float64
	LowVolts, HighVolts float64 // never beyond
	next                float64
	steps               []UpDownStep
}

// UpDownStep is one cycle of an up-and-down search.
type UpDownStep struct {
	Volts  float64
	Failed bool
}

// NewUpDown starts an up-and-down search at a voltage.
func NewUpDown(startVolts, stepVolts, lowVolts, highVolts float64) (*UpDown, error) {
	switch {
	case !(stepVolts > 0) || math.IsInf(stepVolts, 1):
		return nil, refuse("step", stepVolts, "it is a number of volts above 0")
	case !(lowVolts < highVolts) || math.IsInf(highVolts-lowVolts, 1):
		return nil, refuse("voltages", fmt.Sprintf("%v to %v V", lowVolts, highVolts), "the lower voltage comes first, and both are finite")
	case !(startVolts >= lowVolts && startVolts <= highVolts):
		return nil, refuse("first voltage", startVolts, fmt.Sprintf("it lies between %v and %v V", lowVolts, highVolts))
	}
	return &UpDown{StepVolts: stepVolts, LowVolts: lowVolts, HighVolts: highVolts, next: startVolts}, nil
}

// Next is the voltage of the next cycle.
func (u *UpDown) Next() float64 { return u.next }

// Add takes in what the cycle at [UpDown.Next] showed.
func (u *UpDown) Add(failed bool) {
	u.steps = append(u.steps, UpDownStep{u.next, failed})
	step := -u.StepVolts
	if failed {
		step = u.StepVolts
	}
	// The levels stay on the ladder, whatever its ends; rounding neither hides an
	// end nor carries beyond it.
	if to := u.next + step; to >= u.LowVolts-1e-9 && to <= u.HighVolts+1e-9 {
		u.next = clamp(to, u.LowVolts, u.HighVolts)
	}
}

// Estimate evaluates the search so far; see [DixonMood].
func (u *UpDown) Estimate() (UpDownEstimate, error) { return DixonMood(u.steps, u.StepVolts) }

// UpDownEstimate is what an up-and-down search says.
type UpDownEstimate struct {
	Mean     float64 // volts at which half the cycles fail
	Sigma    float64 // spread of the threshold
	Failures bool    // failures, the rarer outcome, were evaluated; else good starts
	N        int     // of the rarer outcome
	A, B     float64 // sums of level and of level squared
	Ratio    float64 // (N B - A²)/N²; at 0.3 or below Sigma is only a guess, 0.53 steps
}

// DixonMood evaluates a search in which, as in the tests the method was made
// for, the quantity is raised after "no response" and lowered after a response.
// Here a response is a good start: it grows likelier with the voltage. Sigma
// follows ISO 12107 where the ratio is too small for the formula.
//
// Source: Dixon and Mood, JASA 43 (1948) 109.
func DixonMood(steps []UpDownStep, stepVolts float64) (UpDownEstimate, error) {
	flipped := make([]UpDownStep, len(steps))
	for i, s := range steps {
		flipped[i] = UpDownStep{s.Volts, !s.Failed}
	}
	e, err := dixonMoodRising(flipped, stepVolts)
	e.Failures = !e.Failures
	return e, err
}

// dixonMoodRising is the method for failures that grow likelier with the level.
func dixonMoodRising(steps []UpDownStep, width float64) (UpDownEstimate, error) {
	if !(width > 0) || math.IsInf(width, 1) {
		return UpDownEstimate{}, refuse("step", width, "it is a number of volts above 0")
	}
	failures := 0
	for _, s := range steps {
		if s.Failed {
			failures++
		}
	}
	if failures == 0 || failures == len(steps) {
		return UpDownEstimate{}, refuse("outcomes", fmt.Sprintf("all alike in %d cycles", len(steps)), "the method needs failures and good starts; go on until both were seen")
	}
	return evaluateUpDown(steps, width, 2*failures <= len(steps))
}

// evaluateUpDown evaluates the cycles that failed, or those that did not.
func evaluateUpDown(steps []UpDownStep, width float64, failed bool) (UpDownEstimate, error) {
	e := UpDownEstimate{Failures: failed}
	var rare []float64
	for _, s := range steps {
		if s.Failed == e.Failures {
			rare = append(rare, s.Volts)
		}
	}
	slices.SortFunc(rare, cmp.Compare[float64])
	e.N = len(rare)
	for _, v := range rare {
		level := math.Round((v - rare[0]) / width)
		if math.Abs(rare[0]+level*width-v) > 0.05*width {
			return UpDownEstimate{}, refuse("voltage", v, fmt.Sprintf("the levels are whole steps of %v V from %v V", width, rare[0]))
		}
		e.A += level
		e.B += level * level
	}
	n := float64(e.N)
	half := 0.5
	if e.Failures {
		half = -0.5
	}
	e.Mean = rare[0] + width*(e.A/n+half)
	e.Ratio = (n*e.B - e.A*e.A) / (n * n)
	if e.Ratio > 0.3 {
		e.Sigma = 1.62 * width * (e.Ratio + 0.029)
	} else {
		e.Sigma = 0.53 * width
	}
	return e, nil
}
