package runner

import (
	"context"
	"fmt"
	"math"
	"time"
)

const (
	// ambientPatience bounds, in real time, what one attempt to bring a thermometer back costs a cycle.
	ambientPatience = time.Second
	// ambientRetry is how long, on the run's clock, a thermometer that failed is left alone.
	ambientRetry = time.Minute
)

// ambient reads the ambient in degrees Celsius; NaN if it was not measured. A thermometer judges no start and switches
// nothing, so one that fails costs no cycle and holds no run: the logbook gets a mark when it fails and another when
// it answers again. The error is that of the logbook, or the end of ctx.
func (s *Session) ambient(ctx context.Context) (float64, error) {
	if s.rig.Thermometer == nil || s.clock.Now().Before(s.ambientAgain) {
		return math.NaN(), nil
	}
	celsius, err := s.rig.Thermometer.Celsius(ctx)
	if err != nil && ctx.Err() == nil {
		celsius, err = s.regainAmbient(ctx)
	}
	if ctx.Err() != nil {
		return math.NaN(), ctx.Err()
	}
	failed := !s.ambientAgain.IsZero()
	switch {
	case err != nil:
		celsius, s.ambientAgain = math.NaN(), s.clock.Now().Add(ambientRetry)
		if !failed {
			err = s.note("mark", "the ambient is not measured from here on: "+brief(err))
		} else {
			err = nil // said already
		}
	case failed:
		s.ambientAgain = time.Time{}
		err = s.note("mark", fmt.Sprintf("the ambient is measured again: %.1f °C", celsius))
	}
	s.publish(Event{Kind: Ambient, Celsius: celsius})
	return celsius, err
}

// regainAmbient opens the thermometer again, once and not for long, and reads it.
func (s *Session) regainAmbient(ctx context.Context) (float64, error) {
	ctx, cancel := context.WithTimeout(ctx, ambientPatience)
	defer cancel()
	if err := s.rig.Thermometer.Reopen(ctx); err != nil {
		return math.NaN(), err
	}
	return s.rig.Thermometer.Celsius(ctx)
}
