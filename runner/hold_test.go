package runner_test

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/simbench"
)

// watcher passes a run's events to a test, and calls back at each cycle's beginning.
type watcher struct {
	events chan runner.Event
	begun  func(number int)
}

func newWatcher() *watcher { return &watcher{events: make(chan runner.Event, 100_000)} }

func (w *watcher) Observe(e runner.Event) {
	if e.Kind == runner.CycleBegun && w.begun != nil {
		w.begun(e.Cycle.Number)
	}
	w.events <- e
}

// await returns the next event of a kind.
func (w *watcher) await(t *testing.T, kind runner.Kind) runner.Event {
	t.Helper()
	for {
		select {
		case e := <-w.events:
			if e.Kind == kind {
				return e
			}
		case <-t.Context().Done():
			t.Fatalf("no event %q came", kind)
		}
	}
}

// verdictOf is what a script sees of a cycle.
type verdictOf struct {
	Verdict, Reason string
	Messages        []string
}

type asked struct {
	result verdictOf
	err    error
}

// cycle asks for one cycle in the background, as the script's goroutine does.
func (s *simulation) cycle(t *testing.T, session *runner.Session) <-chan asked {
	t.Helper()
	done := make(chan asked, 1)
	go func() {
		raw, err := call(t.Context(), session, "cycle", struct {
			Volts float64 `json:"volts"`
		}{3.6})
		var a asked
		if a.err = err; err == nil {
			a.err = json.Unmarshal(raw, &a.result)
		}
		done <- a
	}()
	return done
}

func (s *simulation) mustCycle(t *testing.T, session *runner.Session, verdict string) verdictOf {
	t.Helper()
	a := <-s.cycle(t, session)
	if a.err != nil || a.result.Verdict != verdict {
		t.Fatalf("the cycle is %q (%s), error %v; want %s", a.result.Verdict, a.result.Reason, a.err, verdict)
	}
	return a.result
}

// wantHeld checks a run that holds: in the logbook, and at the terminals of the simulated supply.
func (s *simulation) wantHeld(t *testing.T, run int64, e runner.Event, cause string, forPerson bool) {
	t.Helper()
	if !strings.HasPrefix(e.Reason, cause+": ") || e.ForPerson != forPerson {
		t.Errorf("held for %q, for a person %t; want %s, %t", e.Reason, e.ForPerson, cause, forPerson)
	}
	r, err := s.book.Run(run)
	if err != nil || r.State != "held" || r.Reason != e.Reason {
		t.Errorf("the logbook has the run as %q (%q), error %v; want held (%q)", r.State, r.Reason, err, e.Reason)
	}
	if on, _ := s.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON while the run holds")
	}
}

func (s *simulation) wantMarks(t *testing.T, run int64, kinds ...string) {
	t.Helper()
	marks, err := s.book.Marks(run)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, m := range marks {
		got = append(got, m.Kind)
	}
	if strings.Join(got, " ") != strings.Join(kinds, " ") {
		t.Errorf("the logbook has the marks %q, want %q", got, kinds)
	}
}

func held(t *testing.T, w *watcher) (*simulation, *runner.Session) {
	t.Helper()
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1, watch: w})
	return s, s.open(t, nil)
}

func TestOverCurrentHolds(t *testing.T) {
	w := newWatcher()
	s, session := held(t, w)
	s.sim.Faults().Overcurrent(0.4)
	done := s.cycle(t, session)
	s.wantHeld(t, session.Run().ID, w.await(t, runner.Held), "over-current", true)
	s.sim.Faults().Overcurrent(0)
	if err := session.Resume(); err != nil {
		t.Fatal(err)
	}
	if a := <-done; a.err != nil || a.result.Verdict != "unread" || !strings.Contains(a.result.Reason, "drew 0.4") {
		t.Errorf("the cycle with too much current: %+v", a)
	}
	s.mustCycle(t, session, "started")
	if r := session.Run(); r.State != "running" {
		t.Errorf("after Resume the run is %q (%s)", r.State, r.Reason)
	}
	s.wantMarks(t, session.Run().ID, "hold", "resume")
}

