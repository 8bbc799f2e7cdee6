package runner

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"ringup/runner/failrate"
)

// Rehearsal is what a script did on the simulated bench, in the form that rehearse prints as JSON. What the simulated
// unit showed is no result: a rehearsal tells how long a run takes, what it does to the unit, and what it can show.
type Rehearsal struct {
	Unit             string            `json:"unit"` // of the simulated bench
	State            RehearsalState    `json:"state"`
	Why              string            `json:"why,omitempty"` // why the script failed
	Accepted         *bool             `json:"accepted"`      // by the script's own acceptance; null if it decided nothing
	Begins           time.Time         `json:"begins"`
	Ends             time.Time         `json:"ends"` // or was left
	Seconds          float64           `json:"seconds"`
	Cycles           int               `json:"cycles"` // so often the unit was switched on
	Failures         int               `json:"failures"`
	EnergisedSeconds float64           `json:"energised_seconds"`
	LongestOnSeconds float64           `json:"longest_on_seconds"`
	HighestVolts     float64           `json:"highest_volts"`
	Events           []RehearsalEvent  `json:"events"`
	Rules            []RehearsalRule   `json:"rules"`
	Conditions       []RehearsedCounts `json:"conditions"`
}

// RehearsalState says how a rehearsal came to its end.
type RehearsalState string

// The states of a rehearsal.
const (
	RehearsalEnded      RehearsalState = "ended" // by itself
	RehearsalFailed     RehearsalState = "failed"
	RehearsalStillGoing RehearsalState = "still going" // it was left
)

// RehearsalEvent is something that concerns a person.
type RehearsalEvent struct {
	At     time.Time `json:"at"`
	Line   int       `json:"line"` // of the script
	Kind   string    `json:"kind"` // ask, treatment, hunt or conclude
	Text   string    `json:"text"`
	Answer *string   `json:"answer,omitempty"` // of an ask; null if nobody answered in time
}

// RehearsalRule is a call by which what the unit does, or the time of day, ends a part of the script.
type RehearsalRule struct {
	Line      int    `json:"line"`
	Call      string `json:"call"`
	Text      string `json:"text"`
	ByOutcome bool   `json:"by_outcome"` // and not by the time of day
}

// RehearsedCounts says what the cycles of one condition can show.
type RehearsedCounts struct {
	Treatment string  `json:"treatment"`
	Volts     float64 `json:"volts"`
	Cycles    int     `json:"cycles"`
	Failures  int     `json:"failures"` // of the simulated unit
	// NoFailureBelow is the rate that no failure in these cycles shows the unit to be below.
	NoFailureBelow float64         `json:"no_failure_below"`
	Confidence     float64         `json:"confidence"`
	Method         failrate.Method `json:"method"` // anytime where what is seen decides how many cycles there are
	// If says what a unit of a given rate would show.
	If RehearsedRate `json:"if"`
}

// RehearsedRate is what so many cycles show of a unit that fails at a rate.
type RehearsedRate struct {
	Rate     float64 `json:"rate"`
	Seen     float64 `json:"seen"`     // probability of at least one failure
	Failures int     `json:"failures"` // expected
	Low      float64 `json:"low"`      // interval of the rate after that many failures
	High     float64 `json:"high"`
}

// RehearsalOptions bound a rehearsal and say how questions are answered.
type RehearsalOptions struct {
	Unit        string
	AtMost      time.Duration // of the run's clock
	MostCycles  int
	Answers     []string      // to the questions in turn, the last one to all that follow; at least one
	AnswerAfter time.Duration // a person takes so long for each
}

// Bounds on what brings a script no further.
const (
	mostIdleCalls = 10_000 // in a row in which no time passes
	mostIdleAsks  = 50     // in a row without a cycle between
)

// huntTreatment is what the person of a hunt is taken to do, in the middle third of its cycles.
const huntTreatment = "marked by a person"

// errStillGoing ends a rehearsal that has lasted long enough.
var errStillGoing = errors.New("the script is still going")

// Rehearsing serves a script's calls from a session on the simulated bench and gathers what they do. It is the
// session's observer, too.
type Rehearsing struct {
	o       RehearsalOptions
	clock   Clock
	session *Session
	cancel  context.CancelFunc
	stopped error // why it was cancelled

	r      Rehearsal
	tally  *failrate.Tally
	line   int
	asked  int
	silent bool // nobody answers the question that comes next
	// hunt are the cycles after which the person of a hunt treats the unit, and lets it be as found again.
	hunt struct{ from, to int }
	idle struct {
		calls, asks int
		since       time.Time
	}
	plans map[planArguments]*failrate.Plan
}

