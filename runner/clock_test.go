package runner_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"ringup/runner"
)

func TestVirtualClockStandsStillExceptInSleep(t *testing.T) {
	c := runner.NewVirtualClock(nightBegins, 0)
	for _, d := range []time.Duration{3 * time.Second, 1, 0, -time.Hour, 12 * time.Hour} {
		before := c.Now()
		if err := c.Sleep(t.Context(), d); err != nil {
			t.Fatal(err)
		}
		if got, want := c.Now().Sub(before), max(0, d); got != want {
			t.Errorf("a sleep of %v moved the time by %v", d, got)
		}
	}
	if got, want := c.Now(), nightBegins.Add(12*time.Hour+3*time.Second+1); !got.Equal(want) {
		t.Errorf("it is %v, want %v", got, want)
	}
}

func TestVirtualClockTakesRealTimeByItsPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := runner.NewVirtualClock(nightBegins, 60)
		began := time.Now()
		if err := c.Sleep(t.Context(), time.Hour); err != nil {
			t.Fatal(err)
		}
		if real, virtual := time.Since(began), c.Now().Sub(nightBegins); real != time.Minute || virtual != time.Hour {
			t.Errorf("%v of virtual time in %v of real time, want 1h in 1m", virtual, real)
		}
	})
}

func TestASleepCutShortLeavesTheTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := runner.NewVirtualClock(nightBegins, 60)
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		if err := c.Sleep(ctx, time.Hour); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v, want the context's error", err)
		}
		if !c.Now().Equal(nightBegins) {
			t.Errorf("it is %v, want the time to stand", c.Now())
		}
		// A context that has ended stops even a sleep that takes no real time.
		atOnce := runner.NewVirtualClock(nightBegins, 0)
		if err := atOnce.Sleep(ctx, time.Hour); !errors.Is(err, context.DeadlineExceeded) || !atOnce.Now().Equal(nightBegins) {
			t.Errorf("got %v at %v", err, atOnce.Now())
		}
	})
}

func TestVirtualClockAddsUpSleepsOfSeveral(t *testing.T) {
	c := runner.NewVirtualClock(nightBegins, 0)
	const sleepers, each = 8, 500
	var all sync.WaitGroup
	for range sleepers {
		all.Go(func() {
			for range each {
				if err := c.Sleep(t.Context(), time.Millisecond); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	if got, want := c.Now().Sub(nightBegins), sleepers*each*time.Millisecond; got != want {
		t.Errorf("%v passed, want %v", got, want)
	}
}

func TestWallClockSleepsUntilDoneOrCancelled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var c runner.WallClock
		began := c.Now()
		if err := c.Sleep(t.Context(), 3*time.Second); err != nil {
			t.Fatal(err)
		}
		if got := c.Now().Sub(began); got != 3*time.Second {
			t.Errorf("slept %v, want 3s", got)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := c.Sleep(ctx, time.Hour); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v, want the context's error", err)
		}
		if got := c.Now().Sub(began); got != 4*time.Second {
			t.Errorf("the sleep that was cut short ended after %v, want 4s", got)
		}
	})
}
