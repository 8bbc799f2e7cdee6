// Package ship copies logbooks of many benches into one PostgreSQL database, for
// SQL and for boards over all of them.
//
// The logbook stays the record, the database is a copy of it. Nothing is shipped
// that the logbook has not on disk. How far the copy has come is read from the
// copy itself, in the transaction that adds to it: the last cycle of each run,
// the last mark, the last waveform. So it cannot be wrong about that, whatever
// was killed, restarted or restored in between; nothing is there twice, and
// shipping again ships what is missing.
//
// A logbook is told from others by its identity, a random number kept in it. The
// file may move to another computer. When two copies of it were both gone on
// with, the second one to ship is refused with ErrForked.
package ship

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"ringup/runner/logbook"
)

const (
	// batch is how many cycles or marks go into one transaction.
	batch = 500
	// waveformBatch is the same for waveforms, of which one may be some megabytes.
	waveformBatch = 8
	// batchTimeout bounds one transaction: a server that stopped answering
	// must not hold the shipping for ever.
	batchTimeout = time.Minute
)

// Options say what to ship.
type Options struct {
	Waveforms bool   // the stored waveforms, too
	Name      string // of the bench, for people; "" leaves the name it has, at first the computer's
}

// Shipped counts what was new or changed.
type Shipped struct {
	Runs      int `json:"runs"`
	Cycles    int `json:"cycles"`
	Marks     int `json:"marks"`
	Waveforms int `json:"waveforms"`
}

// Any says whether there was anything.
func (s Shipped) Any() bool { return s != Shipped{} }

// Once ships all that the database has not yet and ends. What it has shipped
// when it fails stays shipped. The error is an *Error, or a *logbook.Error where
// the logbook could not be read.
func Once(ctx context.Context, book *logbook.Book, to Target, o Options) (Shipped, error) {
	s := newShipper(book, to, o)
	defer s.close()
	return s.pass(ctx)
}

// shipper ships one book over one connection.
type shipper struct {
	book    *logbook.Book
	to      Target
	options Options
	batch   int
	id      string    // the book's identity
	conn    *pgx.Conn // nil while there is none

	committed func() // for tests; may be nil
}

func newShipper(book *logbook.Book, to Target, o Options) *shipper {
	return &shipper{book: book, to: to, options: o, batch: batch}
}

func (s *shipper) close() {
	if s.conn != nil {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_ = s.conn.Close(ctx) // whatever it held uncommitted is to be lost
		s.conn = nil
	}
}

// pass ships what is new. After an error it begins the next time with a new connection.
func (s *shipper) pass(ctx context.Context) (Shipped, error) {
	done, err := s.ship(ctx)
	if err != nil {
		s.close()
		err = explain(err, s.to)
	}
	return done, err
}

func (s *shipper) ship(ctx context.Context) (done Shipped, err error) {
	if s.id, err = s.book.Identity(); err != nil {
		return done, err
	}
	if s.conn == nil {
		if s.conn, err = pgx.ConnectConfig(ctx, s.to.config); err != nil {
			return done, err
		}
	}
	if err := s.bounded(ctx, func(ctx context.Context) error { return migrate(ctx, s.conn, migrations) }); err != nil {
		return done, err
	}
	if err := s.register(ctx); err != nil {
		return done, err
	}
	shippedTo, err := s.runs(ctx, &done)
	if err != nil {
		return done, err
	}
	if err := s.marks(ctx, shippedTo, &done); err != nil {
		return done, err
	}
	if !s.options.Waveforms {
		return done, nil
	}
	return done, s.waveforms(ctx, shippedTo, &done)
}

func (s *shipper) bounded(ctx context.Context, do func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, batchTimeout)
	defer cancel()
	return do(ctx)
}

// transact runs do in a transaction that no other process can be in for the same
// logbook. A bench that vanishes from the network does not keep it for long.
func (s *shipper) transact(ctx context.Context, do func(context.Context, pgx.Tx) error) error {
	err := s.bounded(ctx, func(ctx context.Context) error {
		return pgx.BeginFunc(ctx, s.conn, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, "SET LOCAL lock_timeout = '20s'; SET LOCAL idle_in_transaction_session_timeout = '60s'"); err != nil {
				return err
			}
			// This locks the logbook's row.
			if _, err := tx.Exec(ctx, "UPDATE ringup.logbook SET last_shipped = now() WHERE id = $1", s.id); err != nil {
				return err
			}
			return do(ctx, tx)
		})
	})
	if err == nil && s.committed != nil {
		s.committed()
	}
	return err
}

