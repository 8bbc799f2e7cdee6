//go:build unix

package logbook

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// tryLock takes a lock on an open file without waiting; the kernel drops it with
// the process, however that ends.
func tryLock(f *os.File, exclusive bool) (taken bool, err error) {
	kind := unix.LOCK_SH
	if exclusive {
		kind = unix.LOCK_EX
	}
	err = unix.Flock(int(f.Fd()), kind|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return false, nil
	}
	return err == nil, err
}
