package logbook

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"
)

// processLock keeps a second writing process out. It is a file of its own beside
// the book: closing another handle of the book itself would drop the engine's
// locks on it. The file stays when the lock goes, since removing it would let two
// processes lock two files of one name.
type processLock struct{ file *os.File }

const (
	shared, exclusive = false, true

	lockTries = 10
	lockPause = 10 * time.Millisecond
)

// Written says whether a process, be it this one, has the book open for writing.
// A run that is not over is cut short if nobody writes its book.
func (b *Book) Written() bool {
	if b.lock != nil {
		return true
	}
	f, err := os.Open(b.path + ".lock")
	if err != nil {
		return !errors.Is(err, fs.ErrNotExist) // who cannot look does not know
	}
	defer f.Close()
	free, err := tryLock(f, shared)
	return err != nil || !free
}

func lockBook(path string) (*processLock, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, err
	}
	taken, err := tryLock(f, exclusive)
	for n := 0; n < lockTries && !taken && err == nil; n++ { // it may be somebody who only looks whether it is taken
		time.Sleep(lockPause)
		taken, err = tryLock(f, exclusive)
	}
	if err != nil {
		return nil, fmt.Errorf("lock %s: %w", path, withClose(err, f))
	}
	if !taken {
		holder, _ := io.ReadAll(io.LimitReader(f, 64))
		return nil, withClose(fmt.Errorf("%w (%s); stop that one, submit the run to it, or give this run another --logbook",
			ErrInUse, strings.TrimSpace(string(holder))), f)
	}
	// The text is for the message above only; the lock holds without it.
	if err := f.Truncate(0); err == nil {
		fmt.Fprintf(f, "process %d\n", os.Getpid())
	}
	return &processLock{f}, nil
}

// withClose closes f, which only held a lock, and gives back err.
func withClose(err error, f *os.File) error {
	_ = f.Close()
	return err
}

func (l *processLock) release() error { return l.file.Close() }