// register enters the logbook itself.
func (s *shipper) register(ctx context.Context) error {
	name := plain(s.options.Name)
	given := name != ""
	if !given {
		name, _ = os.Hostname() // a name for people; none is none
	}
	return s.bounded(ctx, func(ctx context.Context) error {
		_, err := s.conn.Exec(ctx, `
			INSERT INTO ringup.logbook AS known (id, name) VALUES ($1, $2)
			ON CONFLICT (id) DO UPDATE SET name = excluded.name WHERE $3 AND known.name <> excluded.name`, s.id, name, given)
		return err
	})
}

// copied is what the database has of a run.
type copied struct {
	run    logbook.Run // no texts
	number int         // of its last cycle; 0: none
	begun  time.Time   // of that cycle
}

const selectCopied = `
	SELECT r.run, script_sha256, r.started, state, reason, accepted, r.ended, planned_cycles, instruments, waveforms_dropped,
		coalesce(c.number, 0), c.begun
	FROM ringup.run r
	LEFT JOIN LATERAL (
		SELECT number, begun FROM ringup.cycle WHERE logbook = r.logbook AND run = r.run ORDER BY number DESC LIMIT 1
	) c ON true
	WHERE r.logbook = $1`

func scanCopied(row pgx.CollectableRow) (c copied, err error) {
	var ended, begun *time.Time
	r := &c.run
	err = row.Scan(&r.ID, &r.ScriptSHA256, &r.Started, &r.State, &r.Reason, &r.Accepted, &ended, &r.PlannedCycles, &r.Instruments,
		&r.WaveformsDropped, &c.number, &begun)
	if ended != nil {
		r.Ended = *ended
	}
	if begun != nil {
		c.begun = *begun
	}
	return c, err
}

