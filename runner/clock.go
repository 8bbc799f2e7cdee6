package runner

import (
	"context"
	"sync"
	"time"
)

// Clock is where all waiting of a run goes through. Link time-outs do not use it: a wire is always real.
type Clock interface {
	Now() time.Time
	// Sleep returns after d of this clock's time, or earlier with the context's error.
	Sleep(ctx context.Context, d time.Duration) error
}

// WallClock is the clock of a real bench.
type WallClock struct{}

// Now returns the time of day. The difference of two such moments is a duration even if the time of day was set between
// them, since package time reckons it by a clock that only goes on; not so one that was in the logbook.
func (WallClock) Now() time.Time { return time.Now() }

// SetBetween returns by how much the time of day went further between two moments than time did: because it was set, or
// because the computer slept.
func (WallClock) SetBetween(a, b time.Time) time.Duration {
	return b.Round(0).Sub(a.Round(0)) - b.Sub(a)
}

// Sleep waits d of real time.
func (WallClock) Sleep(ctx context.Context, d time.Duration) error { return sleepReal(ctx, d) }

// VirtualClock is shared by the runner and the simulated bench. It stands still except in Sleep, which moves
// it on by exactly d, so that the moments of a run depend on nothing but its script.
type VirtualClock struct {
	pace float64 // virtual seconds for each real one; 0: no real waiting at all

	mu  sync.Mutex
	now time.Time
}

// NewVirtualClock starts at the given moment. With pace 0 a Sleep takes no real time; with pace 60 a virtual
// minute takes a real second.
func NewVirtualClock(start time.Time, pace float64) *VirtualClock {
	return &VirtualClock{now: start, pace: pace}
}

// Now returns the virtual time.
func (c *VirtualClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Sleep moves the virtual time on by d. A Sleep that is cut short leaves the time where it was.
func (c *VirtualClock) Sleep(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if c.pace > 0 {
		if err := sleepReal(ctx, time.Duration(float64(d)/c.pace)); err != nil {
			return err
		}
	}
	if d > 0 {
		c.mu.Lock()
		c.now = c.now.Add(d)
		c.mu.Unlock()
	}
	return nil
}

func sleepReal(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// realNow is for measuring how long a commit took, never for the moments of a run.
func realNow() time.Time { return time.Now() }
