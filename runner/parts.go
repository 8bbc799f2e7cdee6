package runner

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"time"

	"ringup/drivers"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// ownCycle is the cycle that a script makes of its parts: supply.set, scope.arm, supply.on, scope.fetch, supply.off,
// record. What the script may believe of it follows from the script's calls, replayed ones too. What is really so, only
// this process knows: a hold switches off, and a restart has lost supply and scope alike. Where the two differ the next
// call that relies on it fails as "interrupted"; nothing is put back by itself, since a start that was not watched from
// its beginning is none.
type ownCycle struct {
	volts   float64       // supply.set; 0: not called
	rest    *float64      // asked of the last supply.off
	on      bool          // supply.on, and no supply.off since
	armed   *armArguments // scope.arm, and no scope.fetch since
	came    bool          // supply.on, since scope.arm
	fetched bool          // a start that record may count

	armedHere bool          // the scope waits for the trigger or has the record
	looked    bool          // at the current, since the supply came on
	begun     time.Time     // the first part
	cycle     logbook.Cycle // what will be recorded; without a verdict until it is fetched
	waves     []logbook.Waveform
}

// Kinds of error that a script may catch after its own cycle failed. The supply is off then.
const (
	interrupted   = "interrupted"  // the run held or the program was restarted
	badInstrument = "instrument"   // one failed; the scope has been brought back
	tooMuchAmps   = "over-current" // and a person has let the run go on
)

// partFailure is the recorded result of a part that failed. The script gets it as an error, on a replay as well.
type partFailure struct {
	Error struct {
		Kind     string   `json:"kind"`
		Message  string   `json:"message"`
		Messages []string `json:"messages,omitempty"` // of the instrument that failed, the last ones
	} `json:"error"`
}

func failureOf(kind, message string) (f partFailure) {
	f.Error.Kind, f.Error.Message = kind, message
	return f
}

func failed(result json.RawMessage) bool { return bytes.HasPrefix(result, []byte(`{"error":`)) }

// errInterrupted ends a part that relies on what is gone.
var errInterrupted = errors.New("the run held or the program was restarted meanwhile, and the supply was switched off: this start is lost, begin again with supply.set (pcall catches this, its kind is interrupted)")

// misuse refuses a part that makes no sense where it stands, before anything is touched. It follows from the script's
// calls alone, so it needs no record.
func misuse(call, found, allowed string) error {
	return &failrate.InputError{What: call, Found: found, Allowed: allowed}
}

// part is a step that belongs to a script's own cycle. If the instruments fail, the supply is switched off, the failure
// is the step's result, ok is false, and the own cycle is over; what failed is brought back before part returns.
func (s *Session) part(ctx context.Context, call string, arguments any, do func(context.Context) (outcome, error)) (result json.RawMessage, ok bool, err error) {
	result, err = s.step(ctx, call, arguments, func(ctx context.Context) (outcome, error) {
		if s.own.begun.IsZero() {
			s.own.begun = s.clock.Now()
		}
		out, err := do(ctx)
		if err == nil {
			return out, nil
		}
		return s.partFailed(ctx, err)
	})
	if err != nil {
		return nil, false, err
	}
	if failed(result) {
		s.own = ownCycle{}
		return result, false, s.afterCycle(ctx)
	}
	return result, true, nil
}

// partFailed switches off and sorts the error: what a script cannot help ends the run, the rest is the step's result.
func (s *Session) partFailed(ctx context.Context, err error) (outcome, error) {
	if offErr := s.off(ctx); offErr != nil {
		return outcome{}, errors.Join(err, offErr)
	}
	s.trouble = s.stopRecord(ctx)
	var current *OverCurrentError
	var residual *ResidualError
	var changed *drivers.IdentityChanged
	var book *logbook.Error
	switch {
	case ctx.Err() != nil, errors.As(err, &residual), errors.As(err, &changed), errors.As(err, &book), errors.Is(err, errEnded):
		return outcome{}, err
	case errors.Is(err, errInterrupted):
		return outcome{result: failureOf(interrupted, err.Error())}, nil
	case errors.As(err, &current):
		return outcome{result: failureOf(tooMuchAmps, err.Error())}, s.want(hold{cause: overCurrent, text: err.Error()})
	}
	// So many in a row hold the run, like the cycles that they were to be.
	s.trouble, s.lastReason = err, err.Error()
	s.unreadInRow++
	f := failureOf(badInstrument, err.Error())
	_, f.Error.Messages = s.lastMessages(err)
	return outcome{result: f}, nil
}

