package logbook

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Mark is an operator's or the script's note at a moment of a run.
type Mark struct {
	Run     int64     `json:"run"`
	Ordinal int       `json:"ordinal"` // of the step that made it; 0 if it came from outside the script
	At      time.Time `json:"at"`
	Text    string    `json:"text"`
	Kind    string    `json:"kind"` // "mark", "treatment", "answer", or of the run itself "hold", "resume"
	// AfterCycle is the number of the last cycle begun before the mark.
	AfterCycle int `json:"after_cycle"`
}

// AddMark records a mark that arrives outside the script's steps.
func (b *Book) AddMark(m Mark) error {
	return b.transact(fmt.Sprintf("add a mark to run %d", m.Run), func(ctx context.Context, tx *sql.Tx) error {
		return addMark(ctx, tx, m)
	})
}

func addMark(ctx context.Context, tx *sql.Tx, m Mark) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO mark (run, ordinal, at_ns, text, kind, after_cycle) VALUES (?, ?, ?, ?, ?, ?)`,
		m.Run, m.Ordinal, m.At.UnixNano(), m.Text, m.Kind, m.AfterCycle)
	return err
}

// Marks gives the marks of a run in order of cycles, and between two cycles in order
// of time, which may have been set.
func (b *Book) Marks(run int64) ([]Mark, error) {
	marks, err := query(b.read, func(rows *sql.Rows) (Mark, error) {
		m := Mark{Run: run}
		var at sql.NullInt64
		err := rows.Scan(&m.Ordinal, &at, &m.Text, &m.Kind, &m.AfterCycle)
		m.At = moment(at)
		return m, err
	}, `SELECT ordinal, at_ns, text, kind, after_cycle FROM mark WHERE run = ? ORDER BY after_cycle, at_ns, id`, run)
	if err != nil {
		return nil, b.fail("read marks", err)
	}
	return marks, nil
}
