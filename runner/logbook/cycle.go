package logbook

import (
	"context"
	"database/sql"
	"strings"
	"time"

	"ringup/runner/verdict"
)

// page is how many cycles a reader takes at a time.
const page = 500

// Cycle is one power cycle: what was set, when it happened and what it showed.
type Cycle struct {
	Run     int64
	Ordinal int // of the step that made it
	Number  int // 1, 2, 3 … within the run

	Treatment                           string
	SetVolts, RestSeconds, WatchSeconds float64
	Factors                             map[string]string // further factors the script names

	// PoweredOn and PoweredOff are zero if the supply was not switched.
	Begun, PoweredOn, PoweredOff, Ended time.Time

	verdict.Judgement
	AmbientCelsius float64
	Phases         map[string]float64 // seconds spent in each phase of the cycle
}

// insertCycle and selectCycles are worded from the list of columns, once.
var insertCycle, selectCycles = func() (string, string) {
	var names []string
	for _, c := range new(Cycle).columns() {
		names = append(names, c.stored())
	}
	list := strings.Join(names, ", ")
	return "INSERT INTO cycle (run, " + list + ") VALUES (?" + strings.Repeat(", ?", len(names)) + ")",
		"SELECT " + list + " FROM cycle WHERE run = ? AND number > ? ORDER BY number LIMIT ?"
}()

func addCycle(ctx context.Context, tx *sql.Tx, c Cycle) error {
	values := []any{c.Run}
	for _, column := range c.columns() {
		values = append(values, column.value())
	}
	_, err := tx.ExecContext(ctx, insertCycle, values...)
	return err
}

// Cycles gives up to limit cycles of a run, from the one after afterNumber on,
// in order of number.
func (b *Book) Cycles(run int64, afterNumber, limit int) ([]Cycle, error) {
	cycles, err := query(b.read, func(rows *sql.Rows) (Cycle, error) {
		c := Cycle{Run: run}
		var into []any
		for _, column := range c.columns() {
			into = append(into, column)
		}
		err := rows.Scan(into...)
		return c, err
	}, selectCycles, run, afterNumber, limit)
	if err != nil {
		return nil, b.fail("read cycles", err)
	}
	return cycles, nil
}

// EachCycle calls do for every cycle of a run in order of number, and ends with
// the first error do returns. No transaction is open while do runs.
func (b *Book) EachCycle(run int64, do func(Cycle) error) error {
	for after := 0; ; {
		cycles, err := b.Cycles(run, after, page)
		if err != nil {
			return err
		}
		for _, c := range cycles {
			if err := do(c); err != nil {
				return err
			}
			after = c.Number
		}
		if len(cycles) < page {
			return nil
		}
	}
}
