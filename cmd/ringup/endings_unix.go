//go:build unix

package main

import (
	"os"
	"syscall"
)

// suspends are the signals by which a terminal makes a program stand still, hinders those by which it makes it stand
// still or die for reading or writing.
var (
	suspends = []os.Signal{syscall.SIGTSTP}
	hinders  = []os.Signal{syscall.SIGTTIN, syscall.SIGTTOU, syscall.SIGPIPE}
)

// allEndings are those that a guard outlives: whoever ends a service or a session signals all of its processes.
var allEndings = append([]os.Signal{syscall.SIGHUP, syscall.SIGINT, syscall.SIGQUIT, syscall.SIGTERM, syscall.SIGTSTP}, hinders...)
