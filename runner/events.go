package runner

import (
	"time"

	"ringup/drivers"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// Kind says what an Event reports and so which of its fields are set.
type Kind string

// The kinds of event, with the fields each sets besides Kind and At.
const (
	RunStarted Kind = "run-started" // Run, Progress (a resumed run already has cycles)
	Planned    Kind = "planned"     // Progress, Run
	CycleBegun Kind = "cycle-begun" // Cycle (number, condition)
	CycleDone  Kind = "cycle"       // Cycle, Progress; the logbook has it on disk
	Marked     Kind = "mark"        // Mark
	Held       Kind = "held"        // Run, Reason, Question if a person is asked, ForPerson
	Released   Kind = "released"    // Run
	RunEnded   Kind = "run-ended"   // Run, Progress
	SupplyRead Kind = "supply"      // Output, ConfirmedOff, Volts, Amps
	Ambient    Kind = "ambient"     // Celsius
	Exchanged  Kind = "exchange"    // Exchange: one command or query on a wire
	Committed  Kind = "commit"      // CommitSeconds, LogbookBytes
	Logged     Kind = "log"         // Reason: the script's text, or what stands in the way of the bench
)

// Event is what the rest of the program learns of a run. It is flat: Kind says which fields are set.
type Event struct {
	Kind          Kind
	At            time.Time // by the run's clock
	Run           logbook.Run
	Cycle         logbook.Cycle
	Mark          logbook.Mark
	Progress      Progress
	Reason        string
	Question      string
	ForPerson     bool // the run is held until a person lets it go on
	Output        bool
	ConfirmedOff  bool
	Volts, Amps   float64
	Celsius       float64
	Exchange      drivers.Exchange
	CommitSeconds float64
	LogbookBytes  int64
}

// Progress is how far a run is.
type Progress struct {
	Done        int       // cycles in the logbook, counted or not
	Planned     int       // cycles the script has announced so far; 0 if it announced none
	ExpectedEnd time.Time // zero while unknown
	Conditions  []failrate.Condition
}

// Observer is told of every event on the measuring goroutine, in order. It must not block.
type Observer interface {
	Observe(Event)
}

// Observers passes each event to all of them in turn.
type Observers []Observer

// Observe implements Observer.
func (o Observers) Observe(e Event) {
	for _, each := range o {
		each.Observe(e)
	}
}
