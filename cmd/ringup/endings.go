package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
)

// errLeft is why the context of a run ends that nobody wants ended: the computer shuts down, the terminal is closed.
// Such a run is left to be gone on with.
var errLeft = errors.New("left to be gone on with")

// untilEnding returns a context that the signals that end a program end: with errStopped for Ctrl-C, which is a
// person's decision, and otherwise with errLeft. A second one changes nothing, since the supply is being switched off,
// and says so.
//
// Meanwhile the process neither stands still (Ctrl-Z, a read from the terminal in the background) nor dies of its
// output (a closed pipe): it could not switch off any more.
func untilEnding(parent context.Context, errOut io.Writer) (ctx context.Context, done func()) {
	ctx, cancel := context.WithCancelCause(parent)
	signals := make(chan os.Signal, 8)
	signal.Notify(signals, append([]os.Signal{os.Interrupt, syscall.SIGTERM}, suspends...)...)
	if !signal.Ignored(syscall.SIGHUP) { // as nohup has it
		signal.Notify(signals, syscall.SIGHUP)
	}
	signal.Ignore(hinders...)
	go func() {
		for s := range signals {
			switch {
			case isSuspend(s):
				fmt.Fprintln(errOut, "\nCtrl-Z does nothing here: a program that stands still cannot switch the supply off. To hold a run: ringup hold")
			case ctx.Err() != nil:
				fmt.Fprintln(errOut, "\nending already; the supply is switched off and read back first")
			case s == os.Interrupt:
				cancel(errStopped)
			default:
				cancel(fmt.Errorf("%w (%v)", errLeft, s))
			}
		}
	}()
	return ctx, func() {
		signal.Stop(signals)
		cancel(nil)
	}
}

func isSuspend(s os.Signal) bool {
	for _, each := range suspends {
		if s == each {
			return true
		}
	}
	return false
}
