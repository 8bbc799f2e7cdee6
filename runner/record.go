package runner

import (
	"context"
	"fmt"
	"math"
	"time"

	"ringup/drivers"
	"ringup/runner/bench"
	"ringup/runner/verdict"
)

// What the scope is asked for in one cycle. Points and windows suit an ordinary bench scope.
const (
	preTrigger   = 0.08 // of the watch window, to learn the noise before the rail rises
	lampSeconds  = 2.4  // two blinks of a 1 Hz lamp, whole
	lampPoints   = 480
	levelSeconds = 1e-3
	levelPoints  = 64
)

// CapturePlan says how the clock of a cycle is recorded on a bench with that scope, and what stands in the way. watch is
// in seconds; 0 for that of a cycle whose script names none.
func CapturePlan(b *bench.Bench, scope drivers.Scope, watch float64) verdict.CapturePlan {
	if watch == 0 {
		watch = defaultWatch * b.Expect.StartWithinSeconds
	}
	limits := drivers.LimitsOf(scope)
	others := levelPoints
	if b.Lamp != nil {
		others += lampPoints
	}
	return verdict.PlanCapture(verdict.CaptureNeeds{
		ClockHertz: b.Unit.ClockHertz, WatchSeconds: (1 + preTrigger) * watch,
		Depth: limits.Points, MaxSamplesPerSecond: limits.SamplesPerSecond, MeasuresItself: limits.Measures,
		BytesPerSecond: drivers.BytesPerSecond(b.Scope.Address), BytesPerSample: drivers.RecordReadings, OtherSamples: others,
	})
}

// Headroom of the vertical windows, as a fraction of the set volts.
const (
	railHeadroom  = 0.25
	clockHeadroom = 0.35
)

// railChannel is the rail probe's window: from a little below ground to a little above the set volts.
func railChannel(b *bench.Bench, volts float64) drivers.ChannelSetup {
	return drivers.ChannelSetup{
		Number: b.Rail.Channel, Attenuation: b.Rail.Attenuation,
		LowVolts: -railHeadroom * volts, HighVolts: (1 + railHeadroom) * volts,
	}
}

// clockChannel is the clock probe's window. A pick-up coil sees no bias and swings about zero; a probe on a
// node sits at half the supply and swings between the rails.
func clockChannel(b *bench.Bench, volts float64) drivers.ChannelSetup {
	c := drivers.ChannelSetup{Number: b.Clock.Channel, Attenuation: b.Clock.Attenuation}
	if b.Clock.Loads == bench.NearField {
		c.ACCoupled = true
		c.LowVolts, c.HighVolts = -(0.5+clockHeadroom)*volts, (0.5+clockHeadroom)*volts
		return c
	}
	c.LowVolts, c.HighVolts = -clockHeadroom*volts, (1+clockHeadroom)*volts
	return c
}

func envelopeRecord(b *bench.Bench, plan verdict.CapturePlan, volts, watch float64) drivers.RecordSetup {
	return drivers.RecordSetup{
		Channels:     []drivers.ChannelSetup{railChannel(b, volts), clockChannel(b, volts)},
		StartSeconds: -preTrigger * watch, WindowSeconds: (1 + preTrigger) * watch,
		Points: plan.EnvelopePoints, Peak: true,
		Trigger: &drivers.TriggerSetup{Channel: b.Rail.Channel, LevelVolts: b.Expect.RailFraction * volts},
	}
}

func steadyRecord(b *bench.Bench, plan verdict.CapturePlan, volts float64) drivers.RecordSetup {
	return drivers.RecordSetup{
		Channels:      []drivers.ChannelSetup{clockChannel(b, volts)},
		WindowSeconds: float64(plan.SteadyPoints) / plan.SteadySamplesPerSecond, Points: plan.SteadyPoints,
	}
}

func lampRecord(b *bench.Bench, volts float64) drivers.RecordSetup {
	return drivers.RecordSetup{
		Channels: []drivers.ChannelSetup{{
			Number: b.Lamp.Channel, Attenuation: b.Lamp.Attenuation,
			LowVolts: -railHeadroom * volts, HighVolts: (1 + railHeadroom) * volts,
		}},
		WindowSeconds: lampSeconds, Points: lampPoints,
	}
}

// levelRecord reads what is left on the rail. Its window is narrow enough to tell a tenth of a volt.
func levelRecord(b *bench.Bench) drivers.RecordSetup {
	full := 8 * b.Expect.ResidualMaxVolts
	return drivers.RecordSetup{
		Channels: []drivers.ChannelSetup{{
			Number: b.Rail.Channel, Attenuation: b.Rail.Attenuation, LowVolts: -full / 4, HighVolts: full * 3 / 4,
		}},
		WindowSeconds: levelSeconds, Points: levelPoints,
	}
}

// untriggeredRail looks at a rail that did not cross the trigger level.
func untriggeredRail(b *bench.Bench, volts float64) drivers.RecordSetup {
	return drivers.RecordSetup{Channels: []drivers.ChannelSetup{railChannel(b, volts)}, WindowSeconds: levelSeconds, Points: levelPoints}
}

// trace turns a driver's waveform into what the verdict reads.
func trace(w drivers.Waveform) verdict.Trace {
	return verdict.Trace{
		StartSeconds: w.StartSeconds, StepSeconds: w.StepSeconds, Min: w.Min, Max: w.Max,
		LowVolts: w.LowVolts, HighVolts: w.HighVolts, Codes: w.Codes,
	}
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// take takes a record that needs no trigger: start, and wait for its window.
func (s *Session) take(ctx context.Context, setup drivers.RecordSetup) error {
	if err := s.rig.Scope.Arm(ctx, setup); err != nil {
		return err
	}
	if err := s.clock.Sleep(ctx, seconds(setup.WindowSeconds)); err != nil {
		return err
	}
	done, err := s.acquired(ctx)
	if err == nil && !done {
		err = fmt.Errorf("scope: a record of %g s without trigger was not complete %s after its end", setup.WindowSeconds, acquireWait)
	}
	return err
}

// capture takes such a record and fetches it.
func (s *Session) capture(ctx context.Context, setup drivers.RecordSetup) (verdict.Trace, error) {
	if err := s.take(ctx, setup); err != nil {
		return verdict.Trace{}, err
	}
	return s.fetch(ctx, setup.Channels[0].Number)
}

const (
	acquireWait = 2 * time.Second
	acquirePoll = 20 * time.Millisecond
)

// acquired polls until the scope's record is complete, and says so; or that it is not, after acquireWait.
func (s *Session) acquired(ctx context.Context) (bool, error) {
	for waited := time.Duration(0); ; waited += acquirePoll {
		done, err := s.rig.Scope.Done(ctx)
		if done || err != nil || waited >= acquireWait {
			return done, err
		}
		if err := s.clock.Sleep(ctx, acquirePoll); err != nil {
			return false, err
		}
	}
}
