package simbench

import "golang.org/x/sys/unix"

const (
	ioctlGetTermios = unix.TIOCGETA
	ioctlSetTermios = unix.TIOCSETA
)

func speedOf(t *unix.Termios) int { return int(t.Ospeed) }
