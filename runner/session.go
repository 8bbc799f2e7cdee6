package runner

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"sync"
	"sync/atomic"
	"time"

	"ringup/runner/bench"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// Confidence of every interval ringup states.
const Confidence = 0.95

// Program is one script, its name and text as the logbook keeps them.
type Program struct{ Name, Text string }

// Options of a run.
type Options struct {
	Program  Program
	Clock    Clock
	Observer Observer // may be nil
	// OffSince is when the unit was last switched off, if that is known from elsewhere; otherwise a unit
	// counts as off since it was first read back as off.
	OffSince time.Time
	Zone     *time.Location // of the bench, for people; nil: the machine's
	Seed     uint64         // of the script's random numbers
	Version  string         // of the program, for the logbook
}

// Session is one run in progress. Call is for one goroutine; Mark, Answer, Stop and the readers are safe
// from others.
type Session struct {
	rig   *Rig
	book  *logbook.Book
	clock Clock
	watch Observer
	seed  uint64

	run           logbook.Run
	ordinal       int
	recorded      []logbook.Step
	cycles        map[int]logbook.Cycle // recorded cycles by ordinal, to be replayed
	lastTreatment string                // the recorded treatment at which the run was interrupted
	tally         *failrate.Tally
	counted       []failrate.Cycle    // in the order they were done
	taught        []verdict.Judgement // of the first cycles, for what the supply current tells
	plans         map[planArguments]*failrate.Plan
	line          int // of the script, in the call being served
	own           ownCycle

	offAt       time.Time // when the supply was last confirmed off
	energised   bool
	ending      bool  // the supply is waited for a while, but the run holds no more
	givenUp     bool  // nor is it waited for: it has been already, and a person must know soon
	trouble     error // of the instruments, in the last cycle
	unreadInRow int
	lastReason  string // of the last cycle's verdict
	// ambientAgain is when a thermometer that failed is tried again; zero while it answers.
	ambientAgain time.Time
	lookedAt     time.Time // when the time of day was last looked at for a jump
	pace         pace

	number  atomic.Int64 // cycles in the logbook
	planned int
	answers chan string

	publishing sync.Mutex // one event at a time
	mu         sync.Mutex // guards the fields below
	treatment  string
	question   string
	stopped    bool
	stop       context.CancelFunc
	ended      bool

	wanted        *hold         // the run is to hold as soon as it can
	held          *hold         // what it holds for now, other than a question
	release       chan struct{} // closed to let a run go on that is held for a person
	interruptRest context.CancelFunc
}

// AsFound is the treatment of a unit nobody has touched.
const AsFound = "as found"

// Unfinished looks in the logbook for an interrupted run of the same script on the same bench with the same
// seed. It returns nil if there is none.
func Unfinished(book *logbook.Book, p Program, b *bench.Bench, seed uint64) (*logbook.Run, error) {
	return book.Unfinished(digest(p.Text), digest(b.Text), seed)
}

// Open begins a run, or goes on with the given unfinished one: then the script runs from its top and every
// call that is in the logbook gets its recorded result.
func Open(rig *Rig, book *logbook.Book, unfinished *logbook.Run, o Options) (*Session, error) {
	s := &Session{
		rig: rig, book: book, clock: o.Clock, watch: o.Observer, seed: o.Seed,
		cycles: map[int]logbook.Cycle{}, tally: failrate.NewTally(Confidence),
		offAt: o.OffSince, treatment: AsFound, answers: make(chan string, 1),
	}
	if s.watch == nil {
		s.watch = Observers(nil)
	}
	zone := o.Zone
	if zone == nil {
		zone = time.Local
	}
	if unfinished != nil {
		return s, s.resume(*unfinished)
	}
	s.run = logbook.Run{
		Script: o.Program.Name, ScriptText: o.Program.Text, ScriptSHA256: digest(o.Program.Text),
		Bench: rig.Bench.Path, BenchText: rig.Bench.Text, BenchSHA256: digest(rig.Bench.Text),
		Unit: rig.Bench.Unit.Name, Zone: zone.String(), Seed: o.Seed, Simulated: rig.Bench.Simulated(),
		State: "running", Started: s.clock.Now(), Version: o.Version, Instruments: rig.identities(),
	}
	var err error
	if s.run.ID, err = book.Begin(s.run); err != nil {
		return nil, err
	}
	s.begun(s.progress())
	return s, nil
}

// begun tells the observers of the run, and of what they should know of the bench before its first cycle.
func (s *Session) begun(p Progress) {
	s.publish(Event{Kind: RunStarted, Run: s.run, Progress: p})
	if s.rig.Scope == nil {
		return
	}
	for _, warning := range CapturePlan(s.rig.Bench, s.rig.Scope, 0).Warnings {
		s.publish(Event{Kind: Logged, Reason: warning})
	}
}

// resume reads what the logbook has of an interrupted run.
func (s *Session) resume(run logbook.Run) error {
	s.run = run
	err := sameInstruments(run.Instruments, s.rig.identities())
	if err != nil {
		return err
	}
	if s.recorded, err = s.book.Steps(run.ID); err != nil {
		return err
	}
	if n := len(s.recorded); n > 0 {
		s.lookedAt = s.recorded[n-1].Ended
	}
	whole := failrate.NewTally(Confidence)
	err = s.book.EachCycle(run.ID, func(c logbook.Cycle) error {
		s.cycles[c.Ordinal] = c
		whole.Add(observation(c))
		return nil
	})
	if err != nil {
		return err
	}
	marks, err := s.book.Marks(run.ID)
	if err != nil {
		return err
	}
	for _, m := range marks {
		if m.Kind == "treatment" {
			s.lastTreatment = m.Text
		}
	}
	if h := parseHold(run.Reason); run.State == "held" && h.forPerson() {
		h.again = true
		s.wanted = &h
	} else if err := s.setState("running", ""); err != nil {
		return err
	}
	s.begun(Progress{Done: len(s.cycles), Planned: run.PlannedCycles, Conditions: whole.Conditions()})
	return nil
}

