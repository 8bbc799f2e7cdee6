//go:build unix

package fake

import (
	"os"

	"golang.org/x/sys/unix"
)

// pollable replaces a file by one whose Close ends a Read that waits.
func pollable(f *os.File) (*os.File, error) {
	defer f.Close()
	fd, err := unix.FcntlInt(f.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(fd), f.Name()), nil
}
