package runner

import (
	"context"
	"errors"

	"ringup/drivers"
	"ringup/runner/verdict"
)

// steady takes the steady record of the clock. Where the record stays in the scope, because the wire is too slow for it
// or it did not come although it was asked for twice, the scope's own measurement of it has to do. A link that is gone
// makes the cycle unread.
func (s *Session) steady(ctx context.Context, plan verdict.CapturePlan, volts float64, e *verdict.Evidence) error {
	setup := steadyRecord(s.rig.Bench, plan, volts)
	if err := s.take(ctx, setup); err != nil {
		return err
	}
	channel := setup.Channels[0].Number
	why := "the wire is too slow for a steady record"
	var failed error
	if !plan.LeaveSteady {
		for range 2 { // it stands still in the scope, and may be asked for again
			if e.Steady, failed = s.fetch(ctx, channel); failed == nil || ctx.Err() != nil || drivers.KindOf(failed) == "gone" {
				return failed
			}
		}
		why = "the scope did not give its steady record (" + drivers.KindOf(failed) + ")"
	}
	measurer, ok := s.rig.Scope.(drivers.Measurer)
	if !ok || !drivers.LimitsOf(s.rig.Scope).Measures {
		return failed
	}
	m, err := measurer.Measure(ctx, channel)
	if err != nil {
		return errors.Join(failed, err)
	}
	e.Steady = verdict.Trace{}
	e.Own = &verdict.OwnMeasurement{Hertz: m.Hertz, PeakToPeakVolts: m.PeakToPeakVolts, Why: why}
	return nil
}
