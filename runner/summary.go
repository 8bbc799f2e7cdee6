package runner

import (
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// Summary is what a run found, in the form the commands print as JSON.
type Summary struct {
	Run            int64   `json:"run"`
	Unit           string  `json:"unit"`
	Treatment      string  `json:"treatment"` // the last one
	Seed           uint64  `json:"seed"`
	State          string  `json:"state"`
	Reason         string  `json:"reason,omitempty"`
	WallSeconds    float64 `json:"wall_seconds"`
	VirtualSeconds float64 `json:"virtual_seconds"`           // by the run's own clock
	Cycles         int     `json:"cycles"`                    // all of them
	NotCounted     int     `json:"not_counted"`               // unpowered and unread ones
	NotCountedWhy  string  `json:"not_counted_why,omitempty"` // the reason of the last such cycle
	Doubts
	Accepted   *bool                `json:"accepted"` // the script's own acceptance; null if it did not decide
	Conditions []failrate.Condition `json:"conditions"`
}

// CutShort is the state of a run that the logbook has as running or held, and nobody is at work on. The same command
// goes on with it.
const CutShort = "cut short"

// Summarise reads a run's result from the logbook. wallSeconds is how long it really took, which only the
// caller knows.
func Summarise(book *logbook.Book, run int64, wallSeconds float64) (Summary, error) {
	r, err := book.Run(run)
	if err != nil {
		return Summary{}, err
	}
	s := Summary{Run: r.ID, Unit: r.Unit, Treatment: AsFound, Seed: r.Seed, State: r.State, Reason: r.Reason, Accepted: r.Accepted, WallSeconds: wallSeconds, Doubts: Doubts{[]Flagged{}, []Warned{}}}
	if r.Ended.IsZero() && !book.Written() {
		s.State = CutShort
	}
	tally := failrate.NewTally(Confidence)
	last := r.Started
	err = book.EachCycle(run, func(c logbook.Cycle) error {
		s.Cycles++
		s.Treatment = c.Treatment
		if !c.Verdict.Counted() {
			s.NotCounted++
			s.NotCountedWhy = c.Reason
		}
		s.Doubts.Add(c)
		tally.Add(observation(c))
		last = c.Ended
		return nil
	})
	if !r.Ended.IsZero() {
		last = r.Ended
	}
	s.VirtualSeconds = last.Sub(r.Started).Seconds()
	s.Conditions = tally.Conditions()
	return s, err
}
