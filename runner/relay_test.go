package runner_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"ringup/drivers"
	"ringup/runner"
)

// relayText is benchText with a relay in the lead of a supply that is set by hand.
var relayText = strings.Replace(benchText, `[supply]
address = "sim:supply"
`, `[supply]
set_by_hand = "3.6 V"
[switch]
address = "sim:switch"
`, 1)

func onRelay(t *testing.T, byHand float64) (*simulation, *runner.Session) {
	t.Helper()
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1, text: relayText, byHand: byHand})
	return s, s.open(t, nil)
}

func TestRelaySoak(t *testing.T) {
	s, session := onRelay(t, 3.6)
	if _, err := call(t.Context(), session, "soak", soak{Volts: []float64{3.6}, Cycles: 4, Rest: 3, Watch: 0.08}); err != nil {
		t.Fatal(err)
	}
	if err := session.End(nil); err != nil {
		t.Fatal(err)
	}
	if closed, _ := s.sim.SupplyOutput(); closed {
		t.Error("THE RELAY IS CLOSED after the run's end")
	}
	all := s.cycles(t, session.Run().ID)
	if len(all) != 4 {
		t.Fatalf("%d cycles, want 4", len(all))
	}
	for _, c := range all {
		if c.Verdict != "started" || c.SetVolts != 3.6 || c.SupplyVolts == c.SupplyVolts || c.RailVolts < 3.5 {
			t.Errorf("cycle %d: %s (%s) at %g V, the supply reads %g V, the rail %g V; want it started, the supply not read", c.Number, c.Verdict, c.Reason, c.SetVolts, c.SupplyVolts, c.RailVolts)
		}
	}
	if ids := session.Run().Instruments; !strings.Contains(ids["switch"], "simulated switch") || ids["supply"] != "" {
		t.Errorf("the run's instruments are %v", ids)
	}
}

// TestRelayOtherVolts: nobody turns the knob at night.
func TestRelayOtherVolts(t *testing.T) {
	s, session := onRelay(t, 3.6)
	for name, arguments := range map[string]any{
		"soak":  soak{Volts: []float64{3.6, 3.3}, Cycles: 4, Rest: 3, Watch: 0.08},
		"cycle": map[string]float64{"volts": 3.3},
	} {
		_, err := call(t.Context(), session, name, arguments)
		var byHand *drivers.SetByHandError
		if !errors.As(err, &byHand) || byHand.Asked != 3.3 || byHand.Set != 3.6 || !strings.HasPrefix(err.Error(), "bench.toml:8:15: supply.set_by_hand: 3.3 V were asked for") {
			t.Errorf("%s: got %v", name, err)
		}
	}
	if all := s.cycles(t, session.Run().ID); len(all) != 0 {
		t.Errorf("%d cycles were done", len(all))
	}
}

// TestRelayRailTellsTheVolts: what the bench file says was set by hand was not.
func TestRelayRailTellsTheVolts(t *testing.T) {
	for volts, reason := range map[float64]string{3.0: "the rail settled at 3.00 V", 1.5: "the rail only reached 1.5"} {
		s, session := onRelay(t, volts)
		if got := s.mustCycle(t, session, "unpowered"); !strings.Contains(got.Reason, reason) {
			t.Errorf("set to %g V by hand: %s; want %q", volts, got.Reason, reason)
		}
	}
}

// blind is a power source that takes every off for granted, like a relay on a line of a serial adapter.
type blind struct {
	drivers.Supply
	welded bool   // off does nothing
	asked  func() // is called when the volts are set
}

func (*blind) ReadsBack() bool { return false }

func (b *blind) Off(ctx context.Context) error {
	if b.welded {
		return nil
	}
	return b.Supply.Off(ctx)
}

func (b *blind) SetVolts(ctx context.Context, volts float64) error {
	if b.asked != nil {
		b.asked()
	}
	return b.Supply.SetVolts(ctx, volts)
}

// TestBlindRelayHeldWhileTheScopeWaits: a scope that waits for the rail to rise is stopped before it is to confirm that
// the rail is down.
func TestBlindRelayHeldWhileTheScopeWaits(t *testing.T) {
	w := newWatcher()
	s, _ := onRelay(t, 3.6)
	power := blind{Supply: s.rig.Supply}
	s.rig.Supply, s.watch = &power, w
	session := s.open(t, nil)
	asked := 0
	power.asked = func() {
		if asked++; asked != 2 { // the first only checks the script's volts
			return
		}
		if err := session.Hold("hands on the board"); err != nil {
			t.Error(err)
		}
	}
	done := s.cycle(t, session)
	for range 2 { // before the cycle, and when the hold has ended it
		if off := w.await(t, runner.SupplyRead); !off.ConfirmedOff {
			t.Errorf("off is not confirmed: %+v", off)
		}
	}
	w.await(t, runner.Held)
	if err := session.Resume(); err != nil {
		t.Fatal(err)
	}
	if a := <-done; a.err != nil || a.result.Verdict != "started" {
		t.Errorf("after the hold: %+v", a)
	}
}

// TestBlindRelayIsConfirmedByTheRail: where nothing reads the relay back, off is what the rail probe shows.
func TestBlindRelayIsConfirmedByTheRail(t *testing.T) {
	w := newWatcher()
	s, _ := onRelay(t, 3.6)
	power := blind{Supply: s.rig.Supply}
	s.rig.Supply, s.watch = &power, w
	session := s.open(t, nil)
	s.mustCycle(t, session, "started")
	if e := w.await(t, runner.SupplyRead); !e.ConfirmedOff {
		t.Errorf("off before the cycle: %+v", e)
	}
	if on := w.await(t, runner.SupplyRead); !on.Output {
		t.Errorf("not on in the cycle: %+v", on)
	}
	off := w.await(t, runner.SupplyRead)
	cycle := s.cycles(t, session.Run().ID)[0]
	if !off.ConfirmedOff || !off.At.After(cycle.PoweredOff) {
		t.Errorf("confirmed off at %v (%t), told to open at %v; the rail takes its time to fall", off.At, off.ConfirmedOff, cycle.PoweredOff)
	}

	power.welded = true
	a := <-s.cycle(t, session)
	var notOff *runner.NotOffError
	if !errors.As(a.err, &notOff) || !strings.Contains(a.err.Error(), "only the rail probe can confirm: the rail still shows") {
		t.Errorf("a relay that does not open: %v, %v", a.result, a.err)
	}
	power.welded = false
	if err := session.End(a.err); !errors.As(err, &notOff) {
		t.Errorf("the run ended with %v", err)
	}
}
