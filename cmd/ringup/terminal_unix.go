//go:build unix

package main

import (
	"os"

	"golang.org/x/sys/unix"
)

// columns is how wide the terminal is at the end of f; 0 if there is none.
func columns(f *os.File) int {
	size, err := unix.IoctlGetWinsize(int(f.Fd()), unix.TIOCGWINSZ)
	if err != nil {
		return 0
	}
	if size.Col == 0 { // a serial console does not know
		return 80
	}
	return int(size.Col)
}