// runs ships runs and their cycles, and gives the last cycle that is there of each run.
func (s *shipper) runs(ctx context.Context, done *Shipped) (shippedTo map[int64]int, err error) {
	there := map[int64]copied{}
	err = s.bounded(ctx, func(ctx context.Context) error {
		rows, err := s.conn.Query(ctx, selectCopied, s.id)
		if err != nil {
			return err
		}
		all, err := pgx.CollectRows(rows, scanCopied)
		for _, c := range all {
			there[c.run.ID] = c
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	runs, err := s.book.Runs()
	if err != nil {
		return nil, err
	}
	missing := maps.Clone(there)
	for _, r := range runs {
		if c, known := there[r.ID]; known && forkedRun(c.run, r) {
			return nil, fmt.Errorf("%w: run %d is another one there", ErrForked, r.ID)
		}
		delete(missing, r.ID)
	}
	for id := range missing {
		return nil, fmt.Errorf("%w: the database has run %d, this file has not", ErrForked, id)
	}
	shippedTo = map[int64]int{}
	for _, r := range slices.Backward(runs) { // the oldest first
		c, known := there[r.ID]
		if shippedTo[r.ID], err = s.run(ctx, r, c, known, done); err != nil {
			return nil, err
		}
	}
	return shippedTo, nil
}

func forkedRun(there, here logbook.Run) bool {
	return there.ScriptSHA256 != here.ScriptSHA256 || !sameTime(there.Started, here.Started)
}

// sameTime compares as exactly as the database keeps times.
func sameTime(a, b time.Time) bool {
	return a.Truncate(time.Microsecond).Equal(b.Truncate(time.Microsecond))
}

// unchanged compares what may change of a run.
func unchanged(there, here logbook.Run) bool {
	decided := func(r logbook.Run) string {
		if r.Accepted == nil {
			return ""
		}
		return fmt.Sprint(*r.Accepted)
	}
	return there.State == here.State && there.Reason == plain(here.Reason) && decided(there) == decided(here) &&
		sameTime(there.Ended, here.Ended) && there.PlannedCycles == here.PlannedCycles &&
		there.WaveformsDropped == here.WaveformsDropped && maps.Equal(there.Instruments, plainMap(here.Instruments))
}

// run ships one run as far as it is in the book, and gives the number of its
// last cycle there.
func (s *shipper) run(ctx context.Context, r logbook.Run, c copied, known bool, done *Shipped) (last int, err error) {
	news, err := s.newCycles(r.ID, c.number, c.begun, 1)
	if err != nil {
		return 0, err
	}
	same := known && unchanged(c.run, r)
	if same && len(news) == 0 {
		return c.number, nil
	}
	if r, err = s.book.Run(r.ID); err != nil { // with its texts
		return 0, err
	}
	for counted := same; ; {
		var added int
		err := s.transact(ctx, func(ctx context.Context, tx pgx.Tx) error {
			if err := putRun(ctx, tx, s.id, r); err != nil {
				return err
			}
			var begun *time.Time
			err := tx.QueryRow(ctx, `SELECT number, begun FROM ringup.cycle WHERE logbook = $1 AND run = $2 ORDER BY number DESC LIMIT 1`, s.id, r.ID).
				Scan(&last, &begun)
			if errors.Is(err, pgx.ErrNoRows) {
				last, begun, err = 0, new(time.Time), nil
			}
			if err != nil {
				return err
			}
			cycles, err := s.newCycles(r.ID, last, *begun, s.batch)
			if err != nil || len(cycles) == 0 {
				return err
			}
			added, last = len(cycles), cycles[len(cycles)-1].Number
			return addCycles(ctx, tx, s.id, cycles)
		})
		if err != nil {
			return 0, fmt.Errorf("run %d: %w", r.ID, err)
		}
		done.Cycles += added
		if !counted {
			done.Runs++
			counted = true
		}
		if added < s.batch {
			return last, nil
		}
	}
}

// newCycles gives the book's cycles after the last one that is in the database,
// which must be the book's own.
func (s *shipper) newCycles(run int64, last int, begun time.Time, limit int) ([]logbook.Cycle, error) {
	if last == 0 {
		return s.book.Cycles(run, 0, limit)
	}
	cycles, err := s.book.Cycles(run, last-1, limit+1)
	if err != nil {
		return nil, err
	}
	if len(cycles) == 0 || cycles[0].Number != last || !sameTime(cycles[0].Begun, begun) {
		return nil, fmt.Errorf("%w: cycle %d of run %d is another one there, or missing here", ErrForked, last, run)
	}
	return cycles[1:], nil
}

// marks ships marks of the runs that are there.
func (s *shipper) marks(ctx context.Context, shippedTo map[int64]int, done *Shipped) error {
	for {
		added := 0
		err := s.transact(ctx, func(ctx context.Context, tx pgx.Tx) error {
			var last int64
			var at time.Time
			err := tx.QueryRow(ctx, `SELECT id, at FROM ringup.mark WHERE logbook = $1 ORDER BY id DESC LIMIT 1`, s.id).Scan(&last, &at)
			if err != nil && !errors.Is(err, pgx.ErrNoRows) {
				return err
			}
			marks, err := s.book.MarksAfter(max(last-1, 0), s.batch+1)
			if err != nil {
				return err
			}
			if last > 0 {
				if len(marks) == 0 || marks[0].Place != last || !sameTime(marks[0].Entry.At, at) {
					return fmt.Errorf("%w: mark %d is another one there, or missing here", ErrForked, last)
				}
				marks = marks[1:]
			}
			for i, m := range marks {
				// A run begun since the runs were shipped: next time.
				if _, there := shippedTo[m.Entry.Run]; !there {
					marks = marks[:i]
					break
				}
			}
			added = len(marks)
			return addMarks(ctx, tx, s.id, marks)
		})
		if err != nil {
			return err
		}
		done.Marks += added
		if added < s.batch {
			return nil
		}
	}
}

// waveforms ships those of the cycles that are there. One that the logbook has
// dropped to make room stays in the database.
func (s *shipper) waveforms(ctx context.Context, shippedTo map[int64]int, done *Shipped) error {
	for {
		added := 0
		err := s.transact(ctx, func(ctx context.Context, tx pgx.Tx) error {
			var last int64
			if err := tx.QueryRow(ctx, `SELECT coalesce(max(id), 0) FROM ringup.waveform WHERE logbook = $1`, s.id).Scan(&last); err != nil {
				return err
			}
			waveforms, err := s.book.WaveformsAfter(last, waveformBatch)
			if err != nil {
				return err
			}
			for i, w := range waveforms {
				// Of a cycle that came since the cycles were shipped: next time.
				if w.Entry.Cycle > shippedTo[w.Entry.Run] {
					waveforms = waveforms[:i]
					break
				}
			}
			added = len(waveforms)
			return addWaveforms(ctx, tx, s.id, waveforms)
		})
		if err != nil {
			return err
		}
		done.Waveforms += added
		if added < waveformBatch {
			return nil
		}
	}
}
