package runner

import (
	"reflect"
	"testing"

	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// Warnings that differ in their numbers alone are one kind; a disagreement is flagged and not warned of again.
func TestSummaryOfWarnings(t *testing.T) {
	var s Doubts
	for n, warnings := range [][]string{
		{"the rail sagged by 0.31 V"}, {"the rail sagged by 0.29 V", "mains hum"}, {verdict.WitnessesDisagree + ": the lamp stays dark"},
	} {
		s.Add(logbook.Cycle{Number: n + 1, Judgement: verdict.Judgement{Verdict: verdict.Started, Reason: "r", Disagree: n == 2, Warnings: warnings}})
	}
	if want := []Warned{{"the rail sagged by 0.31 V", 1, 2}, {"mains hum", 2, 1}}; !reflect.DeepEqual(s.Warned, want) {
		t.Errorf("warned of %v, want %v", s.Warned, want)
	}
	if want := []Flagged{{3, verdict.Started, "r"}}; !reflect.DeepEqual(s.Flagged, want) {
		t.Errorf("flagged %v, want %v", s.Flagged, want)
	}
}
