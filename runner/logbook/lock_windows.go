package logbook

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock takes an exclusive lock on an open file without waiting; the system
// drops it with the process, however that ends. The locked byte lies far behind
// the text, since a lock here also forbids reading.
func tryLock(f *os.File) (taken bool, err error) {
	at := windows.Overlapped{OffsetHigh: 1}
	err = windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return false, nil
	}
	return err == nil, err
}
