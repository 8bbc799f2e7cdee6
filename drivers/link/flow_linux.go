package link

import "golang.org/x/sys/unix"

// flow stops or starts a terminal's output, as tcflow does.
func flow(fd, action int) error { return unix.IoctlSetInt(fd, unix.TCXONC, action) }
