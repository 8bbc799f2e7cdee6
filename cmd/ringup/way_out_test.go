package main

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

// someCycles is what most of these runs would do if nothing came between.
const someCycles = `soak { volts = { 3.6, 2.2 }, cycles = 4 }` + "\n"

// rehearsal is a run on a simulated bench whose other end the test holds.
type rehearsal struct {
	sim  *simbench.Bench
	book *logbook.Book

	whenOn func()                  // called once, when the supply's output is on in the third cycle
	lost   func(drivers.Exchange)  // called for every exchange that failed
	begun  func(s *runner.Session) // called before the script begins
	held   func(e runner.Event)    // called when the run holds
	cancel context.CancelCauseFunc // Ctrl-C

	mu    sync.Mutex
	cycle int
	wasOn bool
}

// Observe implements runner.Observer.
func (r *rehearsal) Observe(e runner.Event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch {
	case e.Kind == runner.Held && r.held != nil:
		r.held(e)
	case e.Kind == runner.CycleBegun:
		r.cycle = e.Cycle.Number
	case e.Kind == runner.Exchanged && e.Exchange.Err != nil && r.lost != nil:
		r.lost(e.Exchange)
	case e.Kind == runner.Exchanged && r.cycle == 3 && !r.wasOn && r.whenOn != nil:
		if r.wasOn, _ = r.sim.SupplyOutput(); r.wasOn {
			r.whenOn()
		}
	}
}

// run executes a script on pseudo-terminals with stable names, and returns the run and its error.
func (r *rehearsal) run(t *testing.T, script string) (logbook.Run, error) {
	t.Helper()
	dir := t.TempDir()
	b, err := bench.Parse("bench.toml", []byte(demoBench))
	if err != nil {
		t.Fatal(err)
	}
	clock := runner.NewVirtualClock(b.Simulation.Start, 0)
	r.sim, err = simbench.New(simbench.Options{
		Unit: b.Simulation.Unit, Seed: 1, Clock: clock, LinkDir: dir, LampProbe: true,
		ClockProbe: simbench.Probe{Node: simbench.NodeNearField, Attenuation: b.Clock.Attenuation},
	})
	if err != nil {
		t.Fatal(err)
	}
	addresses, err := serveSimulated(r.sim)
	if err != nil {
		t.Fatal(err)
	}
	if r.book, err = logbook.Open(filepath.Join(dir, "logbook.db")); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancelCause(t.Context())
	defer cancel(nil)
	r.cancel = cancel
	s := &standing{clock: clock, sim: r.sim}
	s.rig, err = runner.OpenRig(ctx, b, addresses, "", func(e drivers.Exchange) {
		r.Observe(runner.Event{Kind: runner.Exchanged, Exchange: e})
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = s.close() // a link that is gone says so again
		if err := r.book.Check(); err != nil {
			t.Errorf("the logbook is not sound: %v", err)
		}
		r.book.Close()
	})
	e := execution{
		standing: s, book: r.book, program: runner.Program{Name: "night.lua", Text: script}, watch: r, started: r.begun,
	}
	run, err := e.do(ctx)
	if r.whenOn != nil && !r.wasOn {
		t.Error("the supply was never on in the third cycle: nothing has been tested")
	}
	return run, err
}

// wantOff asks the simulated supply itself, not the code under test.
func (r *rehearsal) wantOff(t *testing.T) {
	t.Helper()
	if on, volts := r.sim.SupplyOutput(); on {
		t.Errorf("THE SUPPLY IS ON at %.2f V", volts)
	}
}

// wantEnd checks how a run ended: in the error's exit status, and in the logbook.
func (r *rehearsal) wantEnd(t *testing.T, run logbook.Run, err error, exit int, state string) {
	t.Helper()
	got := exitDone
	if err != nil {
		got = status(err)
	}
	if got != exit {
		t.Errorf("exit status %d, want %d; error: %v", got, exit, err)
	}
	kept, bookErr := r.book.Run(run.ID)
	if bookErr != nil {
		t.Fatal(bookErr)
	}
	if kept.State != state || kept.Ended.IsZero() {
		t.Errorf("the logbook has the run as %q (%s), ended %v; want %q", kept.State, kept.Reason, kept.Ended, state)
	}
}

