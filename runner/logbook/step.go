package logbook

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"
)

// Step is one call of a script that touched the world, with the ordinal it had
// in the script's execution.
type Step struct {
	Run        int64           `json:"run"`
	Ordinal    int             `json:"ordinal"`
	Call       string          `json:"call"`
	Arguments  json.RawMessage `json:"arguments"`
	Result     json.RawMessage `json:"result"` // nil: begun and cut off
	ScriptLine int             `json:"script_line"`
	Begun      time.Time       `json:"begun"`
	Ended      time.Time       `json:"ended,omitzero"`
	// Attempts counts how often the step was begun: 2 or more means that it
	// was cut off before. BeginStep keeps the count.
	Attempts int `json:"attempts"`
}

// upsertStep writes a step over its own unfinished row and over nothing else.
const upsertStep = `
INSERT INTO step (run, ordinal, call, arguments, script_line, attempts, begun_ns, ended_ns, result)
VALUES (?, ?, ?, ?, ?, 1, ?, ?, ?)
ON CONFLICT (run, ordinal) DO UPDATE SET
	call = excluded.call, arguments = excluded.arguments, script_line = excluded.script_line,
	attempts = attempts + (excluded.ended_ns IS NULL),
	begun_ns = excluded.begun_ns, ended_ns = excluded.ended_ns, result = excluded.result
WHERE ended_ns IS NULL`

// BeginStep records that a step is about to be done, durably, before it
// touches anything. Beginning an unfinished step again replaces it and counts
// one attempt more; a step that has its result is refused with ErrStepEnded.
func (b *Book) BeginStep(s Step) error {
	return b.transact(fmt.Sprintf("begin step %d of run %d", s.Ordinal, s.Run), func(ctx context.Context, tx *sql.Tx) error {
		return putStep(ctx, tx, s, nil, nil)
	})
}

// EndStep records a step's result, and with it, in the same transaction, the
// cycle it made, that cycle's waveforms and a mark, each of which may be absent.
// Run and Ordinal of cycle, waveforms and mark are taken from s. Waveforms may
// be handed over for every cycle: what Keep does not ask for is left out. A step
// that touches nothing may be ended without having been begun. ErrStepEnded if
// the step has a result already.
func (b *Book) EndStep(s Step, c *Cycle, w []Waveform, m *Mark) error {
	op := fmt.Sprintf("end step %d of run %d", s.Ordinal, s.Run)
	cycle := Cycle{}
	if c != nil {
		cycle = *c
		cycle.Run, cycle.Ordinal = s.Run, s.Ordinal
	}
	// The compression is done before the writer is taken, and not in vain.
	var compressed []packed
	if c != nil && len(w) > 0 && b.Keep(cycle) {
		var err error
		if compressed, err = packAll(w); err != nil {
			return b.fail(op, err)
		}
	}
	var done func()
	return b.transact(op, func(ctx context.Context, tx *sql.Tx) error {
		result := s.Result
		if result == nil {
			result = json.RawMessage("null")
		}
		if err := putStep(ctx, tx, s, s.Ended.UnixNano(), string(result)); err != nil {
			return err
		}
		if m != nil {
			mark := *m
			mark.Run, mark.Ordinal = s.Run, s.Ordinal
			if err := addMark(ctx, tx, mark); err != nil {
				return err
			}
		}
		if c == nil {
			return nil
		}
		if err := addCycle(ctx, tx, cycle); err != nil {
			return fmt.Errorf("cycle %d: %w", cycle.Number, err)
		}
		var err error
		done, err = b.storeWaveforms(ctx, tx, cycle, compressed)
		return err
	}, func() {
		if done != nil {
			done()
		}
	})
}

func putStep(ctx context.Context, tx *sql.Tx, s Step, ended, result any) error {
	arguments := s.Arguments
	if arguments == nil {
		arguments = json.RawMessage("null")
	}
	put, err := tx.ExecContext(ctx, upsertStep, s.Run, s.Ordinal, s.Call, string(arguments), s.ScriptLine, s.Begun.UnixNano(), ended, result)
	if err != nil {
		return err
	}
	if n, err := put.RowsAffected(); err != nil || n == 1 {
		return err
	}
	return ErrStepEnded
}

const selectSteps = `SELECT ordinal, call, arguments, script_line, attempts, begun_ns, ended_ns, result FROM step WHERE run = ? AND `

func scanStep(run int64) func(*sql.Rows) (Step, error) {
	return func(rows *sql.Rows) (Step, error) {
		s := Step{Run: run}
		var arguments string
		var result sql.NullString
		var begun, ended sql.NullInt64
		err := rows.Scan(&s.Ordinal, &s.Call, &arguments, &s.ScriptLine, &s.Attempts, &begun, &ended, &result)
		s.Arguments, s.Begun, s.Ended = json.RawMessage(arguments), moment(begun), moment(ended)
		if result.Valid {
			s.Result = json.RawMessage(result.String)
		}
		return s, err
	}
}

// Steps gives the ended steps of a run in the order of their ordinals.
func (b *Book) Steps(run int64) ([]Step, error) {
	steps, err := query(b.read, scanStep(run), selectSteps+"ended_ns IS NOT NULL ORDER BY ordinal", run)
	if err != nil {
		return nil, b.fail("read steps", err)
	}
	return steps, nil
}

// CutOff gives the step of a run that was begun and not ended, or nil.
func (b *Book) CutOff(run int64) (*Step, error) {
	steps, err := query(b.read, scanStep(run), selectSteps+"ended_ns IS NULL ORDER BY ordinal", run)
	if err != nil {
		return nil, b.fail("read steps", err)
	}
	if len(steps) == 0 {
		return nil, nil
	}
	return &steps[len(steps)-1], nil
}
