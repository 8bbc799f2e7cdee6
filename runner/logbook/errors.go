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
	// ErrDamaged means that the file cannot be read as the engine wrote it.
	ErrDamaged = errors.New("the logbook is damaged; keep the file, and begin another with --logbook")
	// ErrForeign means that the file is no logbook.
	ErrForeign = errors.New("this file is no logbook; name another with --logbook")
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

// fail wraps err once, adding what a caller can act on where the engine's code
// tells it.
func (b *Book) fail(op string, err error) error {
	switch engineCode(err) {
	// The second is how a full disk shows while the engine enlarges the index of
	// its write-ahead log.
	case sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_SHMSIZE:
		err = fmt.Errorf("%w (%w)", ErrFull, err)
	case sqlite3.SQLITE_NOTADB:
		err = fmt.Errorf("%w (%w)", ErrForeign, err)
	case sqlite3.SQLITE_CORRUPT:
		err = fmt.Errorf("%w (%w)", ErrDamaged, err)
	}
	return &Error{Path: b.path, Op: op, Err: err}
}

// engineCode is the engine's extended code of an error; 0 if it is none of the
// engine's.
func engineCode(err error) int {
	if engine, ok := errors.AsType[*sqlite.Error](err); ok {
		return engine.Code()
	}
	return 0
}

// cannotShare says that the engine may not make the files by which readers and
// writers of a book get along.
func cannotShare(err error) bool {
	switch engineCode(err) {
	case sqlite3.SQLITE_READONLY_DIRECTORY, sqlite3.SQLITE_READONLY_CANTINIT, sqlite3.SQLITE_CANTOPEN:
		return true
	}
	return false
}
