package main

import (
	"os"
	"syscall"
)

// On Windows no terminal makes a program stand still.
var (
	suspends []os.Signal
	hinders  = []os.Signal{syscall.SIGPIPE}
)

// allEndings are those that a guard outlives.
var allEndings = []os.Signal{syscall.SIGHUP, os.Interrupt, syscall.SIGTERM}
