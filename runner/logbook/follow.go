package logbook

import (
	"context"
	"database/sql"
	"fmt"
)

// Identity is the random number that was made together with the book: 32
// hexadecimal digits. Copies of the file have the same one.
func (b *Book) Identity() (string, error) {
	ids, err := query(b.read, func(rows *sql.Rows) (id string, err error) {
		err = rows.Scan(&id)
		return id, err
	}, `SELECT id FROM identity`)
	if err == nil && len(ids) != 1 {
		err = sql.ErrNoRows
	}
	if err != nil {
		return "", b.fail("read the identity", err)
	}
	return ids[0], nil
}

// NewIdentity makes the book another one than those it was copied from.
func (b *Book) NewIdentity() error {
	return b.transact("make a new identity", func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE identity SET id = lower(hex(randomblob(16)))`)
		return err
	})
}

// Placed is an entry with its place in the book, counted over all runs. Places
// only grow, so that who follows the book asks for what comes after the last
// one he has.
type Placed[T any] struct {
	Place int64
	Entry T
}

// MarksAfter gives up to limit marks of all runs in the order of their places,
// from the one after place on.
func (b *Book) MarksAfter(place int64, limit int) ([]Placed[Mark], error) {
	marks, err := query(b.read, func(rows *sql.Rows) (Placed[Mark], error) {
		var m Placed[Mark]
		var at sql.NullInt64
		err := rows.Scan(&m.Place, &m.Entry.Run, &m.Entry.Ordinal, &at, &m.Entry.Text, &m.Entry.Kind, &m.Entry.AfterCycle)
		m.Entry.At = moment(at)
		return m, err
	}, `SELECT id, run, ordinal, at_ns, text, kind, after_cycle FROM mark WHERE id > ? ORDER BY id LIMIT ?`, place, limit)
	if err != nil {
		return nil, b.fail("read marks", err)
	}
	return marks, nil
}

// WaveformsAfter gives up to limit stored waveforms of all runs in the order of
// their places, from the one after place on.
func (b *Book) WaveformsAfter(place int64, limit int) ([]Placed[Waveform], error) {
	waveforms, err := query(b.read, func(rows *sql.Rows) (Placed[Waveform], error) {
		var w Placed[Waveform]
		p, err := scanPacked(rows, &w.Place, &w.Entry.Run, &w.Entry.Cycle)
		if err != nil {
			return w, err
		}
		w.Entry.Kind = p.kind
		if w.Entry.Trace, err = p.unpack(); err != nil {
			err = fmt.Errorf("%s of cycle %d of run %d: %w", p.kind, w.Entry.Cycle, w.Entry.Run, err)
		}
		return w, err
	}, `SELECT id, run, cycle, `+packedColumns+` FROM waveform WHERE id > ? ORDER BY id LIMIT ?`, place, limit)
	if err != nil {
		return nil, b.fail("read waveforms", err)
	}
	return waveforms, nil
}
