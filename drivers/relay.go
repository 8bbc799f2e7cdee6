package drivers

import (
	"context"
	"math"

	"ringup/drivers/dialect"
	"ringup/drivers/link"
)

// RelayOptions say which relay switches the lead of a supply that has no remote
// control.
type RelayOptions struct {
	// Options are the switching instrument's, with Channel the number of the
	// contact; or for a line, Role, Address and Observe.
	Options
	// Line is "DTR" or "RTS" when the relay hangs on a line of the serial
	// adapter at Address; empty for an instrument.
	Line string
	// Inverted says that the contact closes when the line is off.
	Inverted bool
	// SetVolts is what somebody has set the supply to.
	SetVolts float64
}

// OpenRelay opens a relay in the supply's lead and gives it as a Supply: on
// closes the contact, off opens it, and the one voltage there is is what was set
// by hand. Nothing is measured and no limit is programmed; the supply's own
// current limit, set by hand, is the only one.
func OpenRelay(ctx context.Context, o RelayOptions) (Supply, error) {
	if o.Role == "" {
		o.Role = string(dialect.Switch)
	}
	if o.Line != "" {
		return openLine(o)
	}
	d, err := openDevice(ctx, o.Options, dialect.Switch)
	if err != nil {
		return nil, err
	}
	return &relay{device: d, byHand: byHand{o.SetVolts}}, nil
}

// byHand is what a Supply can do without remote control.
type byHand struct{ volts float64 }

// sameVolts is how far apart two settings may be and still be the same, volts:
// nobody sets a knob closer.
const sameVolts = 0.0005

// Limit implements Supply: there is nothing to program.
func (b byHand) Limit(context.Context, float64, float64) error { return nil }

// SetVolts implements Supply; the error is *SetByHandError for any voltage but
// the one set by hand. Whether the supply is really set to it shows at the rail
// probe.
func (b byHand) SetVolts(_ context.Context, volts float64) error {
	if math.Abs(volts-b.volts) > sameVolts {
		return &SetByHandError{Asked: volts, Set: b.volts}
	}
	return nil
}

// Read implements Supply: nothing measures.
func (b byHand) Read(context.Context) (SupplyReading, error) {
	return SupplyReading{math.NaN(), math.NaN()}, nil
}

// relay is a switching instrument in a supply's lead.
type relay struct {
	byHand
	*device
}

// On implements Supply: close, once, read back.
func (r *relay) On(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.sendOn(ctx, "close", dialect.Settings{"closed": 1})
}

// Off implements Supply: open, again and again until it reads back as open.
func (r *relay) Off(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return &NotConfirmedOff{Address: r.options.Address, Err: link.ErrClosed}
	}
	return repeatOff(ctx, r.options.Address, func(ctx context.Context) error {
		return r.sendOff(ctx, "open", dialect.Settings{"closed": 0})
	})
}

// Output implements Supply: whether the contact is closed.
func (r *relay) Output(ctx context.Context) (bool, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.ready(ctx); err != nil {
		return false, err
	}
	reply, err := r.run(ctx, "closed", nil)
	return reply.Yes, err
}
