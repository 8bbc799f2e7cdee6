// Package logbook is the durable record of the bench: runs, steps, cycles,
// marks and waveforms in one SQLite file.
//
// What EndStep, BeginStep and AddMark have acknowledged is on disk (write-ahead
// log, synchronous FULL) and survives a killed process and a power cut. A cycle
// commits together with the step that made it, its waveforms and its mark, so
// the book never holds one without the others.
//
// One process writes a book; Open refuses a second one. Any number may read it
// meanwhile. Readers work page by page, so a slow reader never holds a snapshot
// open and never keeps the write-ahead log from being folded back.
//
// Times are stored as nanoseconds since 1970 UTC, with the bench's zone beside
// the run. A quantity that was not measured is NaN in Go, NULL in SQL, null in
// JSON and an empty field in CSV.
package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	_ "modernc.org/sqlite" // the database engine, registered under "sqlite"
)

// commitTimeout bounds one write. Writes never run under the caller's context:
// a run that is being cancelled must still record how its last cycle ended.
const commitTimeout = 30 * time.Second

// Book is an open logbook. It is safe for concurrent use.
type Book struct {
	path   string
	schema int     // version of the schema that this book knows
	write  *sql.DB // one connection; nil in a book opened read-only
	read   *sql.DB
	lock   *processLock
	opened files // of a book open for writing

	mu     sync.Mutex      // serialises writes and guards the fields below
	moved  error           // ErrMoved, once that was found
	seen   map[int64]*seen // by run
	budget int64           // bytes of compressed waveforms the book may hold
	stored int64           // bytes of compressed waveforms it holds
}

// Open opens the logbook at path for writing, creating it and its folder if
// they do not exist and bringing an older schema forward. It fails with
// ErrInUse while another process has the book open for writing, and with
// ErrNewer when a later ringup wrote the book.
func Open(path string) (*Book, error) { return openWith(path, migrations) }

// openWith lets a test open a book with another history of schemas.
func openWith(path string, steps []string) (*Book, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, &Error{Path: path, Op: "open", Err: err}
	}
	b := &Book{path: abs, schema: len(steps), seen: map[int64]*seen{}, budget: DefaultWaveformBudget}
	if err := b.open(steps); err != nil {
		return nil, errors.Join(b.fail("open", err), b.Close())
	}
	return b, nil
}

func (b *Book) open(steps []string) error {
	if err := os.MkdirAll(filepath.Dir(b.path), 0o755); err != nil {
		return err
	}
	var err error
	if b.lock, err = lockBook(b.path + ".lock"); err != nil {
		return err
	}
	if err := b.refuseForeign(); err != nil {
		return err
	}
	// The pragmas stand in the data source name because only there do they
	// reach every connection the pool may open.
	b.write, err = sql.Open("sqlite", dataSource(b.path, url.Values{
		"_pragma": {"busy_timeout(5000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "journal_size_limit(16777216)"},
		"_txlock": {"immediate"},
	}))
	if err != nil {
		return err
	}
	b.write.SetMaxOpenConns(1)
	if err := b.migrate(steps); err != nil {
		return err
	}
	if err := b.openReaders(); err != nil {
		return err
	}
	if err := b.rememberFiles(); err != nil {
		return err
	}
	b.stored, err = storedBytes(b.read)
	return err
}

// OpenReadOnly opens an existing logbook for reading, also while another
// process is writing it. Every method that writes then fails with ErrReadOnly.
func OpenReadOnly(path string) (*Book, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, &Error{Path: path, Op: "open", Err: err}
	}
	b := &Book{path: abs, schema: len(migrations), seen: map[int64]*seen{}}
	if info, err := os.Stat(abs); err != nil || info.IsDir() {
		if err == nil {
			err = errors.New("this is a folder; a logbook is a file")
		}
		if errors.Is(err, fs.ErrNotExist) {
			err = fmt.Errorf("there is no logbook here yet; a first run makes one: %w", err)
		}
		return nil, b.fail("open", err)
	}
	if err := b.openReaders(); err != nil {
		return nil, errors.Join(b.fail("open", err), b.Close())
	}
	return b, nil
}

func (b *Book) openReaders() error {
	options := url.Values{
		"mode":    {"ro"},
		"_pragma": {"busy_timeout(5000)", "query_only(1)"},
	}
	version, err := b.openReadersWith(options)
	if b.write == nil && cannotShare(err) && b.atRest() {
		b.read.Close()
		options.Set("immutable", "1")
		version, err = b.openReadersWith(options)
	}
	if err != nil {
		return err
	}
	return checkVersion(version, b.schema)
}

func (b *Book) openReadersWith(options url.Values) (version int, err error) {
	if b.read, err = sql.Open("sqlite", dataSource(b.path, options)); err != nil {
		return 0, err
	}
	b.read.SetMaxOpenConns(4)
	return schemaVersion(context.Background(), b.read)
}

// atRest says that no write-ahead log waits to be folded back, so that the file
// alone is the book. In a folder where the engine may not write, as on a
// read-only share, such a book can still be read.
func (b *Book) atRest() bool {
	log, err := os.Stat(b.path + "-wal")
	return errors.Is(err, fs.ErrNotExist) || err == nil && log.Size() == 0
}

// dataSource words a path as the file: URI the engine wants, so that question
// marks, blanks and drive letters in it survive.
func dataSource(path string, options url.Values) string {
	p := filepath.ToSlash(path)
	if !strings.HasPrefix(p, "/") {
		p = "/" + p
	}
	u := url.URL{Scheme: "file", Path: p, RawQuery: options.Encode()}
	return u.String()
}

// Close folds the write-ahead log back and lets other processes write.
func (b *Book) Close() error {
	var errs []error
	if b.read != nil {
		errs = append(errs, b.read.Close())
	}
	if b.write != nil {
		errs = append(errs, b.write.Close())
	}
	if b.moved != nil {
		errs = append(errs, b.removeOwnLog())
	}
	if b.lock != nil {
		errs = append(errs, b.lock.release())
	}
	return errors.Join(errs...)
}

// Path is where the book lies, as an absolute path.
func (b *Book) Path() string { return b.path }

// Size is what the book occupies on disk, in bytes, its write-ahead log
// included. It only asks the file system: opening the file here would drop the
// engine's own locks on it.
func (b *Book) Size() int64 {
	var total int64
	for _, suffix := range []string{"", "-wal"} {
		if info, err := os.Stat(b.path + suffix); err == nil {
			total += info.Size()
		}
	}
	return total
}

// transact runs do in one durable transaction of the single writer, and then,
// still holding the writer, what is to follow a successful commit.
func (b *Book) transact(op string, do func(context.Context, *sql.Tx) error, committed ...func()) error {
	if b.write == nil {
		return b.fail(op, ErrReadOnly)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), commitTimeout)
	defer cancel()
	if err := b.inPlace(ctx); err != nil {
		return b.fail(op, err)
	}
	tx, err := b.write.BeginTx(ctx, nil)
	if err != nil {
		return b.fail(op, err)
	}
	// A no-op after a successful commit.
	defer tx.Rollback()
	if err := do(ctx, tx); err != nil {
		return b.fail(op, err)
	}
	if err := tx.Commit(); err != nil {
		return b.fail(op, err)
	}
	for _, then := range committed {
		then()
	}
	return nil
}
