package link

import "golang.org/x/sys/unix"

func stopOutput(fd int) error  { return unix.IoctlSetInt(fd, unix.TCXONC, unix.TCOOFF) }
func startOutput(fd int) error { return unix.IoctlSetInt(fd, unix.TCXONC, unix.TCOON) }

const (
	getTermios = unix.TCGETS
	setTermios = unix.TCSETS
)
