package logbook

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Errors a caller can act on; test for them with errors.Is.
var (
	// ErrFull means that the disk has no room left. Nothing of the refused
	// write is in the book, and all that was acknowledged before it is.
	ErrFull = errors.New("the disk is full; free some space, then give the same command again to go on")
	// ErrInUse means that another process is writing the book.
	ErrInUse = errors.New("another ringup is writing this logbook")
	// ErrNewer means that a later version of ringup made the book.
	ErrNewer = errors.New("this logbook was written by a newer ringup")
	// ErrOlder means that the book must be brought to the present schema before it
	// can be read, which Open does.
	ErrOlder = errors.New("this logbook was written by an older ringup")
	// ErrReadOnly means that the book was opened with OpenReadOnly.
	ErrReadOnly = errors.New("the logbook is open for reading only")
	// ErrNoRun means that the book holds no such run, or none at all.
	ErrNoRun = errors.New("no such run in the logbook")
	// ErrStepEnded means that a step already has its result. A result is
	// never overwritten: what was recorded is what happened.
	ErrStepEnded = errors.New("the step already has a result")
)

// Error says which operation on which logbook failed, and why.
type Error struct {
	Path string
	Op   string
	Err  error
}

func (e *Error) Error() string { return fmt.Sprintf("logbook %s: %s: %v", e.Path, e.Op, e.Err) }

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// fail wraps err once, adding ErrFull where the engine's code means a full disk.
func (b *Book) fail(op string, err error) error {
	if engine, ok := errors.AsType[*sqlite.Error](err); ok {
		switch engine.Code() {
		// The second is how a full disk shows while the engine enlarges
		// the index of its write-ahead log.
		case sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_SHMSIZE:
			err = fmt.Errorf("%w (%w)", ErrFull, err)
		}
	}
	return &Error{Path: b.path, Op: op, Err: err}
}
