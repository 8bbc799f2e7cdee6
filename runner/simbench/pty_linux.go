package simbench

import "golang.org/x/sys/unix"

const (
	ioctlGetTermios = unix.TCGETS
	ioctlSetTermios = unix.TCSETS
)

// Linux keeps the speed as a code among the control flags; a speed without a code reads 0.
var speeds = map[uint32]int{
	unix.B1200: 1200, unix.B2400: 2400, unix.B4800: 4800, unix.B9600: 9600, unix.B19200: 19200, unix.B38400: 38400,
	unix.B57600: 57600, unix.B115200: 115200, unix.B230400: 230400, unix.B460800: 460800, unix.B921600: 921600,
}

func speedOf(t *unix.Termios) int { return speeds[t.Cflag&unix.CBAUD] }
