package runner

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"ringup/drivers"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// Defaults of a cycle whose script names neither.
const (
	defaultRestSeconds = 3.0
	defaultWatch       = 1.25 // of the time a start may take: a late one must still show
)

// residualWait is how long a rail may take to fall below the residual limit beyond its rest.
const residualWait = 2 * time.Minute

// OverCurrentError says that the unit drew more than the bench file allows; the supply is off.
type OverCurrentError struct{ Amps, MaxAmps float64 }

func (e *OverCurrentError) Error() string {
	return fmt.Sprintf("the unit drew %.3g A, allowed are %.3g A; the supply was switched off at once: look at the unit before you go on", e.Amps, e.MaxAmps)
}

// ResidualError says that the rail did not discharge while the supply was off.
type ResidualError struct{ Volts, MaxVolts float64 }

func (e *ResidualError) Error() string {
	return fmt.Sprintf("the rail still shows %.3g V %s after its rest, allowed are %.3g V: something else feeds the unit (a fitted cell, a programmer, a probe), or it needs a bleeder",
		e.Volts, residualWait, e.MaxVolts)
}

// condition is what a cycle is asked to be.
type condition struct {
	volts, rest, watch float64
}

// powerCycle does one cycle on the instruments: off, rest, set, arm, on, watch, off, judge. The supply is
// off and read back as off when it returns, whatever happened; if that fails the error holds a
// *drivers.NotConfirmedOff. Instrument trouble is no error: it makes the cycle unread.
func (s *Session) powerCycle(ctx context.Context, number int, want condition) (logbook.Cycle, []logbook.Waveform, error) {
	c := logbook.Cycle{
		Run: s.run.ID, Number: number, Treatment: s.Treatment(), SetVolts: want.volts, RestSeconds: want.rest,
		WatchSeconds: want.watch, Begun: s.clock.Now(), AmbientCelsius: math.NaN(), Phases: map[string]float64{},
	}
	evidence, err := s.observeStart(ctx, want, &c)
	if offErr := s.off(ctx); offErr != nil {
		return c, nil, errors.Join(err, offErr)
	}
	c.PoweredOff = s.offAt
	c.Judgement = verdict.Judge(evidence, verdict.Expect{
		SetVolts: want.volts, RailFraction: s.rig.Bench.Expect.RailFraction,
		ClockHertz: s.rig.Bench.Unit.ClockHertz, FrequencyWithin: s.rig.Bench.Expect.FrequencyWithin,
		AmplitudeMinVolts:  s.rig.Bench.Expect.AmplitudeMin(want.volts),
		StartWithinSeconds: s.rig.Bench.Expect.StartWithinSeconds, WatchSeconds: want.watch,
	})
	var limit *drivers.LimitError
	var current *OverCurrentError
	var residual *ResidualError
	switch {
	case err == nil:
	case ctx.Err() != nil, errors.As(err, &limit), errors.As(err, &current), errors.As(err, &residual):
		return c, nil, err
	default:
		c.Verdict, c.Reason = verdict.Unread, err.Error()
	}
	s.trouble = err
	if s.unreadInRow++; c.Verdict != verdict.Unread {
		s.unreadInRow = 0
	}
	c.Ended = s.clock.Now()
	waves := []logbook.Waveform{{Kind: "rail", Trace: evidence.Rail}, {Kind: "clock", Trace: evidence.Clock}}
	if len(evidence.Steady.Min) > 0 {
		waves = append(waves, logbook.Waveform{Kind: "steady", Trace: evidence.Steady})
	}
	if len(evidence.Lamp.Min) > 0 {
		waves = append(waves, logbook.Waveform{Kind: "lamp", Trace: evidence.Lamp})
	}
	for i := range waves {
		waves[i].Run, waves[i].Cycle = s.run.ID, number
	}
	return c, waves, nil
}

