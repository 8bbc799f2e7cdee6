package link

import (
	"fmt"
	"runtime"
	"time"

	"golang.org/x/sys/unix"
)

// start gives the device an operating-system thread of its own that no signal
// interrupts. A signal in the middle of a transfer, such as the Go runtime
// sends itself to preempt a goroutine, has the kernel drop the 4 KiB it was at
// and begin again, without an error.
func (d *usbtmcDevice) start() error {
	ready := make(chan error)
	go func() {
		// Never unlocked, so that the thread ends with this goroutine.
		runtime.LockOSThread()
		var all unix.Sigset_t
		for i := range all.Val {
			all.Val[i] = ^all.Val[i]
		}
		if err := unix.PthreadSigmask(unix.SIG_SETMASK, &all, nil); err != nil {
			ready <- fmt.Errorf("blocking signals: %w", err)
			return
		}
		close(ready)
		d.serve()
	}()
	return <-ready
}

// serve makes one call after another until shut is closed.
func (d *usbtmcDevice) serve() {
	defer close(d.ended)
	for {
		select {
		case call := <-d.calls:
			call()
		case <-d.shut:
			d.closeErr = unix.Close(d.fd)
			return
		}
	}
}

// begin starts a transfer on the device's thread, see read, and returns at once.
func (d *usbtmcDevice) begin(limit time.Duration, announced bool) chan piece {
	got := make(chan piece, 1)
	go func() {
		select {
		case d.calls <- func() { got <- d.read(limit, announced) }:
		case <-d.shut:
		}
	}()
	return got
}

// onThread has the device's thread make a call and waits for it. A call that
// has not ended by the deadline goes on there, and its result is lost.
func onThread[T any](d *usbtmcDevice, deadline time.Time, call func() (T, error)) (T, error) {
	type result struct {
		value T
		err   error
	}
	done := make(chan result, 1)
	timer := time.NewTimer(time.Until(deadline))
	defer timer.Stop()
	var none T
	select {
	case d.calls <- func() {
		value, err := call()
		done <- result{value, err}
	}:
	case <-d.shut:
		return none, ErrClosed
	case <-timer.C:
		return none, ErrTimeout
	}
	select {
	case r := <-done:
		return r.value, r.err
	case <-d.shut:
		return none, ErrClosed
	case <-timer.C:
		return none, ErrTimeout
	}
}