// TestUnreadInRowHolds: four unread cycles and a good one are no reason, five in a row are.
func TestUnreadInRowHolds(t *testing.T) {
	w := newWatcher()
	s, session := held(t, w)
	w.begun = func(number int) {
		if number != 5 && number <= 10 {
			s.sim.Faults().MissTrigger()
		}
	}
	for range 4 {
		s.mustCycle(t, session, "unread")
	}
	s.mustCycle(t, session, "started")
	for range 4 {
		s.mustCycle(t, session, "unread")
	}
	done := s.cycle(t, session)
	e := w.await(t, runner.Held)
	s.wantHeld(t, session.Run().ID, e, "unread cycles", true)
	if !strings.Contains(e.Reason, "5 in a row") {
		t.Errorf("held for %q", e.Reason)
	}
	if err := session.Hold("hands on the board"); !errors.Is(err, runner.ErrHeld) {
		t.Errorf("a hold of a held run: %v", err)
	}
	if err := session.Resume(); err != nil {
		t.Fatal(err)
	}
	if a := <-done; a.err != nil || a.result.Verdict != "unread" {
		t.Errorf("the fifth unread cycle: %+v", a)
	}
	s.mustCycle(t, session, "started")
	if err := session.Resume(); !errors.Is(err, runner.ErrNotHeld) {
		t.Errorf("Resume of a running run: %v", err)
	}
}

// TestHoldOutlivesTheProgram opens a held run again, as a restart after kill -9 does: nothing of the first session is
// ended or closed.
func TestHoldOutlivesTheProgram(t *testing.T) {
	w := newWatcher()
	s, session := held(t, w)
	s.sim.Faults().Overcurrent(0.4)
	s.cycle(t, session)
	first := w.await(t, runner.Held)
	s.sim.Faults().Overcurrent(0)

	unfinished, err := runner.Unfinished(s.book, runner.Program{Name: "test"}, s.rig.Bench, s.seed)
	if err != nil || unfinished == nil {
		t.Fatalf("the held run: %v, %v", unfinished, err)
	}
	s.watch = newWatcher()
	resumed := s.open(t, unfinished)
	s.mustCycle(t, resumed, "unread") // from the logbook: nothing is touched, and nothing waits
	done := s.cycle(t, resumed)
	again := s.watch.(*watcher).await(t, runner.Held)
	s.wantHeld(t, unfinished.ID, again, "over-current", true)
	if again.Reason != first.Reason {
		t.Errorf("held for %q, before for %q", again.Reason, first.Reason)
	}
	if err := resumed.Resume(); err != nil {
		t.Fatal(err)
	}
	if a := <-done; a.err != nil || a.result.Verdict != "started" {
		t.Errorf("after the hold: %+v", a)
	}
	s.wantMarks(t, unfinished.ID, "hold", "resume")
}

// TestHoldBeforeAnythingComesOn: a person wants the run to hold while the unit rests.
func TestHoldBeforeAnythingComesOn(t *testing.T) {
	w := newWatcher()
	s, session := held(t, w)
	w.begun = func(int) {
		w.begun = nil
		if err := session.Hold("hands on the board"); err != nil {
			t.Error(err)
		}
		if r, err := s.book.Run(session.Run().ID); err != nil || r.State != "held" {
			t.Errorf("Hold returned and the logbook has the run as %q (%v)", r.State, err)
		}
	}
	done := s.cycle(t, session)
	s.wantHeld(t, session.Run().ID, w.await(t, runner.Held), "by a person", true)
	if err := session.Resume(); err != nil {
		t.Fatal(err)
	}
	if a := <-done; a.err != nil || a.result.Verdict != "started" {
		t.Errorf("after the hold: %+v", a)
	}
	all := s.cycles(t, session.Run().ID)
	if len(all) != 1 || all[0].Phases["rest"] < 0 {
		t.Errorf("the logbook has %d cycles, want the one", len(all))
	}
}