// cycles counts the verdicts in the logbook.
func (r *rehearsal) verdicts(t *testing.T, run logbook.Run) (all int, by map[string]int) {
	t.Helper()
	by = map[string]int{}
	err := r.book.EachCycle(run.ID, func(c logbook.Cycle) error {
		all++
		by[string(c.Verdict)]++
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all, by
}

func TestCtrlCWhileOn(t *testing.T) {
	r := &rehearsal{}
	r.whenOn = func() { r.cancel(nil) }
	run, err := r.run(t, someCycles)
	r.wantOff(t)
	r.wantEnd(t, run, err, exitStopped, "stopped")
	if n, _ := r.verdicts(t, run); n != 2 {
		t.Errorf("%d cycles in the logbook, want the 2 that were whole", n)
	}
}

func TestStopWhileOn(t *testing.T) {
	r := &rehearsal{}
	var session *runner.Session
	r.begun = func(s *runner.Session) { session = s }
	r.whenOn = func() { session.Stop() }
	run, err := r.run(t, someCycles)
	r.wantOff(t)
	r.wantEnd(t, run, err, exitStopped, "stopped")
}

func TestScriptErrorLeavesSupplyOff(t *testing.T) {
	r := &rehearsal{}
	run, err := r.run(t, "cycle { volts = 3.6 }\nlocal lamp\nlamp.colour = 1\n")
	r.wantOff(t)
	r.wantEnd(t, run, err, exitFailed, "failed")
}

// TestOvercurrentWhileOn ends a run that holds with Ctrl-C, in the foreground, with nobody to let it go on.
func TestOvercurrentWhileOn(t *testing.T) {
	r := &rehearsal{}
	r.whenOn = func() { r.sim.Faults().Overcurrent(0.4) }
	holds := 0
	r.held = func(e runner.Event) {
		holds++
		r.wantOff(t)
		if !strings.HasPrefix(e.Reason, "over-current: ") || !e.ForPerson {
			t.Errorf("held for %q", e.Reason)
		}
		r.cancel(nil)
	}
	run, err := r.run(t, someCycles)
	r.wantOff(t)
	r.wantEnd(t, run, err, exitStopped, "stopped")
	if all, by := r.verdicts(t, run); all != 3 || by["unread"] != 1 || holds != 1 {
		t.Errorf("%d holds, %d cycles, verdicts %v; want 1, and 3 cycles with the last one unread", holds, all, by)
	}
}

// TestScopeUnplugged takes the scope's port away in mid-cycle and brings it back: one cycle is unread, and the
// night goes on.
func TestScopeUnplugged(t *testing.T) { unplug(t, simbench.Scope) }

// TestSupplyUnplugged does so with the supply, while its output is on: nothing else may happen before it is
// off and read back.
func TestSupplyUnplugged(t *testing.T) { unplug(t, simbench.Supply) }

func unplug(t *testing.T, which simbench.Instrument) {
	r := &rehearsal{}
	gone := false
	r.whenOn = func() {
		if err := r.sim.Faults().Hangup(which); err != nil {
			t.Error(err)
		}
		gone = true
	}
	r.lost = func(e drivers.Exchange) {
		if e.Role == string(which) && gone {
			gone = false
			if on, _ := r.sim.SupplyOutput(); which == simbench.Supply && !on {
				t.Error("the supply is off although nobody could have told it")
			}
			if _, err := r.sim.Faults().Plug(which); err != nil {
				t.Error(err)
			}
		}
	}
	run, err := r.run(t, someCycles)
	r.wantOff(t)
	r.wantEnd(t, run, err, exitDone, "done")
	if all, by := r.verdicts(t, run); all != 8 || by["unread"] != 1 {
		t.Errorf("%d cycles, verdicts %v; want 8, one of them unread", all, by)
	}
}

// TestSupplyNeverComesBack must not say that the supply is off: it is on. The run holds and tries until Ctrl-C.
func TestSupplyNeverComesBack(t *testing.T) {
	t.Parallel() // it tries for a while
	r := &rehearsal{}
	r.held = func(e runner.Event) {
		if !strings.Contains(e.Reason, "THE SUPPLY IS NOT CONFIRMED OFF") || e.ForPerson {
			t.Errorf("held for %q", e.Reason)
		}
		r.cancel(nil)
	}
	r.whenOn = func() {
		if err := r.sim.Faults().Hangup(simbench.Supply); err != nil {
			t.Error(err)
		}
	}
	run, err := r.run(t, someCycles)
	r.wantNotOff(t, run, err)
}

func TestSupplyDoesNotObey(t *testing.T) {
	t.Parallel() // it tries for a while
	r := &rehearsal{}
	r.whenOn = func() { r.sim.Faults().StickOutput(true) }
	run, err := r.run(t, someCycles)
	r.wantNotOff(t, run, err)
}

func (r *rehearsal) wantNotOff(t *testing.T, run logbook.Run, err error) {
	t.Helper()
	if on, _ := r.sim.SupplyOutput(); !on {
		t.Error("the supply is off: nothing has been tested")
	}
	var notOff *runner.NotOffError
	if !errors.As(err, &notOff) {
		t.Errorf("error %v does not say that the supply may be on", err)
	}
	r.wantEnd(t, run, err, exitNotOff, "failed")
}
