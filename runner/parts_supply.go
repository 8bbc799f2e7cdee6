package runner

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"time"

	"ringup/drivers"
	"ringup/runner/logbook"
)

// lookEvery is how often the current is read while a script waits with the supply on.
const lookEvery = 10 * time.Second

// callSupplySet sets the voltage. A record that is armed was armed for another one, and is given up.
func (s *Session) callSupplySet(ctx context.Context, a struct {
	Volts float64 `json:"volts"`
}) (json.RawMessage, error) {
	if s.own.on {
		return nil, misuse("supply.set", "while the supply is on", "call supply.off first; not every supply takes another voltage while it is on, and no start is judged across one")
	}
	if err := s.allowed(a.Volts); err != nil {
		return nil, err
	}
	result, ok, err := s.part(ctx, "supply.set", a, func(ctx context.Context) (outcome, error) {
		if err := s.stopRecord(ctx); err != nil {
			return outcome{}, err
		}
		return outcome{}, s.rig.Supply.SetVolts(ctx, a.Volts)
	})
	if ok {
		s.own.volts, s.own.armed = a.Volts, nil
	}
	return result, err
}

// callSupplyOn switches on, once, and reads back. The voltage is set again before: a supply that was opened anew since
// supply.set remembers something else.
func (s *Session) callSupplyOn(ctx context.Context, _ struct{}) (json.RawMessage, error) {
	switch {
	case s.own.volts == 0:
		return nil, misuse("supply.on", "without a voltage", "call supply.set first; cycle, soak, threshold, hunt and ask forget what was set before them")
	case s.own.on:
		return nil, misuse("supply.on", "while the supply is on", "it is on already; supply.off comes before the next supply.on")
	}
	result, ok, err := s.part(ctx, "supply.on", struct{}{}, func(ctx context.Context) (outcome, error) {
		if s.offAt.IsZero() {
			if err := s.off(ctx); err != nil {
				return outcome{}, err
			}
		}
		celsius, err := s.ambient(ctx)
		if err != nil {
			return outcome{}, err
		}
		if s.own.armed != nil && !s.own.armedHere {
			return outcome{}, errInterrupted
		}
		if err := s.rig.Supply.SetVolts(ctx, s.own.volts); err != nil {
			return outcome{}, err
		}
		if s.wantsHold() { // nothing comes on any more
			if err := s.holdIfWanted(ctx); err != nil {
				return outcome{}, err
			}
			return outcome{}, errInterrupted
		}
		off := s.offAt
		s.energised, s.own.looked = true, false
		if err := s.rig.Supply.On(ctx); err != nil {
			return outcome{}, err
		}
		on := s.clock.Now()
		s.own.waves = nil
		s.own.cycle = logbook.Cycle{
			Treatment: s.Treatment(), AmbientCelsius: celsius, PoweredOn: on,
			RestSeconds: or(s.own.rest, math.Round(10*on.Sub(off).Seconds())/10), Phases: map[string]float64{},
		}
		s.publish(Event{Kind: SupplyRead, Output: true, Volts: math.NaN(), Amps: math.NaN()})
		return outcome{}, nil
	})
	if ok {
		s.own.on, s.own.came, s.own.fetched = true, true, false
	}
	return result, err
}

// callSupplyOff switches off and reads back. With a rest it goes on as a cycle begins: it waits, off, for so long and
// until the rail probe shows that nothing is left.
func (s *Session) callSupplyOff(ctx context.Context, a struct {
	Rest *float64 `json:"rest,omitempty"`
}) (json.RawMessage, error) {
	result, ok, err := s.part(ctx, "supply.off", a, func(ctx context.Context) (outcome, error) {
		if s.own.on && s.energised && !s.own.looked {
			var current *OverCurrentError
			if _, err := s.look(ctx); errors.As(err, &current) {
				return outcome{}, err
			} // A supply that does not say what flows is switched off all the same.
		}
		if err := s.off(ctx); err != nil {
			return outcome{}, err
		}
		s.own.cycle.PoweredOff = s.offAt
		if a.Rest == nil {
			return outcome{}, nil
		}
		if err := s.stopRecord(ctx); err != nil { // the scope is to look at the rail
			return outcome{}, err
		}
		if err := s.restOrHold(ctx, s.offAt.Add(seconds(*a.Rest))); err != nil {
			return outcome{}, err
		}
		return outcome{}, s.awaitDischarge(ctx)
	})
	if ok {
		s.own.on, s.own.rest = false, a.Rest
		if a.Rest != nil {
			s.own.armed = nil
		}
	}
	return result, err
}

// callSupplyRead measures volts and amps, and reads back whether the output is on.
func (s *Session) callSupplyRead(ctx context.Context, _ struct{}) (json.RawMessage, error) {
	result, _, err := s.part(ctx, "supply.read", struct{}{}, func(ctx context.Context) (outcome, error) {
		if err := s.stillOn(); err != nil {
			return outcome{}, err
		}
		on, err := s.rig.Supply.Output(ctx)
		if err != nil {
			return outcome{}, err
		}
		var reading drivers.SupplyReading
		if on {
			reading, err = s.look(ctx)
		} else {
			reading, err = s.rig.Supply.Read(ctx)
		}
		return outcome{result: struct {
			Volts  *float64 `json:"volts"`
			Amps   *float64 `json:"amps"`
			Output bool     `json:"output"`
		}{measured(reading.Volts), measured(reading.Amps), on}}, err
	})
	return result, err
}

// waitOn waits while a script has the supply on, and looks at the current now and then.
func (s *Session) waitOn(ctx context.Context, end time.Time) error {
	if err := s.stillOn(); err != nil {
		return err
	}
	for {
		next := s.clock.Now().Add(lookEvery)
		if !next.Before(end) {
			next = end
		}
		err := s.rest(ctx, next)
		if errors.Is(err, errHeld) {
			if err := s.holdIfWanted(ctx); err != nil {
				return err
			}
			return errInterrupted
		}
		if err != nil || next.Equal(end) {
			return err
		}
		if _, err := s.look(ctx); err != nil {
			return err
		}
	}
}
