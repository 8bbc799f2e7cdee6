package drivers

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"ringup/drivers/dialect"
	"ringup/drivers/link"
	"ringup/drivers/scpi"
)

const (
	// offAttempts is how often off is sent before giving up.
	offAttempts = 5
	// offTime bounds all of them.
	offTime = 20 * time.Second
	// protectionMargin is how far above the voltage limit the over-voltage
	// protection is set, so that a set-point at the limit does not trip it by
	// the supply's own inaccuracy.
	protectionMargin = 1.05
)

// supply is a bench supply spoken to through its dialect.
type supply struct{ *device }

// Limit implements Supply. The over-voltage protection is set 5 % above
// maxVolts.
func (s *supply) Limit(ctx context.Context, maxVolts, maxAmps float64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.ready(ctx); err != nil {
		return err
	}
	if _, err := s.run(ctx, "set_amps", dialect.Settings{"amps": maxAmps}); err != nil {
		return err
	}
	if !s.dialect.Has("set_protection") {
		return nil
	}
	_, err := s.run(ctx, "set_protection", dialect.Settings{"volts": maxVolts * protectionMargin, "amps": maxAmps})
	return err
}

// SetVolts implements Supply.
func (s *supply) SetVolts(ctx context.Context, volts float64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.ready(ctx); err != nil {
		return err
	}
	_, err := s.run(ctx, "set_volts", dialect.Settings{"volts": volts})
	return err
}

// On implements Supply.
func (s *supply) On(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.ready(ctx); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return s.explain("output_on", fmt.Errorf("%w: %w", scpi.ErrNotSent, err))
	}
	_, err := s.run(ctx, "output_on", dialect.Settings{"on": 1})
	var failed *InstrumentError
	if errors.As(err, &failed) && failed.Kind() != "refused" {
		failed.Err = fmt.Errorf("%w: %w", ErrStateUnknown, failed.Err)
		failed.Hint = "read the output back or switch it off; on is not sent again"
	}
	return err
}

// Off implements Supply. Off is sent first even when the session is out of
// step, since getting back into step takes time.
func (s *supply) Off(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return &NotConfirmedOff{Address: s.options.Address, Err: link.ErrClosed}
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), offTime)
	defer cancel()
	var err error
	attempts := 0
	for pause := firstPause; attempts < offAttempts; pause *= 2 {
		attempts++
		if err = s.tryOff(ctx); err == nil {
			return nil
		}
		if attempts < offAttempts && wait(ctx, pause) != nil {
			break
		}
	}
	return &NotConfirmedOff{Address: s.options.Address, Attempts: attempts, Err: err}
}

// tryOff opens the address again if the link is gone, sends off, and reads it
// back.
func (s *supply) tryOff(ctx context.Context) error {
	if s.session == nil || KindOf(s.session.Torn()) == "gone" {
		if err := s.reopenOnce(ctx); err != nil {
			return err
		}
	}
	off := dialect.Settings{"on": 0}
	if s.session.Torn() != nil {
		commands, err := s.dialect.Commands("output_off", s.settings(off))
		if err != nil {
			return err
		}
		for _, c := range commands {
			if err := s.session.Force(ctx, c); err != nil {
				return s.explain(c, err)
			}
		}
	}
	if err := s.ready(ctx); err != nil {
		return err
	}
	_, err := s.run(ctx, "output_off", off)
	return err
}

// Output implements Supply.
func (s *supply) Output(ctx context.Context) (bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.ready(ctx); err != nil {
		return false, err
	}
	r, err := s.run(ctx, "read_output", nil)
	return r.Yes, err
}

// Read implements Supply.
func (s *supply) Read(ctx context.Context) (SupplyReading, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	none := SupplyReading{math.NaN(), math.NaN()}
	if err := s.ready(ctx); err != nil {
		return none, err
	}
	volts, err := s.run(ctx, "read_volts", nil)
	if err != nil {
		return none, err
	}
	amps, err := s.run(ctx, "read_amps", nil)
	if err != nil {
		return none, err
	}
	return SupplyReading{measured(volts.Number), measured(amps.Number)}, nil
}

// measured turns an infinite reading, which some instruments give when they
// cannot measure, into "not measured".
func measured(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}
