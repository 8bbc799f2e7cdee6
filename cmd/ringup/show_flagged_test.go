package main

import (
	"fmt"
	"strings"
	"testing"

	"ringup/runner"
	"ringup/runner/verdict"
)

// Cycles whose witnesses disagree are named, so many as a screen holds, and each kind of warning once.
func TestFlaggedCyclesAreShown(t *testing.T) {
	s := runner.Summary{Run: 4, Cycles: 30}
	s.Warned = []runner.Warned{{Text: "the rail sagged by 0.31 V after it had come up", First: 7, Cycles: 3}}
	for n := range 12 {
		s.Flagged = append(s.Flagged, runner.Flagged{Cycle: n + 1, Verdict: verdict.Silent, Reason: fmt.Sprintf("reason %d; but the lamp blinks", n+1)})
	}
	var out strings.Builder
	printFlagged(&out, s)
	for _, want := range []string{
		"witnesses disagree in 12 of 30 cycles; look at each with: ringup export 4 --waveform CYCLE",
		"  cycle 10, silent: reason 10; but the lamp blinks\n", "  and 2 more: ringup export 4, column disagree",
		"  3 of 30 cycles, first in cycle 7: the rail sagged by 0.31 V",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in\n%s", want, out.String())
		}
	}
	if strings.Contains(out.String(), "cycle 11") {
		t.Errorf("more than %d are listed:\n%s", mostFlagged, out.String())
	}
	out.Reset()
	if printFlagged(&out, runner.Summary{Cycles: 30}); out.Len() > 0 {
		t.Errorf("of a run without any: %q", out.String())
	}
}
