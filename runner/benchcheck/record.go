package benchcheck

import (
	"context"
	"fmt"
	"math"
	"time"

	"ringup/drivers"
	"ringup/runner/bench"
	"ringup/runner/verdict"
)

// Waiting for a record beyond its window.
const (
	acquireWait = 2 * time.Second
	acquirePoll = 20 * time.Millisecond
)

// probe is one of the bench file's, with its name there.
type probe struct {
	name string
	bench.Probe
}

// probes are the bench's, the rail's first.
func (c *Checker) probes() []probe {
	all := []probe{{"rail", c.bench.Rail}, {"clock", c.bench.Clock}}
	if c.bench.Lamp != nil {
		all = append(all, probe{"lamp", *c.bench.Lamp})
	}
	return all
}

// window is a channel set to see from low to high, volts at the probe's tip.
func (p probe) window(low, high float64) drivers.ChannelSetup {
	return drivers.ChannelSetup{Number: p.Channel, Attenuation: p.Attenuation, LowVolts: low, HighVolts: high}
}

// capture takes a record of one channel at once.
func (c *Checker) capture(ctx context.Context, channel drivers.ChannelSetup, windowSeconds float64, points int) (verdict.Trace, error) {
	setup := drivers.RecordSetup{Channels: []drivers.ChannelSetup{channel}, WindowSeconds: windowSeconds, Points: points}
	if err := c.scope.Arm(ctx, setup); err != nil {
		return verdict.Trace{}, err
	}
	if err := c.options.Clock.Sleep(ctx, seconds(windowSeconds)); err != nil {
		return verdict.Trace{}, err
	}
	done, err := c.acquired(ctx)
	if err == nil && !done {
		err = fmt.Errorf("a record of %g s without trigger was not complete %s after its end", windowSeconds, acquireWait)
	}
	if err != nil {
		return verdict.Trace{}, err
	}
	return c.fetch(ctx, channel.Number)
}

// acquired polls until the record is complete, and says so; or that it is not, after acquireWait.
func (c *Checker) acquired(ctx context.Context) (bool, error) {
	for waited := time.Duration(0); ; waited += acquirePoll {
		done, err := c.scope.Done(ctx)
		if done || err != nil || waited >= acquireWait {
			return done, err
		}
		if err := c.options.Clock.Sleep(ctx, acquirePoll); err != nil {
			return false, err
		}
	}
}

func (c *Checker) fetch(ctx context.Context, channel int) (verdict.Trace, error) {
	w, err := c.scope.Fetch(ctx, channel)
	return verdict.Trace{
		StartSeconds: w.StartSeconds, StepSeconds: w.StepSeconds, Min: w.Min, Max: w.Max,
		LowVolts: w.LowVolts, HighVolts: w.HighVolts, Codes: w.Codes,
	}, err
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// mean is the middle of a record.
func mean(t verdict.Trace) float64 {
	sum := 0.0
	for i := range t.Min {
		sum += (t.Min[i] + t.Max[i]) / 2
	}
	return sum / float64(len(t.Min))
}
