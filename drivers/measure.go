package drivers

import (
	"context"
	"math"

	"ringup/drivers/dialect"
)

// ScopeMeasurement is what a scope measures itself on the record it holds; NaN
// for what it does not measure.
type ScopeMeasurement struct{ Hertz, PeakToPeakVolts float64 }

// Measurer is a scope with measurements of its own, for where a record cannot be
// had. All scopes that this package opens are one, as far as their dialects go.
type Measurer interface {
	Measure(ctx context.Context, channel int) (ScopeMeasurement, error)
}

// Measure implements Measurer. Each number is read as Supply.Read reads its own.
func (s *scope) Measure(ctx context.Context, channel int) (ScopeMeasurement, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	none := ScopeMeasurement{math.NaN(), math.NaN()}
	if err := s.inStep(ctx); err != nil {
		return none, err
	}
	m := none
	for _, of := range []struct {
		operation string
		value     *float64
	}{{"measure_frequency", &m.Hertz}, {"measure_peak_to_peak", &m.PeakToPeakVolts}} {
		if !s.dialect.Has(of.operation) {
			continue
		}
		var err error
		if *of.value, err = s.number(ctx, of.operation, dialect.Settings{"channel": float64(channel)}); err != nil {
			return none, err
		}
	}
	return m, nil
}

// ScopeLimits is what a scope can do, as far as its dialect says; 0 for what it
// does not say.
type ScopeLimits struct {
	Points           int     // of one record
	SamplesPerSecond float64 // of one channel
	Measures         bool    // frequency and peak-to-peak by itself
}

// LimitsOf returns what a scope can do; nothing known of nil.
func LimitsOf(s Scope) ScopeLimits {
	if l, ok := s.(interface{ limits() ScopeLimits }); ok {
		return l.limits()
	}
	return ScopeLimits{}
}

func (s *scope) limits() ScopeLimits {
	s.mu.Lock()
	defer s.mu.Unlock()
	return ScopeLimits{
		Points: s.dialect.MostPoints, SamplesPerSecond: s.dialect.MostSamplesPerSecond,
		Measures: s.dialect.Has("measure_frequency") && s.dialect.Has("measure_peak_to_peak"),
	}
}