// NewRehearsing makes one for a session that is yet to be opened with it as its observer.
func NewRehearsing(clock Clock, o RehearsalOptions) *Rehearsing {
	now := clock.Now()
	return &Rehearsing{
		o: o, clock: clock, tally: failrate.NewTally(Confidence), plans: map[planArguments]*failrate.Plan{},
		r: Rehearsal{Unit: o.Unit, Begins: now, Events: []RehearsalEvent{}, Rules: []RehearsalRule{}, Conditions: []RehearsedCounts{}},
	}
}

// Begin attaches the session and returns the context under which the script must run: it ends when the rehearsal has
// lasted long enough.
func (r *Rehearsing) Begin(parent context.Context, s *Session) context.Context {
	ctx, cancel := context.WithCancel(parent)
	r.session, r.cancel = s, cancel
	return ctx
}

// stop ends the rehearsal; the first reason counts.
func (r *Rehearsing) stop(why error) {
	if r.stopped == nil {
		r.stopped = why
	}
	r.cancel()
}

// Leave ends the rehearsal before the script has ended.
func (r *Rehearsing) Leave() { r.stop(errStillGoing) }

// End finishes the session. cause is why the script ended, nil if it ran to its end. It returns cause, or what else is
// wrong with the script; that it was still going is no error.
func (r *Rehearsing) End(cause error) (Rehearsal, error) {
	r.cancel()
	r.r.State = RehearsalEnded
	switch {
	case errors.Is(r.stopped, errStillGoing):
		r.r.State, cause = RehearsalStillGoing, nil
	case r.stopped != nil:
		cause = r.stopped
	}
	err := r.session.End(cause)
	if err != nil {
		r.r.State, r.r.Why = RehearsalFailed, err.Error()
	}
	r.r.Ends = r.clock.Now()
	r.r.Seconds = r.r.Ends.Sub(r.r.Begins).Seconds()
	r.r.Accepted = r.session.Run().Accepted
	for _, c := range r.tally.Conditions() {
		r.r.Conditions = append(r.r.Conditions, RehearsedCounts{Treatment: c.Treatment, Volts: c.Volts, Cycles: c.Cycles + c.NotCounted, Failures: c.Failures})
	}
	return r.r, err
}

// Call serves a call as Session.Call does.
func (r *Rehearsing) Call(ctx context.Context, call string, arguments json.RawMessage, line int) (json.RawMessage, error) {
	if r.lastedLong() {
		r.Leave()
	}
	if now := r.clock.Now(); !now.Equal(r.idle.since) {
		r.idle.calls, r.idle.since = 0, now
	}
	if r.idle.calls++; r.idle.calls > mostIdleCalls {
		return nil, fmt.Errorf("%s calls in a row, and no time has passed: this loop may never end", failrate.Count(mostIdleCalls))
	}
	r.line = line
	arguments, err := r.note(call, arguments)
	if err != nil {
		return nil, err
	}
	return r.session.Call(ctx, call, arguments, line)
}

// note keeps what a call tells beforehand. It returns the arguments to be served.
func (r *Rehearsing) note(call string, raw json.RawMessage) (json.RawMessage, error) {
	var a struct {
		Text         string         `json:"text"`
		Timeout      *float64       `json:"timeout"`
		Cycles       int            `json:"cycles"`
		Decision     string         `json:"decision"`
		UntilDecided *planArguments `json:"until_decided"`
		UntilWidth   *float64       `json:"until_width"`
		StopAt       string         `json:"stop_at"`
		Width        *float64       `json:"width"`
		planArguments
	}
	if len(raw) > 0 {
		if err := json.Unmarshal(raw, &a); err != nil {
			return nil, err
		}
	}
	switch call {
	case "ask":
		if r.idle.asks++; r.idle.asks > mostIdleAsks {
			return nil, fmt.Errorf("asked %d times in a row without a cycle between, and answered %q: give the answers of a person with --answer; the last question: %s", mostIdleAsks, r.answer(), a.Text)
		}
		r.silent = a.Timeout != nil && seconds(*a.Timeout) < r.o.AnswerAfter
		if !r.silent && a.Timeout != nil { // answered in time
			return json.Marshal(textArgument{a.Text})
		}
	case "treatment":
		r.event(RehearsalEvent{Kind: call, Text: a.Text})
	case "conclude":
		r.event(RehearsalEvent{Kind: call, Text: a.Decision})
	case "hunt":
		if a.Cycles > 0 {
			r.event(RehearsalEvent{Kind: call, Text: fmt.Sprintf("marks treatments during %d cycles", a.Cycles)})
			done := int(r.session.number.Load())
			r.hunt.from, r.hunt.to = done+a.Cycles/3, done+2*a.Cycles/3
		}
	case "decide":
		return raw, r.planRule(call, "a test after each cycle, until it is decided: ", a.planArguments)
	case "threshold":
		text := fmt.Sprintf("at most %d cycles", a.Cycles)
		if a.Width != nil {
			text += fmt.Sprintf(", fewer once the voltage is known within %g V", *a.Width)
		}
		r.rule(call, text, true)
	case "soak":
		if a.StopAt != "" {
			r.rule(call, "no cycle begins after "+a.StopAt, false)
		}
		if a.UntilWidth != nil {
			r.rule(call, fmt.Sprintf("a voltage gets no more cycles once its rate is known within %s", failrate.Percent(*a.UntilWidth)), true)
		}
		if a.UntilDecided != nil {
			return raw, r.planRule(call, "a voltage gets no more cycles once it is decided: ", *a.UntilDecided)
		}
	}
	return raw, nil
}

