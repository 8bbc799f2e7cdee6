package drivers

import (
	"context"
	"math"

	"ringup/drivers/dialect"
	"ringup/drivers/link"
)

// protectionMargin is how far above the voltage limit the over-voltage
// protection is set, so that a set-point at the limit does not trip it by
// the supply's own inaccuracy.
const protectionMargin = 1.05

// supply is a bench supply spoken to through its dialect.
type supply struct {
	*device
	unprotected []string // see Unprotected
}

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
	r, err := s.run(ctx, "set_protection", dialect.Settings{"volts": maxVolts * protectionMargin, "amps": maxAmps, "on": 1})
	s.unprotected = r.Unknown
	return err
}

// Unprotected implements what the function Unprotected asks.
func (s *supply) Unprotected() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.unprotected
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
	return s.sendOn(ctx, "output_on", dialect.Settings{"on": 1})
}

// Off implements Supply.
func (s *supply) Off(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return &NotConfirmedOff{Address: s.options.Address, Err: link.ErrClosed}
	}
	return repeatOff(ctx, s.options.Address, func(ctx context.Context) error {
		return s.sendOff(ctx, "output_off", dialect.Settings{"on": 0})
	})
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
	volts, err := s.number(ctx, "read_volts", nil)
	if err != nil {
		return none, err
	}
	amps, err := s.number(ctx, "read_amps", nil)
	if err != nil {
		return none, err
	}
	return SupplyReading{volts, amps}, nil
}

// measured turns an infinite reading, which some instruments give when they
// cannot measure, into "not measured".
func measured(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}
