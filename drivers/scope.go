package drivers

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"ringup/drivers/dialect"
)

// armTime bounds, in real time, how long a scope may take until it waits for
// its trigger.
const armTime = 5 * time.Second

// scope is an oscilloscope spoken to through its dialect.
type scope struct {
	*device
	// sent is what was last sent for each group of settings, so that Arm sends
	// only what changed. It is dropped whenever the scope may have lost it.
	sent map[string][]string
}

// group is settings that are sent together or not at all.
type group struct {
	key, operation string
	settings       dialect.Settings
}

// groups lists a setup's settings in the order they are sent.
func groups(setup RecordSetup) []group {
	var out []group
	for _, c := range setup.Channels {
		out = append(out, group{fmt.Sprintf("channel %d", c.Number), "channel", dialect.Settings{
			"channel": float64(c.Number), "attenuation": c.Attenuation, "ac": number(c.ACCoupled),
			"low_volts": c.LowVolts, "high_volts": c.HighVolts,
			"range_volts": c.HighVolts - c.LowVolts, "centre_volts": (c.LowVolts + c.HighVolts) / 2,
		}})
	}
	out = append(out,
		group{"detector", "detector", dialect.Settings{"peak": number(setup.Peak)}},
		group{"sweep", "sweep", dialect.Settings{
			"start_seconds": setup.StartSeconds, "window_seconds": setup.WindowSeconds, "points": float64(setup.Points),
		}})
	if t := setup.Trigger; t != nil {
		return append(out, group{"trigger", "trigger", dialect.Settings{"channel": float64(t.Channel), "level_volts": t.LevelVolts}})
	}
	return append(out, group{"trigger", "trigger_now", nil})
}

func number(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// checkSetup refuses a setup that makes no sense before anything is sent.
func checkSetup(setup RecordSetup) error {
	if len(setup.Channels) == 0 {
		return errors.New("scope: no channel is to be recorded; at least one is needed")
	}
	for _, c := range setup.Channels {
		switch {
		case c.Number < 1:
			return fmt.Errorf("scope: channel %d; channels count from 1", c.Number)
		case !(c.HighVolts > c.LowVolts):
			return fmt.Errorf("scope: channel %d: window from %g V to %g V; the upper end must be above the lower", c.Number, c.LowVolts, c.HighVolts)
		case !(c.Attenuation > 0):
			return fmt.Errorf("scope: channel %d: probe attenuation %g; it must be above 0", c.Number, c.Attenuation)
		}
	}
	if setup.Points < 1 || !(setup.WindowSeconds > 0) {
		return fmt.Errorf("scope: %d points over %g s; both must be above 0", setup.Points, setup.WindowSeconds)
	}
	return nil
}

// Arm implements Scope.
func (s *scope) Arm(ctx context.Context, setup RecordSetup) error {
	if err := checkSetup(setup); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.inStep(ctx); err != nil {
		return err
	}
	var commands []string
	changed := map[string][]string{}
	for _, g := range groups(setup) {
		c, err := s.dialect.Commands(g.operation, g.settings)
		if err != nil {
			return s.explain("", err)
		}
		if !slices.Equal(s.sent[g.key], c) {
			commands = append(commands, c...)
			changed[g.key] = c
		}
	}
	start, err := s.dialect.Commands("start", nil)
	if err != nil {
		return s.explain("", err)
	}
	begun := time.Now()
	if err := s.dialect.Send(ctx, s.session, append(commands, start...)); err != nil {
		s.sent = nil // how many of them took effect is not known
		err = s.explainAfter("arm", begun, err)
		if KindOf(err) != "refused" {
			return err
		}
		_, stopErr := s.run(ctx, "stop", nil)
		return errors.Join(err, stopErr)
	}
	if s.sent == nil {
		s.sent = map[string][]string{}
	}
	for key, c := range changed {
		s.sent[key] = c
	}
	if err := s.confirm(ctx, setup, changed, begun); err != nil {
		return err
	}
	if setup.Trigger == nil {
		return nil
	}
	return s.awaitArmed(ctx, begun)
}

// confirm compares the settings that were sent with what reads back, where the
// dialect asks them back. One that does not stops the scope.
func (s *scope) confirm(ctx context.Context, setup RecordSetup, changed map[string][]string, begun time.Time) error {
	var asked []dialect.Setting
	for _, g := range groups(setup) {
		if _, ok := changed[g.key]; ok {
			asked = append(asked, dialect.Setting{Operation: g.operation, Settings: g.settings})
		}
	}
	err := s.explainAfter("arm", begun, s.dialect.Confirm(ctx, s.session, asked))
	if err == nil {
		return nil
	}
	s.sent = nil
	if s.session.Torn() != nil {
		return err
	}
	_, stopErr := s.run(context.WithoutCancel(ctx), "stop", nil)
	return errors.Join(err, stopErr)
}

// awaitArmed returns once the scope says that it waits for its trigger: until
// then an edge would be missed.
func (s *scope) awaitArmed(ctx context.Context, begun time.Time) error {
	for pause := time.Millisecond; ; pause = min(2*pause, 50*time.Millisecond) {
		r, err := s.run(ctx, "state", nil)
		if err != nil {
			return err
		}
		switch {
		case r.State == dialect.Waiting:
			return nil
		case r.State == dialect.Done:
			err = errors.New("the scope took its record before the edge it was to wait for: noise crosses the trigger level")
		case time.Since(begun) > armTime:
			err = errors.New("the scope does not come to wait for its trigger")
		default:
			if err = wait(ctx, pause); err == nil {
				continue
			}
		}
		_, stopErr := s.run(context.WithoutCancel(ctx), "stop", nil)
		return errors.Join(s.explainAfter("arm", begun, err), stopErr)
	}
}

// inStep is ready, and forgets the settings sent if anything went wrong.
func (s *scope) inStep(ctx context.Context) error {
	if s.session == nil || s.session.Torn() != nil {
		s.sent = nil
	}
	return s.ready(ctx)
}

// Done implements Scope.
func (s *scope) Done(ctx context.Context) (bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.inStep(ctx); err != nil {
		return false, err
	}
	r, err := s.run(ctx, "state", nil)
	return r.State == dialect.Done, err
}

// Fetch implements Scope.
func (s *scope) Fetch(ctx context.Context, channel int) (Waveform, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.inStep(ctx); err != nil {
		return Waveform{}, err
	}
	r, err := s.record(ctx, channel)
	if err != nil {
		return Waveform{}, err
	}
	w, err := r.frame.scale(r.data)
	if err != nil {
		s.session.Tear(err)
		return Waveform{}, s.explain("data", err)
	}
	w.Channel = channel
	return w, nil
}

// Stop implements Scope.
func (s *scope) Stop(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.inStep(ctx); err != nil {
		return err
	}
	_, err := s.run(ctx, "stop", nil)
	return err
}

// Reopen implements Scope.
func (s *scope) Reopen(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sent = nil
	return repeatOpen(ctx, func() error {
		if err := s.reopenOnce(ctx); err != nil {
			return err
		}
		_, err := s.run(ctx, "stop", nil)
		return err
	})
}

// isWhole says whether v is a whole number within low to high.
func isWhole(v, low, high float64) bool { return v == math.Trunc(v) && v >= low && v <= high }
