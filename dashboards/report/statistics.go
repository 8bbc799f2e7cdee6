package report

import (
	"fmt"
	"slices"
	"strings"

	"ringup/runner"
	"ringup/runner/failrate"
)

// throughTheRun says of each condition whether it was the same from first to last, and how wide its interval is if not.
func throughTheRun(f *findings) (said []string) {
	said = append(said, decided(f)...)
	for _, n := range f.analysis.Nights {
		said = append(said, fmt.Sprintf("%s, %s: %s.", n.Treatment, volts(n.Volts), n.Sentence))
	}
	return said
}

// decided says what a run shows that ended by its own acceptance.
func decided(f *findings) (said []string) {
	for _, r := range f.analysis.Anytime {
		outcome := "rejected"
		if *f.Run.Accepted {
			outcome = "accepted"
		}
		said = append(said, fmt.Sprintf("Run %d, %s, all voltages together: %s by its script; %s.", f.Run.ID, r.Treatment, outcome, r.Sentence))
	}
	return said
}

// againstVoltage says at which voltage each treatment starts to fail.
func againstVoltage(f *findings) (said []string) {
	for _, t := range f.analysis.Thresholds {
		if t.Refused != "" {
			continue
		}
		said = append(said, fmt.Sprintf("%s (%s fit, profile limits): %s.", t.Treatment, t.Curve, strings.ReplaceAll(t.Sentence(), "\n", "; ")))
	}
	return said
}

// hunt is what the treatments of one run did.
type hunt struct {
	Run         int64
	Sentence    string
	Suspects    []suspect
	Comparisons int
	NotCompared string // treatments without cycles as found around them
}

// suspect is a row of a hunt's table.
type suspect struct {
	runner.Suspect
}

// Better says which way the treatment changed the unit: by its start times where there are any, else by its failures.
func (s suspect) Better() bool {
	if s.StartRatio != nil {
		return *s.StartRatio < 1
	}
	return s.Treated.Failures*s.AsFound.Cycles < s.AsFound.Failures*s.Treated.Cycles
}

// Found words the outcome.
func (s suspect) Found() string {
	switch {
	case !s.Shown:
		return "no change shown"
	case s.Better():
		return "better"
	}
	return "worse"
}

// hunts ranks the treatments of each run against the unit as found just before and after them.
func hunts(f *findings, others []*findings) (list []hunt) {
	for _, run := range append([]*findings{f}, others...) {
		h := run.analysis.Hunt
		if h == nil {
			continue
		}
		found := hunt{Run: run.Run.ID, Sentence: h.Sentence(), Comparisons: h.Comparisons, NotCompared: failrate.List(h.NotCompared)}
		for _, s := range h.List() {
			found.Suspects = append(found.Suspects, suspect{s})
		}
		list = append(list, found)
	}
	return list
}

// repairs compares runs that have no cycles as found of their own with the first run as found, at the voltages of both.
func repairs(f *findings, others []*findings) (said []string) {
	asFound := func(c failrate.Cycle) bool { return c.Treatment == runner.AsFound }
	base := slices.DeleteFunc(slices.Clone(f.counted), func(c failrate.Cycle) bool { return !asFound(c) })
	for _, other := range others {
		if slices.ContainsFunc(other.counted, asFound) {
			continue
		}
		said = append(said, decided(other)...)
		c, err := failrate.Compare(failrate.Sample{Name: other.Treatments(), Cycles: other.counted}, failrate.Sample{Name: runner.AsFound, Cycles: base}, runner.Confidence)
		if err == nil { // refused where they have no voltage in common
			said = append(said, fmt.Sprintf("Run %d against run %d: %s.", other.Run.ID, f.Run.ID, c.Sentence()))
		}
	}
	return said
}
