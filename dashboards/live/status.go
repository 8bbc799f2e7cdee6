package live

import (
	"errors"
	"math"
	"net/http"
	"time"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// Status is what is known at this moment: the whole state behind the page, so that a client that missed any number of
// events is right again with one of these.
type Status struct {
	Version string    `json:"version"`
	Clock   time.Time `json:"clock,omitzero"` // the bench's clock at the last event
	// Run is the current run, or the logbook's last one; nil in an empty logbook.
	Run       *logbook.Run `json:"run"`
	Active    bool         `json:"active"` // Run is running or held in this process
	Treatment string       `json:"treatment"`
	Progress  Progress     `json:"progress"`
	Hold      *Hold        `json:"hold"` // nil while the run is not held

	Supply         Supply                `json:"supply"`
	AmbientCelsius *float64              `json:"ambient_celsius"`
	Instruments    map[string]Instrument `json:"instruments"` // by role
	LastCycle      *logbook.Cycle        `json:"last_cycle"`
	LogbookBytes   int64                 `json:"logbook_bytes"`
	Cautions       []string              `json:"cautions"`
}

// Progress is how far the run is and what it has shown.
type Progress struct {
	Done        int                  `json:"done"`
	Planned     int                  `json:"planned"` // 0: the script has announced none
	ExpectedEnd time.Time            `json:"expected_end,omitzero"`
	Conditions  []failrate.Condition `json:"conditions"`
}

// Hold is why a run waits.
type Hold struct {
	Reason   string `json:"reason"`
	Question string `json:"question"` // empty if no person is asked
	// ForPerson says that the run waits until a person lets it go on; neither Question nor ForPerson: it goes on by
	// itself once an instrument answers again.
	ForPerson bool      `json:"for_person"`
	Since     time.Time `json:"since"`
}

// Supply is what the supply last said of itself. Known is false until it has said anything.
type Supply struct {
	Known        bool     `json:"known"`
	Output       bool     `json:"output"`
	ConfirmedOff bool     `json:"confirmed_off"`
	Volts        *float64 `json:"volts"` // the last reading while on
	Amps         *float64 `json:"amps"`
}

// Instrument is how an instrument answers.
type Instrument struct {
	Answers   bool   `json:"answers"`
	Errors    int    `json:"errors"`
	LastError string `json:"last_error"`
}

// Observe implements runner.Observer. It notes the event and wakes the streams; it waits for nobody.
func (s *Server) Observe(e runner.Event) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := &s.status
	if !e.At.IsZero() {
		now.Clock = e.At
	}
	switch e.Kind {
	case runner.RunStarted:
		*now = s.freshStatus(e)
		now.setRun(e.Run)
		now.Active = true
		now.setProgress(e.Progress)
	case runner.Planned:
		now.setProgress(e.Progress)
	case runner.CycleBegun:
		now.Treatment = e.Cycle.Treatment
	case runner.CycleDone:
		now.Treatment = e.Cycle.Treatment
		now.LastCycle = &e.Cycle
		now.setProgress(e.Progress)
		s.send("cycle", e.Cycle)
	case runner.Marked:
		if e.Mark.Kind == "treatment" {
			now.Treatment = e.Mark.Text
		}
		s.send("mark", e.Mark)
	case runner.Held:
		now.setRun(e.Run)
		now.Hold = &Hold{Reason: e.Reason, Question: e.Question, ForPerson: e.ForPerson, Since: e.At}
	case runner.Released:
		now.setRun(e.Run)
		now.Hold = nil
	case runner.RunEnded:
		now.setRun(e.Run)
		now.Active = false
		now.Hold = nil
		now.setProgress(e.Progress)
	case runner.SupplyRead:
		now.Supply.Known, now.Supply.Output, now.Supply.ConfirmedOff = true, e.Output, e.ConfirmedOff
		if e.Output {
			now.Supply.Volts, now.Supply.Amps = measured(e.Volts), measured(e.Amps)
		}
	case runner.Ambient:
		now.AmbientCelsius = measured(e.Celsius)
	case runner.Exchanged:
		if !now.exchange(e) {
			return // nothing a person would see changed, so nobody is woken
		}
	case runner.Committed:
		now.LogbookBytes = e.LogbookBytes
		return // a cycle or mark follows
	default:
		return
	}
	s.wake()
}

