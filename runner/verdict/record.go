package verdict

import (
	"errors"
	"fmt"
	"math"
)

// Record is one channel at full rate, left as the converter made it: a million
// codes are judged as they are, without a million volts beside them. Exactly one
// of Codes8, Codes16 and Volts holds the samples; a code is worth
// (code - ZeroCode) * VoltsPerCode.
type Record struct {
	StartSeconds float64 // time of sample 0, relative to the trigger (negative = before it)
	StepSeconds  float64

	Codes8  []uint8
	Codes16 []uint16
	Volts   []float64 // already scaled; ZeroCode and VoltsPerCode are then unused

	ZeroCode     float64
	VoltsPerCode float64
	// LowCode and HighCode are the converter's limits: a code at or beyond one is
	// clipped. Two equal ones are not known.
	LowCode, HighCode int
	// LowVolts and HighVolts are the same for Volts.
	LowVolts, HighVolts float64

	// Gaps are the samples that were never taken, in ascending order; what stands
	// in their places is not looked at.
	Gaps []Gap
}

// Gap is the samples [From, To).
type Gap struct{ From, To int }

// sample is what a record may hold.
type sample interface{ uint8 | uint16 | float64 }

// Len returns the number of samples.
func (r Record) Len() int { return len(r.Codes8) + len(r.Codes16) + len(r.Volts) }

// At returns sample i in volts.
func (r Record) At(i int) float64 {
	switch {
	case len(r.Codes8) > 0:
		return r.scale(float64(r.Codes8[i]))
	case len(r.Codes16) > 0:
		return r.scale(float64(r.Codes16[i]))
	}
	return r.Volts[i]
}

// EndSeconds returns the time at which the record ends.
func (r Record) EndSeconds() float64 { return r.StartSeconds + float64(r.Len())*r.StepSeconds }

// scale turns a code into volts; samples that are volts pass as they are.
func (r Record) scale(code float64) float64 {
	if len(r.Volts) > 0 {
		return code
	}
	return (code - r.ZeroCode) * r.VoltsPerCode
}

// unit is how many volts one step of the samples' own scale is.
func (r Record) unit() float64 {
	if len(r.Volts) > 0 {
		return 1
	}
	return r.VoltsPerCode
}

// limits returns the voltages of the converter's limits and the number of codes
// between them; zeros if they are not known.
func (r Record) limits() (low, high float64, codes int) {
	switch {
	case len(r.Volts) > 0:
		return r.LowVolts, r.HighVolts, 0
	case r.LowCode >= r.HighCode:
		return 0, 0, 0
	}
	low, high = r.scale(float64(r.LowCode)), r.scale(float64(r.HighCode))
	return min(low, high), max(low, high), r.HighCode - r.LowCode
}

// flaw returns what makes a record unusable, or nil.
func (r Record) flaw() error {
	kinds := 0
	for _, n := range []int{len(r.Codes8), len(r.Codes16), len(r.Volts)} {
		if n > 0 {
			kinds++
		}
	}
	switch {
	case kinds == 0:
		return errors.New("is missing")
	case kinds > 1:
		return errors.New("holds both codes and volts; it must hold one of them")
	case !(r.StepSeconds > 0) || !finite(r.StepSeconds) || !finite(r.StartSeconds) || !finite(r.EndSeconds()):
		return fmt.Errorf("has no time axis (start %v s, step %v s)", r.StartSeconds, r.StepSeconds)
	case len(r.Volts) == 0 && (r.VoltsPerCode == 0 || !voltage(r.scale(0)) || !voltage(r.scale(math.MaxUint16))):
		return errors.New("has no voltage scale; it needs volts per code other than 0 and the code of 0 V")
	}
	for i, v := range r.Volts {
		if !voltage(v) {
			return notVoltage(v, i, len(r.Volts))
		}
	}
	last := 0
	for _, g := range r.Gaps {
		if g.From < last || g.To <= g.From || g.To > r.Len() {
			return fmt.Errorf("has a gap from sample %d to %d; gaps must ascend within its %d samples", g.From, g.To, r.Len())
		}
		last = g.To
	}
	return nil
}

// window returns the samples [from, to) as a record of their own. Its gaps are
// left out: the caller chose a stretch without any.
func (r Record) window(from, to int) Record {
	w := r
	w.StartSeconds += float64(from) * r.StepSeconds
	w.Gaps = nil
	switch {
	case len(r.Codes8) > 0:
		w.Codes8 = r.Codes8[from:to]
	case len(r.Codes16) > 0:
		w.Codes16 = r.Codes16[from:to]
	default:
		w.Volts = r.Volts[from:to]
	}
	return w
}

// head returns the record up to a sample, with the gaps in it.
func (r Record) head(to int) Record {
	w := r.window(0, to)
	for _, g := range r.Gaps {
		if g.From < to {
			w.Gaps = append(w.Gaps, Gap{g.From, min(g.To, to)})
		}
	}
	return w
}

// afterLastGap returns what of a record follows its last gap.
func (r Record) afterLastGap() Record { return r.afterLastGapFrom(0) }

// afterLastGapFrom is the same of the samples from one on.
func (r Record) afterLastGapFrom(from int) Record {
	if k := len(r.Gaps); k > 0 {
		from = max(from, r.Gaps[k-1].To)
	}
	return r.window(min(from, r.Len()), r.Len())
}

// trace returns a short record in volts.
func (r Record) trace() Trace {
	t := Trace{StartSeconds: r.StartSeconds, StepSeconds: r.StepSeconds}
	t.LowVolts, t.HighVolts, t.Codes = r.limits()
	t.Max = make([]float64, r.Len())
	for i := range t.Max {
		t.Max[i] = r.At(i)
	}
	t.Min = t.Max
	return t
}

// Peaks returns the record's extremes in at most the given number of bins, as a
// scope's peak detector would have seen it; a record of no more samples than
// that as it is. It is for charts, the rail and the lamp.
func (r Record) Peaks(bins int) Trace {
	n := r.Len()
	if n <= bins || bins < 1 {
		return r.trace()
	}
	return r.binned((n + bins - 1) / bins).t
}

// recordOf returns a plain trace as a record.
func recordOf(t Trace) Record {
	return Record{
		StartSeconds: t.StartSeconds, StepSeconds: t.StepSeconds, Volts: t.Max,
		LowVolts: t.LowVolts, HighVolts: t.HighVolts,
	}
}
