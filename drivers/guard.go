package drivers

import (
	"context"
	"errors"
	"math"
	"sync"

	"ringup/drivers/scpi"
)

// Guard wraps a supply so that no caller gets past the limits: a voltage or
// current beyond them is a *LimitError and nothing is sent. The limits are
// programmed into the supply before the output first comes on, and again after
// each Reopen, since the supply may have lost them. On is refused until a
// voltage has been set through the guard: what the supply remembers from an
// earlier use may be anything.
func Guard(s Supply, maxVolts, maxAmps float64) Supply {
	return &guarded{Supply: s, maxVolts: maxVolts, maxAmps: maxAmps}
}

type guarded struct {
	Supply
	maxVolts, maxAmps float64

	mu       sync.Mutex
	limited  bool // the limits are programmed
	voltsSet bool // a voltage within them is set
}

// errNoVolts refuses On.
var errNoVolts = errors.New("supply: the output is not switched on, because no voltage has been set since the supply was opened; set one first")

// check refuses NaN and negative numbers, too.
func check(quantity string, asked, limit float64) error {
	if asked >= 0 && asked <= limit && !math.IsInf(asked, 0) {
		return nil
	}
	return &LimitError{Quantity: quantity, Asked: asked, Limit: limit}
}

// Limit implements Supply; both values must be within the guard's.
func (g *guarded) Limit(ctx context.Context, maxVolts, maxAmps float64) error {
	if err := errors.Join(check("volts", maxVolts, g.maxVolts), check("amps", maxAmps, g.maxAmps)); err != nil {
		return err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.limited = false
	err := g.Supply.Limit(ctx, maxVolts, maxAmps)
	g.limited = err == nil
	return err
}

// SetVolts implements Supply.
func (g *guarded) SetVolts(ctx context.Context, volts float64) error {
	if err := check("volts", volts, g.maxVolts); err != nil {
		return err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.voltsSet = false
	err := g.Supply.SetVolts(ctx, volts)
	g.voltsSet = err == nil
	return err
}

// On implements Supply.
func (g *guarded) On(ctx context.Context) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.voltsSet {
		return errNoVolts
	}
	if !g.limited {
		if err := g.Supply.Limit(ctx, g.maxVolts, g.maxAmps); err != nil {
			return err
		}
		g.limited = true
	}
	return g.Supply.On(ctx)
}

// Reopen implements Supply.
func (g *guarded) Reopen(ctx context.Context) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.limited, g.voltsSet = false, false
	return g.Supply.Reopen(ctx)
}

// History implements Historian.
func (g *guarded) History() []scpi.Message {
	if h, ok := g.Supply.(Historian); ok {
		return h.History()
	}
	return nil
}
