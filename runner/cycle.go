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
	return fmt.Sprintf("the unit drew %.3g A, allowed are %.3g A; the supply was switched off at once: look at the unit before the run goes on", e.Amps, e.MaxAmps)
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
// confirmed off when it returns, whatever happened; if that fails the error is a *NotOffError. Instrument trouble is no
// error: it makes the cycle unread. So does too much current, after which the run is to hold. A run that is to hold
// before the unit was energised gives errHeld, and there was no cycle.
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
	var current *OverCurrentError
	var stopErr error
	if s.rig.Scope != nil && (errors.As(err, &current) || errors.Is(err, errHeld)) {
		// The scope may still wait for its trigger, and would refuse the next record. If it cannot be stopped the next
		// cycle will find out.
		stopErr = s.rig.Scope.Stop(ctx)
	}
	c.Judgement = s.judge(evidence, want)
	var limit *drivers.LimitError
	var residual *ResidualError
	var byHand *drivers.SetByHandError
	var changed *drivers.IdentityChanged
	switch {
	case err == nil:
	case ctx.Err() != nil, errors.Is(err, errHeld), errors.As(err, &limit), errors.As(err, &residual), errors.As(err, &byHand), errors.As(err, &changed):
		return c, nil, err
	default:
		c.Verdict, c.Reason = verdict.Unread, err.Error()
	}
	s.trouble, s.lastReason = err, c.Reason
	if s.unreadInRow++; c.Verdict != verdict.Unread {
		s.unreadInRow = 0
	}
	if errors.As(err, &current) {
		s.trouble, s.unreadInRow = stopErr, 0
		if err := s.want(hold{cause: overCurrent, text: current.Error()}); err != nil {
			return c, nil, err
		}
	}
	c.Ended = s.clock.Now()
	var waves []logbook.Waveform
	if s.rig.Scope != nil {
		waves = append(waves, logbook.Waveform{Kind: "rail", Trace: evidence.Rail}, logbook.Waveform{Kind: "clock", Trace: evidence.Clock})
	}
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
	plan := CapturePlan(b, s.rig.Scope, want.watch)
	phase := s.phases(c.Phases)

	if err := s.off(ctx); err != nil {
		return e, err
	}
	if err := s.rest(ctx, s.offAt.Add(seconds(want.rest))); err != nil {
		return e, err
	}
	if err := s.awaitDischarge(ctx); err != nil {
		return e, err
	}
	phase("rest")
	var err error
	if c.AmbientCelsius, err = s.ambient(ctx); err != nil {
		return e, err
	}

	if err := s.rig.Supply.SetVolts(ctx, want.volts); err != nil {
		return e, err
	}
	if s.rig.Scope != nil {
		if err := s.rig.Scope.Arm(ctx, envelopeRecord(b, plan, want.volts, want.watch)); err != nil {
			return e, err
		}
	}
	phase("arm")

	if s.wantsHold() {
		return e, errHeld // nothing comes on any more
	}
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
	if s.rig.Scope == nil {
		phase("watch")
		return e, nil // the supply's reading is all there is
	}
	err = s.readStart(ctx, want, true, &e, phase)
	return e, err
}

func (s *Session) fetch(ctx context.Context, channel int) (verdict.Trace, error) {
	w, err := s.rig.Scope.Fetch(ctx, channel)
	return trace(w), err
}

// rest waits, supply off, until t. It returns errHeld at once when the run is to hold.
func (s *Session) rest(ctx context.Context, t time.Time) error {
	interruptible, cancel := context.WithCancel(ctx)
	defer cancel()
	s.mu.Lock()
	s.interruptRest = cancel
	wanted := s.wanted != nil
	s.mu.Unlock()
	if wanted {
		return errHeld
	}
	err := s.clock.Sleep(interruptible, max(0, t.Sub(s.clock.Now())))
	s.mu.Lock()
	s.interruptRest = nil
	s.mu.Unlock()
	if ctx.Err() == nil && interruptible.Err() != nil {
		return errHeld
	}
	return err
}

// awaitDischarge waits until the rail probe shows that the unit is really off: a reset that never re-armed
// looks like a dead clock.
func (s *Session) awaitDischarge(ctx context.Context) error {
	if s.rig.Scope == nil {
		return nil // nothing looks at the rail: the rest must be long enough
	}
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
