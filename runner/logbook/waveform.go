package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"ringup/runner/verdict"
)

// maxCycleBytes is the most that the waveforms of one cycle may take, compressed.
// Larger rows slow every commit and swell the write-ahead log.
const maxCycleBytes = 4 << 20

// Waveform is one stored record of a cycle.
type Waveform struct {
	Run   int64
	Cycle int    // number of the cycle
	Kind  string // "rail", "clock", "steady" or "lamp"
	verdict.Trace
}

// packAll compresses the waveforms that have samples.
func packAll(all []Waveform) ([]packed, error) {
	var done []packed
	for _, w := range all {
		if len(w.Min)+len(w.Max) == 0 {
			continue
		}
		p, err := pack(w.Kind, w.Trace)
		if err != nil {
			return nil, err
		}
		done = append(done, p)
	}
	return done, nil
}

// storeWaveforms adds the waveforms of a cycle if the policy asks for them, and
// makes room for them within the budget. What it gives back is to be called after
// the commit. The caller holds mu.
func (b *Book) storeWaveforms(ctx context.Context, tx *sql.Tx, c Cycle, all []packed) (committed func(), err error) {
	// The cycle itself is in the transaction already, so what was seen
	// before it must come from outside.
	s, err := b.seenIn(ctx, b.read, c.Run)
	if err != nil {
		return nil, err
	}
	stored := b.stored
	if keptAs, keep := s.policy(c); keep && len(all) > 0 {
		if stored, err = b.addWaveforms(ctx, tx, c, keptAs, all); err != nil {
			return nil, fmt.Errorf("waveforms of cycle %d: %w", c.Number, err)
		}
	}
	return func() {
		s.add(c)
		b.stored = stored
	}, nil
}

func (b *Book) addWaveforms(ctx context.Context, tx *sql.Tx, c Cycle, keptAs int, all []packed) (stored int64, err error) {
	var size int64
	for _, p := range all {
		size += int64(len(p.samples))
	}
	if size > min(b.budget, maxCycleBytes) {
		return b.stored, countDropped(ctx, tx, c.Run)
	}
	for _, p := range all {
		_, err := tx.ExecContext(ctx, `INSERT INTO waveform
			(run, cycle, kind, kept_as, bytes, start_seconds, step_seconds, low_volts, high_volts, codes, points, encoding, samples)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			c.Run, c.Number, p.kind, keptAs, len(p.samples), number(p.trace.StartSeconds), number(p.trace.StepSeconds),
			number(p.trace.LowVolts), number(p.trace.HighVolts), p.trace.Codes, p.points, p.encoding, p.samples)
		if err != nil {
			return b.stored, err
		}
	}
	stored = b.stored + size
	for stored > b.budget {
		freed, err := dropOldest(ctx, tx, c)
		if err != nil {
			return b.stored, err
		}
		stored -= freed
	}
	return stored, nil
}

// dropOldest deletes the waveforms of the cycle that can best be spared, other
// than the one being stored, and gives the bytes freed.
func dropOldest(ctx context.Context, tx *sql.Tx, except Cycle) (freed int64, err error) {
	var run, cycle int64
	err = tx.QueryRowContext(ctx, `SELECT run, cycle FROM waveform WHERE NOT (run = ? AND cycle = ?) ORDER BY kept_as, id LIMIT 1`,
		except.Run, except.Number).Scan(&run, &cycle)
	if err != nil {
		return 0, err
	}
	if err := tx.QueryRowContext(ctx, `SELECT sum(bytes) FROM waveform WHERE run = ? AND cycle = ?`, run, cycle).Scan(&freed); err != nil {
		return 0, err
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM waveform WHERE run = ? AND cycle = ?`, run, cycle); err != nil {
		return 0, err
	}
	return freed, countDropped(ctx, tx, run)
}

func countDropped(ctx context.Context, tx *sql.Tx, run int64) error {
	_, err := tx.ExecContext(ctx, `UPDATE run SET waveforms_dropped = waveforms_dropped + 1 WHERE id = ?`, run)
	return err
}

func storedBytes(from querier) (int64, error) {
	sums, err := query(from, func(rows *sql.Rows) (n int64, err error) {
		err = rows.Scan(&n)
		return n, err
	}, `SELECT coalesce(sum(bytes), 0) FROM waveform`)
	if err != nil {
		return 0, err
	}
	return sums[0], nil
}

const packedColumns = "kind, start_seconds, step_seconds, low_volts, high_volts, codes, points, encoding, samples"

// scanPacked takes packedColumns, after those that go into before.
func scanPacked(rows *sql.Rows, before ...any) (packed, error) {
	var p packed
	var start, step, low, high sql.NullFloat64
	err := rows.Scan(append(before, &p.kind, &start, &step, &low, &high, &p.trace.Codes, &p.points, &p.encoding, &p.samples)...)
	p.trace.StartSeconds, p.trace.StepSeconds = measure(start), measure(step)
	p.trace.LowVolts, p.trace.HighVolts = measure(low), measure(high)
	return p, err
}

// Waveforms gives the stored waveforms of one cycle, none if they were not kept.
func (b *Book) Waveforms(run int64, cycle int) ([]Waveform, error) {
	all, err := query(b.read, func(rows *sql.Rows) (packed, error) { return scanPacked(rows) },
		`SELECT `+packedColumns+` FROM waveform WHERE run = ? AND cycle = ? ORDER BY id`, run, cycle)
	var waveforms []Waveform
	for _, p := range all {
		trace, damage := p.unpack()
		if damage != nil {
			err = errors.Join(err, fmt.Errorf("%s: %w", p.kind, damage))
			continue
		}
		waveforms = append(waveforms, Waveform{Run: run, Cycle: cycle, Kind: p.kind, Trace: trace})
	}
	if err != nil {
		return nil, b.fail(fmt.Sprintf("read the waveforms of cycle %d of run %d", cycle, run), err)
	}
	return waveforms, nil
}

// WaveformCycles gives the numbers of the cycles of a run whose waveforms are
// stored, in ascending order.
func (b *Book) WaveformCycles(run int64) ([]int, error) {
	numbers, err := query(b.read, func(rows *sql.Rows) (n int, err error) {
		err = rows.Scan(&n)
		return n, err
	}, `SELECT DISTINCT cycle FROM waveform WHERE run = ? ORDER BY cycle`, run)
	if err != nil {
		return nil, b.fail(fmt.Sprintf("read the waveforms of run %d", run), err)
	}
	return numbers, nil
}