// planRule notes a sequential test, once.
func (r *Rehearsing) planRule(call, text string, a planArguments) error {
	if _, ok := r.plans[a]; ok {
		return nil
	}
	p, err := failrate.NewPlan(a.Below, a.Above, a.Alpha, a.Beta)
	if err != nil {
		return err
	}
	r.plans[a] = p
	r.rule(call, text+p.Sentence(), true)
	return nil
}

func (r *Rehearsing) rule(call, text string, byOutcome bool) {
	rule := RehearsalRule{r.line, call, text, byOutcome}
	if !slices.Contains(r.r.Rules, rule) {
		r.r.Rules = append(r.r.Rules, rule)
	}
}

func (r *Rehearsing) event(e RehearsalEvent) {
	e.At, e.Line = r.clock.Now(), r.line
	r.r.Events = append(r.r.Events, e)
}

// answer is that to the question that comes next.
func (r *Rehearsing) answer() string { return r.o.Answers[min(r.asked, len(r.o.Answers)-1)] }

// Observe implements Observer.
func (r *Rehearsing) Observe(e Event) {
	switch e.Kind {
	case CycleDone:
		r.add(e)
	case Held:
		switch {
		case e.ForPerson:
			r.stop(fmt.Errorf("the run would hold here until a person lets it go on: %s", e.Reason))
		case e.Question != "":
			r.ask(e.Question)
		}
	}
}

// add takes in a cycle that is in the logbook.
func (r *Rehearsing) add(e Event) {
	r.tally.Add(observation(e.Cycle))
	if e.Cycle.Verdict.Failed() {
		r.r.Failures++
	}
	switch e.Progress.Done {
	case r.hunt.from:
		r.session.setTreatment(huntTreatment)
	case r.hunt.to:
		r.session.setTreatment(AsFound)
	}
	if r.lastedLong() {
		r.Leave()
	}
}

func (r *Rehearsing) lastedLong() bool {
	return r.r.Cycles >= r.o.MostCycles || r.clock.Now().Sub(r.r.Begins) >= r.o.AtMost
}

// ask answers a question before anybody waits for it, after the time that a person takes.
func (r *Rehearsing) ask(question string) {
	event := RehearsalEvent{Kind: "ask", Text: question}
	if r.silent {
		r.event(event)
		return
	}
	text := r.answer()
	event.Answer = &text
	r.event(event)
	r.asked++
	if r.o.AnswerAfter > 0 {
		_ = r.clock.Sleep(context.Background(), r.o.AnswerAfter) // of virtual time
	}
	if err := r.session.Answer(text); err != nil {
		r.stop(err)
	}
}

// Show works out what the conditions' cycles can show. outcomes says that what a unit does decides how many there are,
// so that only an interval that holds whenever a run is stopped may be claimed.
func (r *Rehearsal) Show(rate float64, outcomes bool) error {
	method := failrate.MethodClopperPearson
	if outcomes {
		method = failrate.MethodAnytime
	}
	for i := range r.Conditions {
		c := &r.Conditions[i]
		none, err := failrate.NewRate(method, 0, c.Cycles, 0, Confidence)
		if err != nil {
			return err
		}
		n := float64(c.Cycles)
		expected := int(math.Round(rate * n))
		some, err := failrate.NewRate(method, expected, c.Cycles, 0, Confidence)
		if err != nil {
			return err
		}
		c.NoFailureBelow, c.Confidence, c.Method = none.Interval.High, Confidence, method
		c.If = RehearsedRate{Rate: rate, Seen: -math.Expm1(n * math.Log1p(-rate)), Failures: expected, Low: some.Interval.Low, High: some.Interval.High}
	}
	return nil
}
