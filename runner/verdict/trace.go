package verdict

import (
	"fmt"
	"math"
	"slices"
)

// flaw returns what makes a trace unusable, or nil.
func (t Trace) flaw() error {
	switch {
	case len(t.Min) == 0 && len(t.Max) == 0:
		return fmt.Errorf("is missing")
	case len(t.Min) != len(t.Max):
		return fmt.Errorf("has %d minima but %d maxima", len(t.Min), len(t.Max))
	case !(t.StepSeconds > 0) || !finite(t.StepSeconds) || !finite(t.StartSeconds) || !finite(t.end()):
		return fmt.Errorf("has no time axis (start %v s, step %v s)", t.StartSeconds, t.StepSeconds)
	}
	for i, low := range t.Min {
		high := t.Max[i]
		for _, v := range []float64{low, high} {
			if !voltage(v) {
				return notVoltage(v, i, len(t.Min))
			}
		}
		if low > high {
			return fmt.Errorf("has a minimum (%s) above its maximum (%s) at sample %d of %d",
				si(low, "V"), si(high, "V"), i+1, len(t.Min))
		}
	}
	return nil
}

// plain reports whether the trace holds samples rather than extremes.
func (t Trace) plain() bool { return slices.Equal(t.Min, t.Max) }

// at returns the time by which a rising signal had reached what sample i
// shows. The largest value of a bin belongs to the bin's end.
func (t Trace) at(i int) float64 {
	if t.plain() {
		return t.StartSeconds + float64(i)*t.StepSeconds
	}
	return t.StartSeconds + float64(i+1)*t.StepSeconds
}

// end is the time at which the record ends.
func (t Trace) end() float64 { return t.StartSeconds + float64(len(t.Min))*t.StepSeconds }

// before returns how many samples lie before the given time.
func (t Trace) before(seconds float64) int {
	n := (seconds - t.StartSeconds) / t.StepSeconds
	switch {
	case !(n > 0):
		return 0
	case n >= float64(len(t.Min)):
		return len(t.Min)
	}
	return int(n)
}

// mids returns the middle between minimum and maximum of each bin.
func (t Trace) mids() []float64 {
	mids := make([]float64, len(t.Min))
	for i := range mids {
		mids[i] = t.Min[i]/2 + t.Max[i]/2
	}
	return mids
}

// codeVolts is the height of one converter code, 0 if it is not known.
func (t Trace) codeVolts() float64 {
	if v := (t.HighVolts - t.LowVolts) / float64(t.Codes); t.Codes > 0 && v > 0 && finite(v) {
		return v
	}
	return 0
}

// clips returns the voltages at or beyond which a sample is clipped; infinite
// if the converter's limits are not known.
func (t Trace) clips() (low, high float64) {
	if !(t.HighVolts > t.LowVolts) {
		return math.Inf(-1), math.Inf(1)
	}
	slack := t.codeVolts() / 2 // scaling a code to volts may round
	return t.LowVolts + slack, t.HighVolts - slack
}

// voltage reports whether v may have been measured. No probe bears a gigavolt, and
// the squares and differences of what passes are numbers, too.
func voltage(v float64) bool { return math.Abs(v) <= 1e9 }

// notVoltage is the flaw of a record whose sample i of n is none.
func notVoltage(v float64, i, n int) error {
	if !finite(v) {
		return fmt.Errorf("holds a value that is not a number at sample %d of %d", i+1, n)
	}
	return fmt.Errorf("holds %.3g V, which no probe bears, at sample %d of %d", v, i+1, n)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// median returns the middle value of s, NaN if it is empty. s is left as it is.
func median(s []float64) float64 {
	if len(s) == 0 {
		return math.NaN()
	}
	s = slices.Clone(s)
	slices.Sort(s)
	return s[(len(s)-1)/2]/2 + s[len(s)/2]/2
}