// TestHoldTakenBack never takes effect.
func TestHoldTakenBack(t *testing.T) {
	w := newWatcher()
	s, session := held(t, w)
	if err := errors.Join(session.Hold("hands on the board"), session.Resume()); err != nil {
		t.Fatal(err)
	}
	s.mustCycle(t, session, "started")
	s.wantMarks(t, session.Run().ID)
	if err := session.End(nil); err != nil {
		t.Fatal(err)
	}
	if err := session.Hold("too late"); err == nil {
		t.Error("a run that has ended can be held")
	}
	if r, err := s.book.Run(session.Run().ID); err != nil || r.State != "done" {
		t.Errorf("the logbook has the run as %q (%v), want done", r.State, err)
	}
}

// TestLostScopeHoldsUntilItIsBack: the hold for an instrument is nobody's to end, and ends by itself.
func TestLostScopeHoldsUntilItIsBack(t *testing.T) { lost(t, simbench.Scope, "scope") }

// TestLostSupplyHoldsUntilItIsBack is the same with the output on: the run does not go on before it is off.
func TestLostSupplyHoldsUntilItIsBack(t *testing.T) { lost(t, simbench.Supply, "NOT CONFIRMED OFF") }

func lost(t *testing.T, which simbench.Instrument, says string) {
	t.Parallel() // it waits until the run says that it waits
	w := newWatcher()
	s, _ := held(t, w)
	hangUp := onceOn(t, s, which)
	s.watch = runner.Observers{w, hangUp}
	session := s.open(t, nil)
	done := s.cycle(t, session)
	e := w.await(t, runner.Held)
	if !strings.HasPrefix(e.Reason, "lost link: ") || !strings.Contains(e.Reason, says) || e.ForPerson {
		t.Errorf("held for %q, for a person %t", e.Reason, e.ForPerson)
	}
	if on, _ := s.sim.SupplyOutput(); on != (which == simbench.Supply) {
		t.Errorf("the supply's output is %t", on)
	}
	if err := session.Resume(); !errors.Is(err, runner.ErrNotHeld) || !strings.Contains(err.Error(), "by itself") {
		t.Errorf("Resume while an instrument is lost: %v", err)
	}
	if _, err := s.sim.Faults().Plug(which); err != nil {
		t.Fatal(err)
	}
	w.await(t, runner.Released)
	if on, _ := s.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON although the run goes on")
	}
	a := <-done
	switch {
	case a.err != nil:
		t.Error(a.err)
	case which == simbench.Scope && (a.result.Verdict != "unread" || len(a.result.Messages) == 0):
		t.Errorf("the cycle in flight: %+v; want it unread, with the last messages", a.result)
	case which == simbench.Supply && a.result.Verdict != "started":
		t.Errorf("the cycle in flight: %+v; its record was whole before the supply was lost", a.result)
	}
	s.mustCycle(t, session, "started")
	s.wantMarks(t, session.Run().ID, "hold", "resume")
}

// onceOn hangs an instrument up when the output comes on.
func onceOn(t *testing.T, s *simulation, which simbench.Instrument) runner.Observer {
	done := false
	return observer(func(e runner.Event) {
		if on, _ := s.sim.SupplyOutput(); done || e.Kind != runner.SupplyRead && e.Kind != runner.Exchanged || !on {
			return
		}
		done = true
		if err := s.sim.Faults().Hangup(which); err != nil {
			t.Error(err)
		}
	})
}

type observer func(runner.Event)

func (o observer) Observe(e runner.Event) { o(e) }

