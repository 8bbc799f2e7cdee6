package runner

import (
	"slices"
	"strings"

	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// Flagged is a cycle whose lamp or supply current contradict its clock. Its waveforms are in the logbook.
type Flagged struct {
	Cycle   int             `json:"cycle"`
	Verdict verdict.Verdict `json:"verdict"`
	Reason  string          `json:"reason"`
}

// Warned is what the records of some cycles warn of.
type Warned struct {
	Text   string `json:"text"` // of the first of them
	First  int    `json:"first_cycle"`
	Cycles int    `json:"cycles"`
}

// note adds a cycle's flag and warnings. Warnings that differ in their numbers alone are one.
func (s *Summary) note(c logbook.Cycle) {
	if c.Disagree {
		s.Flagged = append(s.Flagged, Flagged{c.Number, c.Verdict, c.Reason})
	}
	for _, text := range c.Warnings {
		if strings.HasPrefix(text, verdict.WitnessesDisagree) {
			continue // flagged above
		}
		i := slices.IndexFunc(s.Warned, func(w Warned) bool { return beforeNumber(w.Text) == beforeNumber(text) })
		if i < 0 {
			s.Warned = append(s.Warned, Warned{Text: text, First: c.Number})
			i = len(s.Warned) - 1
		}
		s.Warned[i].Cycles++
	}
}

func beforeNumber(text string) string {
	if i := strings.IndexAny(text, "0123456789"); i >= 0 {
		return text[:i]
	}
	return text
}
