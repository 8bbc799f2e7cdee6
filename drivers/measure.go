package drivers

import (
	"context"
	"math"

	"ringup/drivers/dialect"
)

// ScopeMeasurement is what a scope measures itself on the signal it shows; NaN
// for what it does not measure.
type ScopeMeasurement struct{ Hertz, PeakToPeakVolts float64 }

// Measurer is a scope with measurements of its own, for looking over a probe.
// Verdicts never come from it. All scopes that this package opens are one.
type Measurer interface {
	Measure(ctx context.Context, channel int) (ScopeMeasurement, error)
}

// Measure implements Measurer.
func (s *scope) Measure(ctx context.Context, channel int) (ScopeMeasurement, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := ScopeMeasurement{math.NaN(), math.NaN()}
	if err := s.inStep(ctx); err != nil {
		return m, err
	}
	for operation, value := range map[string]*float64{"measure_frequency": &m.Hertz, "measure_peak_to_peak": &m.PeakToPeakVolts} {
		if !s.dialect.Has(operation) {
			continue
		}
		r, err := s.run(ctx, operation, dialect.Settings{"channel": float64(channel)})
		if err != nil {
			return ScopeMeasurement{math.NaN(), math.NaN()}, err
		}
		*value = measured(r.Number)
	}
	return m, nil
}
