package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"ringup/runner/verdict"
)

// Check verifies that the book is consistent and says all that is not: the file
// itself, steps without holes and at most the last one cut off, every cycle with
// the step that made it and numbered 1 to n once, times in order, known verdicts,
// and waveforms that can be read and are as many bytes as accounted for.
func (b *Book) Check() error {
	var wrong []error
	found := func(err error) {
		if err != nil {
			wrong = append(wrong, err)
		}
	}
	found(b.checkFile())
	runs, err := b.Runs()
	found(err)
	for _, r := range runs {
		for _, err := range b.checkRun(r) {
			found(fmt.Errorf("run %d: %w", r.ID, err))
		}
	}
	found(b.checkStored())
	if len(wrong) == 0 {
		return nil
	}
	return b.fail("check", errors.Join(wrong...))
}

func (b *Book) checkFile() error {
	version, err := schemaVersion(context.Background(), b.read)
	if err != nil {
		return err
	}
	if err := checkVersion(version, b.schema); err != nil {
		return err
	}
	problems, err := query(b.read, func(rows *sql.Rows) (s string, err error) {
		err = rows.Scan(&s)
		return s, err
	}, "PRAGMA integrity_check")
	if err != nil {
		return err
	}
	for _, p := range problems {
		if p != "ok" {
			err = errors.Join(err, fmt.Errorf("file: %s", p))
		}
	}
	orphans, orphansErr := query(b.read, func(rows *sql.Rows) (string, error) {
		var table, parent string
		var row, key sql.NullInt64
		err := rows.Scan(&table, &row, &parent, &key)
		return table + " without its " + parent, err
	}, "PRAGMA foreign_key_check")
	for _, o := range orphans {
		err = errors.Join(err, errors.New(o))
	}
	return errors.Join(err, orphansErr)
}

func (b *Book) checkRun(r Run) (wrong []error) {
	ended, stepsWrong := b.checkSteps(r.ID)
	wrong = append(wrong, stepsWrong...)
	number := 0
	err := b.EachCycle(r.ID, func(c Cycle) error {
		number++
		if c.Number != number {
			wrong = append(wrong, fmt.Errorf("cycle %d stands where cycle %d is expected", c.Number, number))
			number = c.Number
		}
		if !ended[c.Ordinal] {
			wrong = append(wrong, fmt.Errorf("cycle %d: its step %d has no result", c.Number, c.Ordinal))
		}
		if _, err := verdict.Parse(string(c.Verdict)); err != nil {
			wrong = append(wrong, fmt.Errorf("cycle %d: %w", c.Number, err))
		}
		if c.Ended.Before(c.Begun) || (!c.PoweredOff.IsZero() && c.PoweredOff.Before(c.PoweredOn)) {
			wrong = append(wrong, fmt.Errorf("cycle %d: its times are not in order", c.Number))
		}
		return nil
	})
	if err != nil {
		wrong = append(wrong, err)
	}
	cycles, err := b.WaveformCycles(r.ID)
	if err != nil {
		wrong = append(wrong, err)
	}
	for _, n := range cycles {
		if _, err := b.Waveforms(r.ID, n); err != nil {
			wrong = append(wrong, err)
		}
	}
	return wrong
}

// checkSteps gives the ordinals that have a result.
func (b *Book) checkSteps(run int64) (ended map[int]bool, wrong []error) {
	type row struct {
		ordinal int
		ended   bool
	}
	steps, err := query(b.read, func(rows *sql.Rows) (s row, err error) {
		err = rows.Scan(&s.ordinal, &s.ended)
		return s, err
	}, `SELECT ordinal, ended_ns IS NOT NULL FROM step WHERE run = ? ORDER BY ordinal`, run)
	if err != nil {
		return nil, []error{err}
	}
	ended = make(map[int]bool, len(steps))
	for i, s := range steps {
		ended[s.ordinal] = s.ended
		switch {
		case i == 0 && s.ordinal != 0 && s.ordinal != 1:
			wrong = append(wrong, fmt.Errorf("its first step is %d", s.ordinal))
		case i > 0 && s.ordinal != steps[i-1].ordinal+1:
			wrong = append(wrong, fmt.Errorf("steps between %d and %d are missing", steps[i-1].ordinal, s.ordinal))
		}
		if !s.ended && i != len(steps)-1 {
			wrong = append(wrong, fmt.Errorf("step %d was cut off, yet step %d follows", s.ordinal, steps[i+1].ordinal))
		}
	}
	return ended, wrong
}

// checkStored compares the bytes accounted for with the bytes there are.
func (b *Book) checkStored() error {
	wrong, err := query(b.read, func(rows *sql.Rows) (e error, err error) {
		var id, bytes, length int64
		err = rows.Scan(&id, &bytes, &length)
		return fmt.Errorf("waveform %d is said to have %d bytes and has %d", id, bytes, length), err
	}, `SELECT id, bytes, length(samples) FROM waveform WHERE bytes <> length(samples)`)
	return errors.Join(append(wrong, err)...)
}
