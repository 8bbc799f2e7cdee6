package drivers_test

import (
	"errors"
	"math"
	"testing"

	"ringup/drivers"
)

func TestGuardRefusesBeforeSending(t *testing.T) {
	b := openSupply(t, "tcp")
	g := drivers.Guard(b.Supply, 3.9, 0.15)
	ctx := t.Context()
	before := len(b.fake.Log())
	for _, volts := range []float64{5.5, 3.9000001, -0.1, math.NaN(), math.Inf(1), math.Inf(-1)} {
		var limit *drivers.LimitError
		if err := g.SetVolts(ctx, volts); !errors.As(err, &limit) || limit.Quantity != "volts" || limit.Limit != 3.9 || drivers.KindOf(err) != "refused" {
			t.Errorf("SetVolts(%v) = %v, want a LimitError", volts, err)
		}
	}
	for _, c := range []struct{ volts, amps float64 }{{4, 0.1}, {3, 0.2}, {math.NaN(), 0.1}, {3, math.NaN()}, {3, -1}} {
		var limit *drivers.LimitError
		if err := g.Limit(ctx, c.volts, c.amps); !errors.As(err, &limit) {
			t.Errorf("Limit(%v, %v) = %v, want a LimitError", c.volts, c.amps, err)
		}
	}
	if got := b.fake.Log()[before:]; len(got) != 0 {
		t.Errorf("%q was sent", got)
	}
}

// TestGuardOn: a supply may remember 12 V and 2 A from yesterday.
func TestGuardOn(t *testing.T) {
	b := openSupply(t, "tcp")
	b.fake.Do(func() { b.state.Volts, b.state.Amps = 12, 2 })
	g := drivers.Guard(b.Supply, 3.9, 0.15)
	ctx := t.Context()
	if err := g.On(ctx); err == nil || b.look().On {
		t.Fatalf("On before any voltage was set = %v, output %v", err, b.look().On)
	}
	if err := errors.Join(g.SetVolts(ctx, 3.9), g.On(ctx)); err != nil {
		t.Fatal(err)
	}
	if s := b.look(); !s.On || s.Volts != 3.9 || s.Amps != 0.15 || s.Protection == 0 {
		t.Errorf("switched on with %+v, want the limits programmed first", s)
	}
	if err := g.Off(ctx); err != nil {
		t.Fatal(err)
	}
	b.wire.Cut()
	b.wire.Plug(b.fake)
	b.fake.Do(func() { b.state.Volts, b.state.Amps = 12, 2 })
	if err := g.Reopen(ctx); err != nil {
		t.Fatal(err)
	}
	if err := g.On(ctx); err == nil || b.look().On {
		t.Errorf("On after Reopen with no voltage set = %v", err)
	}
	if err := errors.Join(g.SetVolts(ctx, 2.4), g.On(ctx)); err != nil {
		t.Fatal(err)
	}
	if s := b.look(); s.Amps != 0.15 {
		t.Errorf("after Reopen the current limit is %g A", s.Amps)
	}
}

// TestGuardAfterPowerDip: a supply that lost its settings while its link stayed
// up comes up with its own limits.
func TestGuardAfterPowerDip(t *testing.T) {
	b := openSupply(t, "tcp")
	g := drivers.Guard(b.Supply, 3.9, 0.15)
	ctx := t.Context()
	if err := errors.Join(g.SetVolts(ctx, 3.3), g.On(ctx), g.Off(ctx)); err != nil {
		t.Fatal(err)
	}
	b.fake.Do(func() { b.state.Amps, b.state.Protection = 3, 0 })
	if err := errors.Join(g.SetVolts(ctx, 3.3), g.On(ctx)); err != nil {
		t.Fatal(err)
	}
	if s := b.look(); s.Amps != 0.15 || s.Protection != 3.9*1.05 {
		t.Errorf("after a power dip the unit was switched on with %+v", s)
	}
}

// TestGuardOnAfterSilentReopen: off opens a lost address by itself, and what
// the supply is set to then is not known.
func TestGuardOnAfterSilentReopen(t *testing.T) {
	b := openSupply(t, "tcp")
	g := drivers.Guard(b.Supply, 3.9, 0.15)
	ctx := t.Context()
	if err := g.SetVolts(ctx, 3.3); err != nil {
		t.Fatal(err)
	}
	b.wire.Cut()
	b.wire.Plug(b.fake)
	b.fake.Do(func() { b.state.Volts = 12 })
	if err := g.Off(ctx); err != nil {
		t.Fatal(err)
	}
	if err := g.On(ctx); err == nil || b.look().On {
		t.Errorf("On with 12 V remembered = %v, output %t", err, b.look().On)
	}
}

// TestGuardOnAfterFailedSet: a voltage that did not read back is not set.
func TestGuardOnAfterFailedSet(t *testing.T) {
	b := openSupply(t, "tcp")
	g := drivers.Guard(b.Supply, 3.9, 0.15)
	if err := g.SetVolts(t.Context(), 3.3); err != nil {
		t.Fatal(err)
	}
	b.fake.Do(func() { b.fake.Commands["SOURce:VOLTage?"] = func(string) string { return "+1.200000E+01" } })
	if err := g.SetVolts(t.Context(), 3.0); err == nil {
		t.Fatal("a voltage that reads back as 12 V was accepted")
	}
	if err := g.On(t.Context()); err == nil || b.look().On {
		t.Errorf("On = %v, output %v", err, b.look().On)
	}
}

func TestHistory(t *testing.T) {
	b := openSupply(t, "tcp")
	g := drivers.Guard(b.Supply, 3.9, 0.15)
	if err := g.SetVolts(t.Context(), 3.3); err != nil {
		t.Fatal(err)
	}
	h := g.(drivers.Historian).History()
	if n := len(h); n < 2 || h[n-2].Text != "SOURce:VOLTage 3.3000;:SOURce:VOLTage?" || !h[n-2].Sent || h[n-1].Sent {
		t.Errorf("the last messages are %+v", h)
	}
	if err := g.Close(); err != nil {
		t.Fatal(err)
	}
	if after := g.(drivers.Historian).History(); len(after) != len(h) {
		t.Errorf("%d messages were remembered, %d after Close", len(h), len(after))
	}
}