// OffSince is when the unit was last switched off. It is for whoever opens the next session on the same bench, after
// the end of this one.
func (s *Session) OffSince() time.Time { return s.offAt }

// Run is the run as it stands.
func (s *Session) Run() logbook.Run {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.run
}

// Treatment is what is being done to the unit at the moment.
func (s *Session) Treatment() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.treatment
}

// Question is what a held run asks a person, or empty.
func (s *Session) Question() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.question
}

// Context returns a context that Stop ends. The script must run under it.
func (s *Session) Context(parent context.Context) context.Context {
	ctx, cancel := context.WithCancel(parent)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stop = cancel
	return ctx
}

// Stop asks the run to end: supply off, the cycle in flight given up, the logbook closed properly.
func (s *Session) Stop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stopped = true
	if s.stop != nil {
		s.stop()
	}
}

// Stopped says whether Stop was called.
func (s *Session) Stopped() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.stopped
}

// Mark notes what a person did or saw, at this moment. With treatment it also names what is done to the unit
// from now on.
func (s *Session) Mark(text string, treatment bool) error {
	m := logbook.Mark{Run: s.run.ID, At: s.clock.Now(), Text: text, Kind: "mark", AfterCycle: int(s.number.Load())}
	if treatment {
		m.Kind = "treatment"
	}
	if err := s.book.AddMark(m); err != nil {
		return err
	}
	if treatment {
		s.setTreatment(text)
	}
	s.publish(Event{Kind: Marked, Mark: m})
	return nil
}

// Answer replies to the question a held run asks. It fails if there is none.
func (s *Session) Answer(text string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.question == "" {
		return errors.New("the run asks nothing at the moment")
	}
	select {
	case s.answers <- text:
		return nil
	default:
		return errors.New("the question has been answered already")
	}
}

func (s *Session) setTreatment(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.treatment = text
}

func (s *Session) setQuestion(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.question = text
}

func (s *Session) setState(state, reason string) error {
	s.mu.Lock()
	s.run.State, s.run.Reason = state, reason
	s.mu.Unlock()
	return s.book.SetState(s.run.ID, state, reason)
}

// End finishes the run after its script has: the supply off and read back, the state in the logbook. cause
// is why the script ended, nil if it ran to its end. It returns cause, joined by whatever went wrong here.
func (s *Session) End(cause error) error {
	state, reason := "done", ""
	switch {
	case s.Stopped():
		state, reason = "stopped", "stopped by a person"
	case cause != nil:
		state, reason = "failed", cause.Error()
	}
	s.ending = true
	offErr := s.off(context.Background())
	if offErr != nil {
		state, reason = "failed", offErr.Error()
	}
	s.mu.Lock()
	s.ended = true
	s.run.State, s.run.Reason, s.run.Ended = state, reason, s.clock.Now()
	s.mu.Unlock()
	err := s.book.Finish(s.run.ID, state, reason, s.run.Ended)
	s.publish(Event{Kind: RunEnded, Run: s.run, Progress: s.progress(), Reason: reason})
	return errors.Join(s.withMessages(errors.Join(cause, offErr)), err)
}

// Interrupt leaves the run unfinished in the logbook, to be gone on with later: when the daemon is stopped, or when
// the disk has room again. The supply is off and read back.
func (s *Session) Interrupt(why string) error {
	s.mu.Lock()
	s.ended = true
	s.mu.Unlock()
	s.ending = true
	err := s.off(context.Background())
	s.publish(Event{Kind: RunEnded, Progress: s.progress(), Reason: why})
	return err
}

func (s *Session) publish(e Event) {
	s.publishing.Lock()
	defer s.publishing.Unlock()
	if e.At.IsZero() {
		e.At = s.clock.Now()
	}
	if e.Run.ID == 0 {
		e.Run = s.Run()
	}
	s.watch.Observe(e)
}

func observation(c logbook.Cycle) failrate.Observation {
	return failrate.Observation{
		Volts: c.SetVolts, Treatment: c.Treatment, Verdict: string(c.Verdict),
		Counted: c.Verdict.Counted(), Failed: c.Verdict.Failed(), StartSeconds: c.StartSeconds,
	}
}

func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// pace learns how long a cycle takes on this bench, by the run's clock.
type pace struct{ mean time.Duration }

// add takes the time from one cycle's end to the next one's; recent cycles count most.
func (p *pace) add(d time.Duration) {
	if p.mean == 0 {
		p.mean = d
		return
	}
	p.mean += (d - p.mean) / 16
}

// progress is how far the run is. With p.mean unknown, the end is unknown, too.
func (s *Session) progress() Progress {
	p := Progress{Done: int(s.number.Load()), Planned: s.planned, Conditions: s.tally.Conditions()}
	if left := p.Planned - p.Done; left > 0 && s.pace.mean > 0 {
		p.ExpectedEnd = s.clock.Now().Add(time.Duration(left) * s.pace.mean)
	}
	return p
}
