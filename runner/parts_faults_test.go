package runner_test

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"sync/atomic"
	"testing"

	"ringup/runner"
	"ringup/runner/simbench"
)

// ownFaults are what is dealt to own cycles: the blows of the fault matrix that every message can be dealt, and quickly.
var ownFaults = []simbench.WireFault{simbench.LinkClosedAndBack, simbench.Rebooted}

// A fault of a wire at any message of an own cycle: never an end of the run, never a second on, the supply off, an error
// with a kind where there is one, and the next cycle as if nothing had been. Ordinarily every eleventh message has it.
func TestFaultsInAnOwnCycle(t *testing.T) {
	share := 11
	if os.Getenv("RINGUP_LONG") == "1" {
		share = 1
	}
	b := openStruck(t, "", "")
	b.heal = func() { t.Error("the run holds without any fault") }
	messages := map[simbench.Instrument]*atomic.Int64{simbench.Supply: {}, simbench.Scope: {}}
	var ons atomic.Int64
	for i, n := range messages {
		b.sim.Faults().Listen(i, func(m string) {
			n.Add(1)
			if strings.HasPrefix(m, "OUTPut ON") {
				ons.Add(1)
			}
		})
	}
	if _, err := script(t, b.session, ownCycle...); err != nil || ons.Load() != 1 {
		t.Fatalf("without a fault: on was sent %d times, %v", ons.Load(), err)
	}
	for i := range messages {
		b.sim.Faults().Listen(i, nil)
	}
	var noticed atomic.Int64
	t.Run("struck", func(t *testing.T) {
		for i, n := range messages {
			for at := 0; at < int(n.Load()); at += share {
				blow := simbench.Blow{Fault: ownFaults[at%2], At: at}
				t.Run(fmt.Sprintf("%s %d %s", i, at, blow.Fault), func(t *testing.T) {
					t.Parallel()
					if ownCycleStruck(t, i, blow) {
						noticed.Add(1)
					}
				})
			}
		}
	})
	if noticed.Load() == 0 {
		t.Error("no fault was noticed: were there any?")
	}
	t.Logf("supply %d messages, scope %d; one in %d struck, %d cycles failed", messages[simbench.Supply].Load(), messages[simbench.Scope].Load(), share, noticed.Load())
}

// ownCycleStruck says whether the cycle failed.
func ownCycleStruck(t *testing.T, i simbench.Instrument, blow simbench.Blow) (noticed bool) {
	b := openStruck(t, "", "")
	faults := b.sim.Faults()
	b.heal = func() {
		if err := faults.Heal(i); err != nil {
			t.Error(err)
		}
	}
	var ons atomic.Int64
	faults.Listen(simbench.Supply, func(m string) {
		if strings.HasPrefix(m, "OUTPut ON") {
			ons.Add(1)
		}
	})
	faults.Strike(i, blow)
	_, err := script(t, b.session, ownCycle...)
	if noticed = err != nil; noticed {
		wantError(t, err, ": instrument: ")
		b.wantOff(t)
	}
	if n := ons.Load(); n > 1 {
		t.Errorf("%s, %+v: on was sent %d times", i, blow, n)
	}
	b.heal()
	raw, err := script(t, b.session, ownCycle...)
	if err != nil || !strings.Contains(string(raw), `"verdict":"started"`) {
		t.Errorf("%s, %+v: the cycle after the fault: %s, %v", i, blow, raw, err)
	}
	if err := errors.Join(b.session.End(nil), b.book.Check()); err != nil {
		t.Error(err)
	}
	b.wantOff(t)
	return noticed
}

// Instruments that fail time and again hold the run, as unread cycles do.
func TestOwnCyclesThatFailHoldTheRun(t *testing.T) {
	w := newWatcher()
	s, session := held(t, w)
	for range 4 {
		s.sim.Faults().ReplaceReply(simbench.Scope, "")
		_, err := script(t, session, "supply.set", volts{"volts": 3}, "scope.arm", none{})
		wantError(t, err, "scope.arm: instrument: ")
	}
	done := make(chan error, 1)
	s.sim.Faults().ReplaceReply(simbench.Scope, "")
	go func() {
		_, err := script(t, session, "supply.set", volts{"volts": 3}, "scope.arm", none{})
		done <- err
	}()
	s.wantHeld(t, session.Run().ID, w.await(t, runner.Held), "unread cycles", true)
	if err := session.Resume(); err != nil {
		t.Fatal(err)
	}
	wantError(t, <-done, "instrument: ")
}
