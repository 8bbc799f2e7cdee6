package report

import (
	"fmt"
	"math"
	"slices"

	"ringup/runner"
	"ringup/runner/failrate"
)

// comparison sets a treatment against the unit as found, at one voltage.
type comparison struct {
	Treatment     string
	Run, BaseRun  int64
	Before, After failrate.Condition
	P, Adjusted   float64 // Fisher's exact p, and corrected by Holm for all rows
}

// Found words the outcome. Five in a hundred comparisons of equals would look
// different by chance; the corrected p guards against that for the table as a
// whole.
func (c comparison) Found() string {
	switch {
	case !c.Clear():
		return "no difference shown"
	case c.After.Estimate < c.Before.Estimate:
		return "fewer failures"
	}
	return "more failures"
}

// Clear is true when chance alone is an unlikely explanation.
func (c comparison) Clear() bool { return c.Adjusted < 1-runner.Confidence }

// compare sets the conditions of other runs against the first run's at the same
// voltage. A run that has cycles as found beside its treatments is its own base,
// and a hunt: see [hunts].
func compare(f *findings, others []*findings) []comparison {
	var list []comparison
	for _, run := range others {
		if own := untreated(run); len(own) > 0 && len(own) < len(run.Conditions) {
			continue
		}
		for _, c := range run.Conditions {
			if base, ok := at(baseOf(f), c.Volts); ok && c.Cycles > 0 {
				list = append(list, comparison{Treatment: c.Treatment, Run: run.Run.ID, BaseRun: f.Run.ID, Before: base, After: c,
					P: failrate.FisherExact(base.Failures, base.Cycles, c.Failures, c.Cycles)})
			}
		}
	}
	p := make([]float64, len(list))
	for i, c := range list {
		p[i] = c.P
	}
	for i, adjusted := range failrate.Holm(p) {
		list[i].Adjusted = adjusted
	}
	return list
}

// unlike says which runs were set against each other although they rested
// differently: rest alone can change how a unit starts.
func unlike(f *findings, others []*findings, list []comparison) (notes []string) {
	for _, other := range others {
		across := slices.ContainsFunc(list, func(c comparison) bool { return c.Run == other.Run.ID })
		if a, b := failrate.List(f.Rests), failrate.List(other.Rests); across && a != b {
			notes = append(notes, fmt.Sprintf("Run %d rested %s before each start, run %d %s: part of a difference between them may come from that.", f.Run.ID, a, other.Run.ID, b))
		}
	}
	return notes
}

func untreated(f *findings) (found []failrate.Condition) {
	for _, c := range f.Conditions {
		if c.Treatment == runner.AsFound {
			found = append(found, c)
		}
	}
	return found
}

// baseOf gives the first run's conditions as found, or of its first treatment.
func baseOf(f *findings) []failrate.Condition {
	if found := untreated(f); len(found) > 0 {
		return found
	}
	var first []failrate.Condition
	for _, c := range f.Conditions {
		if c.Treatment == f.Conditions[0].Treatment {
			first = append(first, c)
		}
	}
	return first
}

func at(conditions []failrate.Condition, volts float64) (failrate.Condition, bool) {
	for _, c := range conditions {
		if c.Cycles > 0 && math.Abs(c.Volts-volts) < 1e-6 {
			return c, true
		}
	}
	return failrate.Condition{}, false
}