// TestPersonHoldsWhileAnInstrumentIsLost: when it is back, the run still waits for the person.
func TestPersonHoldsWhileAnInstrumentIsLost(t *testing.T) {
	t.Parallel()
	w := newWatcher()
	s, _ := held(t, w)
	s.watch = runner.Observers{w, onceOn(t, s, simbench.Scope)}
	session := s.open(t, nil)
	done := s.cycle(t, session)
	e := w.await(t, runner.Held)
	if err := errors.Join(session.Hold("taken back"), session.Resume()); err != nil {
		t.Fatal(err)
	}
	s.wantHeld(t, session.Run().ID, e, "lost link", false)
	if err := session.Hold("another cable"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.sim.Faults().Plug(simbench.Scope); err != nil {
		t.Fatal(err)
	}
	s.wantHeld(t, session.Run().ID, w.await(t, runner.Held), "by a person", true)
	if err := session.Resume(); err != nil {
		t.Fatal(err)
	}
	if a := <-done; a.err != nil {
		t.Error(a.err)
	}
}

// TestAnotherSerialNumberStopsTheRun: what stands at the address now is not what the run began with. One wrong reply
// alone may be noise on the line, and stops nothing.
func TestAnotherSerialNumberStopsTheRun(t *testing.T) {
	for name, c := range map[string]struct {
		replies int
		stops   bool
	}{"said once": {1, false}, "said twice": {2, true}} {
		t.Run(name, func(t *testing.T) {
			w := newWatcher()
			s, _ := held(t, w)
			s.watch = runner.Observers{w, onceOn(t, s, simbench.Scope), observer(func(e runner.Event) {
				if e.Kind != runner.CycleDone {
					return
				}
				for range c.replies {
					s.sim.Faults().ReplaceReply(simbench.Scope, "ringup,simulated oscilloscope,OSC-99,1")
				}
				if _, err := s.sim.Faults().Plug(simbench.Scope); err != nil {
					t.Error(err)
				}
				s.watch = nil
			})}
			session := s.open(t, nil)
			a := <-s.cycle(t, session)
			var changed *drivers.IdentityChanged
			if got := errors.As(a.err, &changed); got != c.stops {
				t.Fatalf("the cycle is %+v", a)
			}
			if !c.stops {
				return
			}
			err := session.End(a.err)
			if changed.Was.Serial != "OSC-1" || changed.Is.Serial != "OSC-99" || !strings.Contains(err.Error(), "another instrument answers") || !strings.Contains(err.Error(), "> *IDN?") {
				t.Errorf("the run ended with\n%v", err)
			}
			r, err := s.book.Run(session.Run().ID)
			if err != nil || r.State != "failed" {
				t.Errorf("the run is %q (%v), want failed", r.State, err)
			}
			if n := len(s.cycles(t, r.ID)); n != 1 {
				t.Errorf("%d cycles in the logbook, want the one in flight", n)
			}
		})
	}
}

// TestResumeWithAnotherInstrument: between two sessions somebody put another scope on the bench.
func TestResumeWithAnotherInstrument(t *testing.T) {
	s, session := held(t, newWatcher())
	run := session.Run()
	run.Instruments = map[string]string{"scope": "ringup,simulated oscilloscope,OSC-99,1", "supply": run.Instruments["supply"]}
	_, err := runner.Open(s.rig, s.book, &run, runner.Options{Program: runner.Program{Name: "test"}, Clock: s.clock, Zone: time.UTC, Seed: s.seed})
	if err == nil || !strings.Contains(err.Error(), "its scope was ringup,simulated oscilloscope,OSC-99,1, and now ringup,simulated oscilloscope,OSC-1,1") || strings.Contains(err.Error(), "supply") {
		t.Errorf("got %v", err)
	}
	run.Instruments["scope"] = "ringup,simulated oscilloscope,OSC-1,2.07" // other firmware
	if _, err := runner.Open(s.rig, s.book, &run, runner.Options{Program: runner.Program{Name: "test"}, Clock: s.clock, Zone: time.UTC, Seed: s.seed}); err != nil {
		t.Errorf("with other firmware: %v", err)
	}
}
