package runner

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"ringup/drivers"
)

// offTimeout bounds, in real time, how long the supply is asked to switch off before a person is told.
const offTimeout = 30 * time.Second

// NotOffError says that the supply could not be confirmed off. It is the one error a person must act on at
// once.
type NotOffError struct{ Err error }

func (e *NotOffError) Error() string {
	return "THE SUPPLY IS NOT CONFIRMED OFF: switch it off by hand and disconnect the unit. " + e.Err.Error()
}

func (e *NotOffError) Unwrap() error { return e.Err }

// off switches the supply off and confirms it, even when the run is being stopped. While the run goes on and the link
// to the supply is lost, it holds the run and tries until the supply is heard again; ctx's end ends that. Nothing else
// happens before. The error is *NotOffError.
func (s *Session) off(ctx context.Context) error {
	err := s.tryOff(ctx)
	switch {
	case err == nil || !lost(err) || s.givenUp:
	case s.ending:
		within, cancel := context.WithTimeout(context.WithoutCancel(ctx), offTimeout)
		defer cancel()
		err = s.regainOff(within, err)
	case ctx.Err() == nil:
		s.publishOff(err)
		why := hold{cause: lostLink, text: "THE SUPPLY IS NOT CONFIRMED OFF; switched off as soon as it is heard: " + brief(err)}
		err = s.whileHeld(ctx, why, func(ctx context.Context) error { return s.regainOff(ctx, err) })
	}
	s.publishOff(err)
	if err != nil {
		s.givenUp = true
		return &NotOffError{err}
	}
	return nil
}

func (s *Session) publishOff(err error) {
	s.publish(Event{Kind: SupplyRead, Output: err != nil, ConfirmedOff: err == nil, Volts: math.NaN(), Amps: math.NaN()})
}

// tryOff switches off and confirms it: by reading back or, with a relay that nothing reads back, by the rail.
func (s *Session) tryOff(ctx context.Context) error {
	limit := offTimeout
	blind := !drivers.ReadsBack(s.rig.Supply)
	if blind {
		limit += residualWait
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), limit)
	defer cancel()
	if err := s.rig.Supply.Off(ctx); err != nil {
		return err
	}
	at := s.clock.Now()
	if blind {
		// The scope may still wait for its trigger, and would refuse to look at the rail.
		err := s.rig.Scope.Stop(ctx)
		if err == nil {
			err = s.awaitDischarge(ctx)
		}
		if err != nil {
			return fmt.Errorf("the relay was told to open, which only the rail probe can confirm: %w", err)
		}
	}
	if s.energised || s.offAt.IsZero() {
		s.energised, s.offAt = false, at
	}
	return nil
}

// regainOff opens what err says is lost and switches off, again and again until ctx ends.
func (s *Session) regainOff(ctx context.Context, err error) error {
	for {
		reopen := s.rig.Supply.Reopen
		var failed *drivers.InstrumentError
		if errors.As(err, &failed) && failed.Role == "scope" {
			reopen = s.rig.Scope.Reopen
		}
		if reopenErr := reopen(ctx); reopenErr != nil {
			return errors.Join(err, reopenErr)
		}
		if err = s.tryOff(ctx); err == nil || !lost(err) || ctx.Err() != nil {
			return err
		}
	}
}

// lost says whether an instrument may be heard again by waiting for it. Another instrument in its place, or one that
// answers and does not obey, wants a person.
func lost(err error) bool {
	var changed *drivers.IdentityChanged
	if errors.As(err, &changed) {
		return false
	}
	switch drivers.KindOf(err) {
	case "gone", "timeout", "garbled":
		return true
	}
	return false
}

// brief is the error of the instrument itself, without what was done about it.
func brief(err error) string {
	var failed *drivers.InstrumentError
	if errors.As(err, &failed) {
		return failed.Error()
	}
	return err.Error()
}
