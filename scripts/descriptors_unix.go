//go:build unix

package scripts

import (
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// keepDescriptors marks every open descriptor of this process as not to be
// inherited. Go opens its own that way; a library that calls open(2) itself may
// not, and a script process that holds a serial port or the logbook would keep it
// locked after the parent's end.
func keepDescriptors() error {
	entries, err := os.ReadDir("/dev/fd")
	if err != nil {
		return err
	}
	for _, entry := range entries {
		if fd, err := strconv.Atoi(entry.Name()); err == nil && fd > 2 {
			unix.CloseOnExec(fd)
		}
	}
	return nil
}
