package drivers

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ringup/drivers/link"
)

// Pauses between attempts to open an instrument again, doubling from the first
// to the last.
const (
	firstPause = 50 * time.Millisecond
	lastPause  = 2 * time.Second
)

// Reopen opens the address again, with growing pauses until ctx ends, and
// compares the identity. Another instrument at the address is an
// *IdentityChanged at once, since only a person can mend that.
func (d *device) Reopen(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.reopen(ctx)
}

func (d *device) reopen(ctx context.Context) error {
	return repeatOpen(ctx, func() error { return d.reopenOnce(ctx) })
}

// repeatOpen tries again and again, until ctx ends or only a person can help.
func repeatOpen(ctx context.Context, open func() error) error {
	pause := firstPause
	for {
		err := open()
		var changed *IdentityChanged
		if err == nil || errors.As(err, &changed) || errors.Is(err, link.ErrClosed) {
			return err
		}
		if ended := wait(ctx, pause); ended != nil {
			return fmt.Errorf("%w; gave up: %w", err, ended)
		}
		pause = min(2*pause, lastPause)
	}
}

func (d *device) reopenOnce(ctx context.Context) error {
	if d.closed {
		return d.explain("", link.ErrClosed)
	}
	// An error in closing what is gone already tells nothing.
	d.disconnect()
	return d.connect(ctx)
}

// wait pauses between attempts, in real time.
func wait(ctx context.Context, pause time.Duration) error {
	timer := time.NewTimer(pause)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
