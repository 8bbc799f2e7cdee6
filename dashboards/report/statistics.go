package report

import (
	"fmt"
	"slices"
	"strings"

	"ringup/runner"
	"ringup/runner/failrate"
)

// analysis is what show prints of the run.
func (f *findings) analysis() runner.Analysis {
	return runner.Analyse(runner.Summary{Conditions: f.Conditions, Accepted: f.Run.Accepted}, f.counted)
}

// throughTheRun says of each condition whether it was the same from first to last, and how wide its interval is if not.
func throughTheRun(f *findings) (said []string) {
	a := f.analysis()
	for _, r := range a.Anytime {
		said = append(said, fmt.Sprintf("%s, all voltages together: %s. This allows for a script that ends by what it has seen.", r.Treatment, r.Sentence))
	}
	for _, n := range a.Nights {
		said = append(said, fmt.Sprintf("%s, %s: %s.", n.Treatment, volts(n.Volts), n.Sentence))
	}
	return said
}

// againstVoltage says at which voltage each treatment starts to fail.
func againstVoltage(f *findings) (said []string) {
	for _, t := range f.analysis().Thresholds {
		if t.Refused != "" {
			continue
		}
		said = append(said, fmt.Sprintf("%s (%s fit, profile limits): %s.", t.Treatment, t.Curve, strings.ReplaceAll(t.Sentence(), "\n", "; ")))
	}
	return said
}

// hunts says what the treatments of each run did, against the unit as found just before and after them.
func hunts(f *findings, others []*findings) (said []string) {
	for _, run := range append([]*findings{f}, others...) {
		if h, err := runner.RankTreatments(run.counted); err == nil { // refused where there is nothing to compare
			said = append(said, fmt.Sprintf("Run %d: %s.", run.Run.ID, h.Sentence()))
		}
	}
	return said
}

// repairs compares runs that have no cycles as found of their own with the first run as found, at the voltages of both.
func repairs(f *findings, others []*findings) (said []string) {
	asFound := func(c failrate.Cycle) bool { return c.Treatment == runner.AsFound }
	base := slices.DeleteFunc(slices.Clone(f.counted), func(c failrate.Cycle) bool { return !asFound(c) })
	for _, other := range others {
		if slices.ContainsFunc(other.counted, asFound) {
			continue
		}
		c, err := failrate.Compare(failrate.Sample{Name: other.Treatments(), Cycles: other.counted}, failrate.Sample{Name: runner.AsFound, Cycles: base}, runner.Confidence)
		if err == nil { // refused where they have no voltage in common
			said = append(said, fmt.Sprintf("Run %d against run %d: %s.", other.Run.ID, f.Run.ID, c.Sentence()))
		}
	}
	return said
}