// freshStatus begins a run with nothing left of the one before but what is true of the bench.
func (s *Server) freshStatus(e runner.Event) Status {
	was := s.status
	return Status{
		Version: s.options.Version, Clock: e.At, Supply: was.Supply, AmbientCelsius: was.AmbientCelsius,
		Instruments: was.Instruments, LogbookBytes: was.LogbookBytes, Cautions: runner.Cautions,
	}
}

// setRun keeps the run without its long texts, which the run's own address gives.
func (n *Status) setRun(run logbook.Run) {
	run.ScriptText, run.BenchText = "", ""
	n.Run = &run
}

func (n *Status) setProgress(p runner.Progress) {
	n.Progress = Progress{Done: p.Done, Planned: p.Planned, ExpectedEnd: p.ExpectedEnd, Conditions: p.Conditions}
	if n.Progress.Conditions == nil {
		n.Progress.Conditions = []failrate.Condition{}
	}
}

// exchange notes how an instrument answered and says whether that is news.
func (n *Status) exchange(e runner.Event) bool {
	was, known := n.Instruments[e.Exchange.Role]
	now := was
	now.Answers = e.Exchange.Kind != "timeout" && e.Exchange.Kind != "gone"
	if e.Exchange.Kind != "" {
		now.Errors++
		now.LastError = e.Exchange.Kind
		if e.Exchange.Err != nil {
			now.LastError = e.Exchange.Err.Error()
		}
	}
	if known && now == was {
		return false
	}
	// A status that was handed out keeps its map, so this one gets a new one.
	changed := map[string]Instrument{e.Exchange.Role: now}
	for role, other := range n.Instruments {
		if role != e.Exchange.Role {
			changed[role] = other
		}
	}
	n.Instruments = changed
	return true
}

func measured(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// showLastRun fills the status from the logbook, so that the page is never empty the morning after.
func (s *Server) showLastRun() error {
	s.status = s.freshStatus(runner.Event{})
	s.status.setProgress(runner.Progress{})
	s.status.Instruments = map[string]Instrument{}
	run, err := s.options.Book.LastRun()
	if errors.Is(err, logbook.ErrNoRun) {
		return nil
	}
	if err != nil {
		return err
	}
	progress, last, err := tally(s.options.Book, run)
	if err != nil {
		return err
	}
	s.status.setRun(run)
	s.status.Progress = progress
	s.status.LogbookBytes = s.options.Book.Size()
	if last != nil {
		s.status.LastCycle, s.status.Treatment = last, last.Treatment
		s.status.AmbientCelsius = measured(last.AmbientCelsius)
	}
	return nil
}

// tally counts a stored run as the runner counts a live one.
func tally(book *logbook.Book, run logbook.Run) (Progress, *logbook.Cycle, error) {
	t := failrate.NewTally(runner.Confidence)
	var last *logbook.Cycle
	cycles := 0
	err := book.EachCycle(run.ID, func(c logbook.Cycle) error {
		t.Add(failrate.Observation{
			Volts: c.SetVolts, Treatment: c.Treatment, Verdict: string(c.Verdict),
			Counted: c.Verdict.Counted(), Failed: c.Verdict.Failed(), StartSeconds: c.StartSeconds,
		})
		cycles++
		last = &c
		return nil
	})
	conditions := t.Conditions()
	if conditions == nil {
		conditions = []failrate.Condition{}
	}
	return Progress{Done: cycles, Planned: run.PlannedCycles, Conditions: conditions}, last, err
}

func (s *Server) currentStatus() Status {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.status
}

func (s *Server) getStatus(w http.ResponseWriter, _ *http.Request) {
	writeJSON(w, http.StatusOK, s.currentStatus())
}
