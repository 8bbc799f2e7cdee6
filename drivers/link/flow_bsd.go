//go:build unix && !linux

package link

import "golang.org/x/sys/unix"

func stopOutput(fd int) error  { return unix.IoctlSetInt(fd, unix.TIOCSTOP, 0) }
func startOutput(fd int) error { return unix.IoctlSetInt(fd, unix.TIOCSTART, 0) }

const (
	getTermios = unix.TIOCGETA
	setTermios = unix.TIOCSETA
)
