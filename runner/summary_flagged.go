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

// Doubts are what is not so sure of a run's cycles.
type Doubts struct {
	Flagged []Flagged `json:"flagged"` // cycles whose witnesses disagree
	Warned  []Warned  `json:"warned"`  // what the records of cycles warn of
}

// Add adds a cycle's flag and warnings. Warnings that differ in their numbers alone are one.
func (d *Doubts) Add(c logbook.Cycle) {
	if c.Disagree {
		d.Flagged = append(d.Flagged, Flagged{c.Number, c.Verdict, c.Reason})
	}
	for _, text := range c.Warnings {
		if strings.HasPrefix(text, verdict.WitnessesDisagree) {
			continue // flagged above
		}
		i := slices.IndexFunc(d.Warned, func(w Warned) bool { return beforeNumber(w.Text) == beforeNumber(text) })
		if i < 0 {
			d.Warned = append(d.Warned, Warned{Text: text, First: c.Number})
			i = len(d.Warned) - 1
		}
		d.Warned[i].Cycles++
	}
}

func beforeNumber(text string) string {
	if i := strings.IndexAny(text, "0123456789"); i >= 0 {
		return text[:i]
	}
	return text
}
