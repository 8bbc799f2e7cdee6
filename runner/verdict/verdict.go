// Package verdict turns the evidence of one power cycle (what the scope and
// the supply recorded) into a verdict and the measures behind it, each with its
// standard uncertainty. It knows nothing of instruments, files or time: samples
// in, judgement out.
//
// The clock comes as a scope's peak-detect record in volts ([Trace]) or as all
// its samples in the converter's own codes ([Record]). The first thing done to
// either is to read its envelope: from the extremes in each bin, or from the mean
// square, which holds far into the noise. All that follows works on a few
// thousand bins and on a short stretch of settled samples, so that a million
// codes cost little more than one look at each.
//
// Lamp and supply current are witnesses of their own. They flag a judgement that
// they contradict ([Judgement.Disagree]), and judge alone where there is no scope
// ([JudgeWithoutScope]).
package verdict

import (
	"fmt"
	"slices"
	"strings"
)

// Verdict says what a cycle showed.
type Verdict string

// The verdicts, from success through the kinds of failure to the two that say
// nothing about the unit.
const (
	Started      Verdict = "started"       // steady amplitude at the expected frequency within the allowed time
	Late         Verdict = "late"          // the same, after the allowed time
	Silent       Verdict = "silent"        // no oscillation in the window
	Weak         Verdict = "weak"          // oscillates below the required amplitude
	OffFrequency Verdict = "off-frequency" // oscillates steadily, not at the expected frequency
	DroppedOut   Verdict = "dropped-out"   // started, then stopped
	Unpowered    Verdict = "unpowered"     // the rail never reached its set voltage: the bench's fault
	Unread       Verdict = "unread"        // no usable waveform: the instrument's or the link's fault
)

// Verdicts lists every verdict in the order tables show them. It is not to be
// changed.
var Verdicts = []Verdict{Started, Late, Silent, Weak, OffFrequency, DroppedOut, Unpowered, Unread}

// Counted reports whether a cycle with this verdict enters the failure rate.
// A cycle that says nothing about the unit does not.
func (v Verdict) Counted() bool { return v != Unpowered && v != Unread }

// Failed reports whether the cycle counts as a failure of the unit.
func (v Verdict) Failed() bool { return v.Counted() && v != Started }

// Parse returns the verdict with the given name.
func Parse(s string) (Verdict, error) {
	if v := Verdict(s); slices.Contains(Verdicts, v) {
		return v, nil
	}
	names := make([]string, len(Verdicts))
	for i, v := range Verdicts {
		names[i] = string(v)
	}
	return "", fmt.Errorf("verdict %q is not known; it must be one of %s", s, strings.Join(names, ", "))
}
