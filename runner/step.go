package runner

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"ringup/drivers"
	"ringup/runner/logbook"
)

// ReplayError says that a resumed script asks for something else than the logbook has at this ordinal.
type ReplayError struct {
	Ordinal            int
	RecordedCall, Call string
	Recorded, Asked    json.RawMessage
}

func (e *ReplayError) Error() string {
	return fmt.Sprintf("resuming, call %d was recorded as %s %s, and the script now asks for %s %s: the script has changed, or depends on something that is not recorded; restore it, or start a new run",
		e.Ordinal, e.RecordedCall, e.Recorded, e.Call, e.Asked)
}

// outcome is what a step has for the logbook besides its result.
type outcome struct {
	result any
	cycle  *logbook.Cycle
	waves  []logbook.Waveform
	mark   *logbook.Mark
}

// step gives a call that touches the world its ordinal. If the logbook has the ordinal, its recorded result
// is returned and nothing is touched; otherwise do is carried out, and its outcome is on disk before step
// returns.
func (s *Session) step(ctx context.Context, call string, arguments any, do func(context.Context) (outcome, error)) (json.RawMessage, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	asked, err := json.Marshal(arguments)
	if err != nil {
		return nil, err
	}
	s.ordinal++
	if s.ordinal <= len(s.recorded) {
		return s.replay(s.recorded[s.ordinal-1], call, asked)
	}
	if err := s.holdIfWanted(ctx); err != nil {
		return nil, err
	}
	if s.ordinal == len(s.recorded)+1 && s.lastTreatment != "" {
		s.setTreatment(s.lastTreatment) // an operator may have named it after the script last did
	}
	if err := s.noteJump(); err != nil {
		return nil, err
	}
	st := logbook.Step{Run: s.run.ID, Ordinal: s.ordinal, Call: call, Arguments: asked, ScriptLine: s.line, Begun: s.clock.Now()}
	if err := s.book.BeginStep(st); err != nil {
		return nil, err
	}
	out, err := do(ctx)
	if err != nil {
		return nil, err
	}
	if st.Result, err = json.Marshal(out.result); err != nil {
		return nil, err
	}
	st.Ended = s.clock.Now()
	if out.cycle != nil {
		out.cycle.Ordinal = st.Ordinal
	}
	if out.mark != nil {
		out.mark.Ordinal = st.Ordinal
	}
	if err := s.commit(st, out); err != nil {
		return nil, err
	}
	return st.Result, nil
}

// replay returns the recorded result of a step and brings the session to where it was after it.
func (s *Session) replay(recorded logbook.Step, call string, asked json.RawMessage) (json.RawMessage, error) {
	if recorded.Call != call || !bytes.Equal(recorded.Arguments, asked) {
		return nil, &ReplayError{recorded.Ordinal, recorded.Call, call, recorded.Arguments, asked}
	}
	if c, ok := s.cycles[recorded.Ordinal]; ok {
		s.number.Add(1)
		s.count(c)
	}
	return recorded.Result, nil
}

func (s *Session) commit(st logbook.Step, out outcome) error {
	began := realNow()
	if err := s.book.EndStep(st, out.cycle, out.waves, out.mark); err != nil {
		return err
	}
	s.publish(Event{Kind: Committed, CommitSeconds: realNow().Sub(began).Seconds(), LogbookBytes: s.book.Size()})
	if out.cycle != nil {
		s.number.Add(1)
		s.count(*out.cycle)
		s.pace.add(out.cycle.Ended.Sub(out.cycle.Begun))
		s.publish(Event{Kind: CycleDone, Cycle: *out.cycle, Progress: s.progress()})
	}
	if out.mark != nil {
		s.publish(Event{Kind: Marked, Mark: *out.mark})
	}
	return nil
}

// cycle is one power cycle as a step, with the instruments brought back if they went.
func (s *Session) cycle(ctx context.Context, want condition) (json.RawMessage, error) {
	arguments := struct {
		Volts float64 `json:"volts"`
		Rest  float64 `json:"rest"`
		Watch float64 `json:"watch"`
	}{want.volts, want.rest, want.watch}
	if err := s.allowed(want.volts); err != nil {
		return nil, err
	}
	result, err := s.step(ctx, "cycle", arguments, func(ctx context.Context) (outcome, error) {
		number := int(s.number.Load()) + 1
		s.publish(Event{Kind: CycleBegun, Cycle: logbook.Cycle{Run: s.run.ID, Number: number, SetVolts: want.volts, Treatment: s.Treatment()}})
		for {
			c, waves, err := s.powerCycle(ctx, number, want)
			switch {
			case err == nil:
				_, messages := s.lastMessages(s.trouble)
				return outcome{result: cycleResult(c, messages), cycle: &c, waves: waves}, nil
			case !errors.Is(err, errHeld):
				return outcome{}, err
			}
			if err := s.holdIfWanted(ctx); err != nil {
				return outcome{}, err
			}
		}
	})
	if err != nil {
		return nil, err
	}
	if err := s.afterCycle(ctx); err != nil {
		return nil, err
	}
	return result, nil
}

// afterCycle brings back what failed, and holds the run where that is called for.
func (s *Session) afterCycle(ctx context.Context) error {
	if s.ordinal <= len(s.recorded) {
		return nil // replayed: a hold that is still on waits for the first call that is not
	}
	if n := s.unreadInRow; n >= s.rig.Bench.HoldAfterUnread {
		s.unreadInRow = 0
		h := hold{cause: unreadCycles, text: fmt.Sprintf("%d in a row, the last because %s; look at the scope, its probes and its cable, then let the run go on", n, s.lastReason)}
		if err := s.want(h); err != nil {
			return err
		}
	}
	if s.trouble != nil {
		if err := s.recover(ctx); err != nil {
			return err
		}
	}
	return s.holdIfWanted(ctx)
}

// allowed refuses a voltage that the bench cannot or must not give, before anything is touched.
func (s *Session) allowed(volts float64) error {
	b := s.rig.Bench
	if volts > b.Unit.MaxVolts {
		return &drivers.LimitError{Quantity: "volts", Asked: volts, Limit: b.Unit.MaxVolts}
	}
	if b.Switch == nil {
		return nil
	}
	if err := s.rig.Supply.SetVolts(context.Background(), volts); err != nil {
		return fmt.Errorf("%s: supply.set_by_hand: %w", b.Where("supply.set_by_hand"), err)
	}
	return nil
}
