package drivers_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"ringup/drivers"
	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
)

func TestOffIsRepeated(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openSupply(t, transport)
		b.fake.Do(func() { b.state.On, b.state.StuckOn = true, 2 })
		if err := b.Off(t.Context()); err != nil {
			t.Errorf("Off = %v, want the third to succeed", err)
		}
		if n := b.fake.Count("OUTPut OFF"); n != 3 {
			t.Errorf("off was sent %d times, want 3", n)
		}
		b.fake.Do(func() { b.state.On, b.state.StuckOn = true, 100 })
		err := b.Off(t.Context())
		var not *drivers.NotConfirmedOff
		if !errors.As(err, &not) || not.Attempts != 5 || !strings.Contains(err.Error(), "MAY STILL BE ON") {
			t.Errorf("Off of a stuck supply = %v", err)
		}
		if n := b.fake.Count("OUTPut OFF"); n != 8 {
			t.Errorf("off was sent %d times in all, want 8", n)
		}
	})
}

// TestOffOutOfStep: off goes out before the session gets back into step, and a
// cancelled context does not stop it.
func TestOffOutOfStep(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openSupply(t, transport)
		b.fake.Do(func() { b.state.On = true })
		b.dropReply("MEASure:VOLTage?")
		if _, err := b.Read(t.Context()); !errors.Is(err, link.ErrTimeout) {
			t.Fatalf("Read = %v, want a time-out", err)
		}
		before := len(b.fake.Log())
		ended, cancel := context.WithCancel(t.Context())
		cancel()
		if err := b.Off(ended); err != nil {
			t.Fatalf("Off = %v", err)
		}
		if got := b.fake.Log()[before]; got != "OUTPut OFF" {
			t.Errorf("the first thing sent was %q, want off", got)
		}
		if b.look().On {
			t.Error("the output is on")
		}
	})
}

func TestReopen(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openSupply(t, transport)
		b.wire.Cut()
		if _, err := b.Output(t.Context()); !errors.Is(err, link.ErrGone) {
			t.Fatalf("Output over a cut link = %v", err)
		}
		ended, cancel := context.WithCancel(t.Context())
		cancel()
		if err := b.Reopen(ended); !errors.Is(err, context.Canceled) || !errors.Is(err, link.ErrGone) {
			t.Errorf("Reopen with nothing there = %v", err)
		}
		if _, err := b.Output(t.Context()); !errors.Is(err, link.ErrGone) {
			t.Errorf("Output after a failed Reopen = %v", err)
		}

		other, _ := fake.NewSupply("SUP-2")
		b.wire.Plug(other)
		var changed *drivers.IdentityChanged
		if err := b.Reopen(t.Context()); !errors.As(err, &changed) || changed.Was.Serial != "SUP-1" || changed.Is.Serial != "SUP-2" {
			t.Errorf("Reopen with another supply = %v", err)
		}
		if n := other.Count("OUTPut ON") + other.Count("*CLS"); n != 0 {
			t.Errorf("the other supply was sent %d commands", n)
		}

		b.wire.Cut()
		b.wire.Plug(b.fake)
		if err := b.Reopen(t.Context()); err != nil {
			t.Fatalf("Reopen = %v", err)
		}
		if on, err := b.Output(t.Context()); err != nil || on {
			t.Errorf("Output after Reopen = %v, %v", on, err)
		}
	})
}

// TestReopenWaits: the instrument comes back while Reopen is trying.
func TestReopenWaits(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openSupply(t, transport)
		b.wire.Cut()
		done := make(chan error, 1)
		go func() { done <- b.Reopen(t.Context()) }()
		b.wire.Plug(b.fake)
		if err := <-done; err != nil {
			t.Errorf("Reopen = %v", err)
		}
	})
}

// TestOffReopens: a supply that was unplugged and plugged in again is switched
// off without further ado.
func TestOffReopens(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openSupply(t, transport)
		b.fake.Do(func() { b.state.On = true })
		b.wire.Cut()
		b.wire.Plug(b.fake)
		if err := b.Off(t.Context()); err != nil {
			t.Fatalf("Off = %v", err)
		}
		if b.look().On {
			t.Error("the output is on")
		}
		b.wire.Cut()
		var not *drivers.NotConfirmedOff
		if err := b.Off(t.Context()); !errors.As(err, &not) || !errors.Is(err, link.ErrGone) {
			t.Errorf("Off with the supply gone = %v", err)
		}
	})
}
