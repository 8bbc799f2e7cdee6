package logbook

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock takes a lock on an open file without waiting; the system drops it with
// the process, however that ends. The locked byte lies far behind the text, since a
// lock here also forbids reading.
func tryLock(f *os.File, exclusive bool) (taken bool, err error) {
	at := windows.Overlapped{OffsetHigh: 1}
	flags := uint32(windows.LOCKFILE_FAIL_IMMEDIATELY)
	if exclusive {
		flags |= windows.LOCKFILE_EXCLUSIVE_LOCK
	}
	err = windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, &at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return false, nil
	}
	return err == nil, err
}