// observeStart takes the unit from rest through a start and gathers what the instruments saw. It leaves the
// supply as it is: powerCycle switches off.
func (s *Session) observeStart(ctx context.Context, want condition, c *logbook.Cycle) (verdict.Evidence, error) {
	b := s.rig.Bench
	e := verdict.Evidence{SupplyVolts: math.NaN(), SupplyAmps: math.NaN()}
	phase := s.phases(c.Phases)

	if err := s.off(ctx); err != nil {
		return e, err
	}
	if err := s.sleepUntil(ctx, s.offAt.Add(seconds(want.rest))); err != nil {
		return e, err
	}
	if err := s.awaitDischarge(ctx); err != nil {
		return e, err
	}
	phase("rest")
	if s.rig.Thermometer != nil {
		celsius, err := s.rig.Thermometer.Celsius(ctx)
		if err != nil {
			return e, err
		}
		c.AmbientCelsius = celsius
		s.publish(Event{Kind: Ambient, Celsius: celsius})
	}

	if err := s.rig.Supply.SetVolts(ctx, want.volts); err != nil {
		return e, err
	}
	if err := s.rig.Scope.Arm(ctx, envelopeRecord(b, want.volts, want.watch)); err != nil {
		return e, err
	}
	phase("arm")

	s.energised = true
	if err := s.rig.Supply.On(ctx); err != nil {
		return e, err
	}
	c.PoweredOn = s.clock.Now()
	if err := s.clock.Sleep(ctx, seconds(want.watch)); err != nil {
		return e, err
	}
	reading, err := s.rig.Supply.Read(ctx)
	if err != nil {
		return e, err
	}
	e.SupplyVolts, e.SupplyAmps = reading.Volts, reading.Amps
	s.publish(Event{Kind: SupplyRead, Output: true, Volts: reading.Volts, Amps: reading.Amps})
	if reading.Amps > b.Unit.MaxAmps {
		return e, &OverCurrentError{reading.Amps, b.Unit.MaxAmps}
	}
	triggered, err := s.acquired(ctx)
	if err != nil {
		return e, err
	}
	phase("watch")
	if !triggered {
		// The rail never crossed the trigger level. What the supply reads tells whether that is the supply's
		// fault or the scope's, and the verdict says which.
		return e, s.rig.Scope.Stop(ctx)
	}
	if e.Rail, err = s.fetch(ctx, b.Rail.Channel); err != nil {
		return e, err
	}
	if e.Clock, err = s.fetch(ctx, b.Clock.Channel); err != nil {
		return e, err
	}
	if e.Steady, err = s.capture(ctx, steadyRecord(b, want.volts)); err != nil {
		return e, err
	}
	phase("fetch")
	if b.Lamp != nil {
		if e.Lamp, err = s.capture(ctx, lampRecord(b, want.volts)); err != nil {
			return e, err
		}
		phase("lamp")
	}
	return e, nil
}

func (s *Session) fetch(ctx context.Context, channel int) (verdict.Trace, error) {
	w, err := s.rig.Scope.Fetch(ctx, channel)
	return trace(w), err
}

// off switches the supply off and reads it back, even when the run is being stopped.
func (s *Session) off(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), offTimeout)
	defer cancel()
	err := s.rig.Supply.Off(ctx)
	if err != nil && !s.closing {
		// A lost link: the supply must be heard again before anything else happens.
		if reopenErr := s.rig.Supply.Reopen(ctx); reopenErr != nil {
			err = errors.Join(err, reopenErr)
		} else {
			err = s.rig.Supply.Off(ctx)
		}
	}
	s.publish(Event{Kind: SupplyRead, Output: err != nil, ConfirmedOff: err == nil, Volts: math.NaN(), Amps: math.NaN()})
	if err != nil {
		return &NotOffError{err}
	}
	if s.energised || s.offAt.IsZero() {
		s.energised, s.offAt = false, s.clock.Now()
	}
	return nil
}

// offTimeout bounds, in real time, how long the supply is asked to switch off before a person is told.
const offTimeout = 30 * time.Second

// NotOffError says that the supply could not be confirmed off. It is the one error a person must act on at
// once.
type NotOffError struct{ Err error }

func (e *NotOffError) Error() string {
	return "THE SUPPLY IS NOT CONFIRMED OFF: switch it off by hand and disconnect the unit. " + e.Err.Error()
}

func (e *NotOffError) Unwrap() error { return e.Err }

func (s *Session) sleepUntil(ctx context.Context, t time.Time) error {
	return s.clock.Sleep(ctx, max(0, t.Sub(s.clock.Now())))
}

// awaitDischarge waits until the rail probe shows that the unit is really off: a reset that never re-armed
// looks like a dead clock.
func (s *Session) awaitDischarge(ctx context.Context) error {
	const poll = 250 * time.Millisecond
	limit := s.rig.Bench.Expect.ResidualMaxVolts
	for waited := time.Duration(0); ; waited += poll {
		level, err := s.capture(ctx, levelRecord(s.rig.Bench))
		if err != nil {
			return err
		}
		volts := mean(level)
		if volts < limit {
			return nil
		}
		if waited >= residualWait {
			return &ResidualError{volts, limit}
		}
		if err := s.clock.Sleep(ctx, poll); err != nil {
			return err
		}
	}
}

func mean(t verdict.Trace) float64 {
	if len(t.Min) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for i := range t.Min {
		sum += (t.Min[i] + t.Max[i]) / 2
	}
	return sum / float64(len(t.Min))
}

// phases returns a function that notes how much of the run's clock passed since it was last called.
func (s *Session) phases(into map[string]float64) func(string) {
	last := s.clock.Now()
	return func(name string) {
		now := s.clock.Now()
		into[name] += now.Sub(last).Seconds()
		last = now
	}
}
