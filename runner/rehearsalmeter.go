package runner

import (
	"context"
	"time"

	"ringup/drivers"
)

// meteredSupply tells a rehearsal how often and how long the unit has power, whichever call of the script gives it.
type meteredSupply struct {
	drivers.Supply
	r     *Rehearsing
	volts float64
	on    bool
	since time.Time
}

// Meter is the bench with its supply metered, for the session to be opened on.
func (r *Rehearsing) Meter(rig *Rig) *Rig {
	metered := *rig
	metered.Supply = &meteredSupply{Supply: rig.Supply, r: r}
	return &metered
}

// SetVolts implements drivers.Supply.
func (m *meteredSupply) SetVolts(ctx context.Context, volts float64) error {
	err := m.Supply.SetVolts(ctx, volts)
	if err == nil {
		m.volts = volts
	}
	return err
}

// On implements drivers.Supply.
func (m *meteredSupply) On(ctx context.Context) error {
	err := m.Supply.On(ctx)
	if err == nil {
		m.on, m.since = true, m.r.clock.Now()
		m.r.r.Cycles++
		m.r.idle.asks = 0
		m.r.r.HighestVolts = max(m.r.r.HighestVolts, m.volts)
	}
	return err
}

// Off implements drivers.Supply.
func (m *meteredSupply) Off(ctx context.Context) error {
	err := m.Supply.Off(ctx)
	if err == nil && m.on {
		on := m.r.clock.Now().Sub(m.since).Seconds()
		m.on = false
		m.r.r.EnergisedSeconds += on
		m.r.r.LongestOnSeconds = max(m.r.r.LongestOnSeconds, on)
	}
	return err
}

// ReadsBack passes on what drivers.ReadsBack asks.
func (m *meteredSupply) ReadsBack() bool { return drivers.ReadsBack(m.Supply) }

// History implements drivers.Historian.
func (m *meteredSupply) History() []drivers.Message {
	if h, ok := m.Supply.(drivers.Historian); ok {
		return h.History()
	}
	return nil
}