// stopRecord stops a scope that may still wait for the trigger of a script's own record: it would refuse the next one.
func (s *Session) stopRecord(ctx context.Context) error {
	if !s.own.armedHere {
		return nil
	}
	s.own.armedHere = false
	return s.rig.Scope.Stop(ctx)
}

// endOwn ends a script's own cycle because the call that follows needs supply and scope, or a person's hands.
func (s *Session) endOwn(ctx context.Context) error {
	if s.own.on && s.energised {
		if err := s.off(ctx); err != nil {
			return err
		}
	}
	// A scope that cannot be stopped shows at the next record.
	_ = s.stopRecord(ctx)
	s.own = ownCycle{}
	return nil
}

// stillOn fails where the script believes the supply on and it is not.
func (s *Session) stillOn() error {
	if s.own.on && !s.energised {
		return errInterrupted
	}
	return nil
}

// look reads the supply while it is on.
func (s *Session) look(ctx context.Context) (drivers.SupplyReading, error) {
	reading, err := s.rig.Supply.Read(ctx)
	if err != nil {
		return reading, err
	}
	s.own.looked = true
	s.publish(Event{Kind: SupplyRead, Output: true, Volts: reading.Volts, Amps: reading.Amps})
	if maxAmps := s.rig.Bench.Unit.MaxAmps; reading.Amps > maxAmps {
		return reading, &OverCurrentError{reading.Amps, maxAmps}
	}
	return reading, nil
}

// callRecord counts the start that was fetched last as a cycle of the run.
func (s *Session) callRecord(ctx context.Context, _ struct{}) (json.RawMessage, error) {
	switch {
	case s.own.on:
		return nil, misuse("record", "while the supply is on", "call supply.off first; when it went off belongs to the cycle")
	case !s.own.fetched:
		return nil, misuse("record", "without a start", "call scope.arm, supply.on, scope.fetch and supply.off first, once for each record")
	}
	if planned := int(s.number.Load()) + 1; planned > s.planned {
		s.plan(planned - s.planned)
	}
	result, ok, err := s.part(ctx, "record", struct{}{}, func(context.Context) (outcome, error) {
		c := s.own.cycle
		if c.Verdict == "" {
			return outcome{}, errInterrupted
		}
		c.Run, c.Number, c.Begun, c.Ended = s.run.ID, int(s.number.Load())+1, s.own.begun, s.clock.Now()
		for i := range s.own.waves {
			s.own.waves[i].Run, s.own.waves[i].Cycle = c.Run, c.Number
		}
		s.lastReason = c.Reason
		if s.unreadInRow++; c.Verdict != verdict.Unread {
			s.unreadInRow = 0
		}
		return outcome{result: cycleResult(c, nil), cycle: &c, waves: s.own.waves}, nil
	})
	if err != nil || !ok {
		return result, err
	}
	s.own = ownCycle{volts: s.own.volts, rest: s.own.rest}
	return result, s.afterCycle(ctx)
}

// callThermometerRead returns the ambient in degrees Celsius, null if the thermometer does not answer.
func (s *Session) callThermometerRead(ctx context.Context, _ struct{}) (json.RawMessage, error) {
	if s.rig.Bench.Thermometer == nil {
		return nil, misuse("thermometer.read", "without a thermometer", "the bench file has none; bench.thermometer says so")
	}
	return s.step(ctx, "thermometer.read", struct{}{}, func(ctx context.Context) (outcome, error) {
		celsius, err := s.ambient(ctx)
		return outcome{result: measured(celsius)}, err
	})
}
