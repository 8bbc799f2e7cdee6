package drivers

import (
	"context"
	"errors"
	"math"
	"sync"
)

// Guard wraps a supply so that no caller gets past the limits: a voltage or
// current beyond them is a *LimitError and nothing is sent. The limits are
// programmed into the supply each time a voltage is set, since the supply may
// have lost them: after a power dip it comes up with its own, and its link may
// not show it. On is refused until a voltage has been set through the guard
// since the address was last opened: what the supply remembers from an earlier
// use may be anything.
func Guard(s Supply, maxVolts, maxAmps float64) Supply {
	return &guarded{Supply: s, maxVolts: maxVolts, maxAmps: maxAmps, volts: maxVolts, amps: maxAmps}
}

type guarded struct {
	Supply
	maxVolts, maxAmps float64

	mu          sync.Mutex
	volts, amps float64 // the limits to be programmed, within the guard's
	voltsSet    bool    // a voltage within them is set …
	openings    int     // … since the address was opened for this time
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
	g.volts, g.amps = maxVolts, maxAmps
	return g.Supply.Limit(ctx, maxVolts, maxAmps)
}

// SetVolts implements Supply.
func (g *guarded) SetVolts(ctx context.Context, volts float64) error {
	if err := check("volts", volts, g.maxVolts); err != nil {
		return err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.voltsSet = false
	if err := g.Supply.Limit(ctx, g.volts, g.amps); err != nil {
		return err
	}
	err := g.Supply.SetVolts(ctx, volts)
	g.voltsSet, g.openings = err == nil, openings(g.Supply)
	return err
}

// On implements Supply.
func (g *guarded) On(ctx context.Context) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.voltsSet || g.openings != openings(g.Supply) {
		return errNoVolts
	}
	return g.Supply.On(ctx)
}

// openings is how often the supply's address was opened; 0 if it does not say.
func openings(s Supply) int {
	if o, ok := s.(interface{ openings() int }); ok {
		return o.openings()
	}
	return 0
}

// ReadsBack passes on what the function ReadsBack asks.
func (g *guarded) ReadsBack() bool { return ReadsBack(g.Supply) }

// Unprotected passes on what the function Unprotected asks.
func (g *guarded) Unprotected() []string { return Unprotected(g.Supply) }

// History implements Historian.
func (g *guarded) History() []Message {
	if h, ok := g.Supply.(Historian); ok {
		return h.History()
	}
	return nil
}
