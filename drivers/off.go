package drivers

import (
	"context"
	"time"
)

const (
	// offAttempts is how often off is sent before giving up.
	offAttempts = 5
	// offTime bounds all of them.
	offTime = 20 * time.Second
)

// repeatOff tries to switch off until that succeeds, with growing pauses. It
// does not stop at a cancelled ctx. The error is *NotConfirmedOff.
func repeatOff(ctx context.Context, address string, try func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), offTime)
	defer cancel()
	var err error
	attempts := 0
	for pause := firstPause; attempts < offAttempts; pause *= 2 {
		attempts++
		if err = try(ctx); err == nil {
			return nil
		}
		if attempts < offAttempts && wait(ctx, pause) != nil {
			break
		}
	}
	return &NotConfirmedOff{Address: address, Attempts: attempts, Err: err}
}

// sendOff switches an instrument's output off by an operation that reads it
// back. A link that is gone is opened again first. Off is sent even when the
// session is out of step, since getting back into step takes time. d.mu is
// held.
func (d *device) sendOff(ctx context.Context, operation string, off map[string]float64) error {
	if d.session == nil || KindOf(d.session.Torn()) == "gone" {
		if err := d.reopenOnce(ctx); err != nil {
			return err
		}
	}
	if d.session.Torn() != nil {
		commands, err := d.dialect.Commands(operation, d.settings(off))
		if err != nil {
			return err
		}
		for _, c := range commands {
			if err := d.session.Force(ctx, c); err != nil {
				return d.explain(c, err)
			}
		}
	}
	if d.session.Torn() != nil {
		if err := d.session.Resync(ctx); err != nil {
			return d.explain("*IDN?", err)
		}
		// What is wrong with the error queue does not keep us from switching off.
		if _, err := d.session.Errors(ctx); err != nil && d.session.Torn() != nil {
			return d.explain("", err)
		}
	}
	_, err := d.run(ctx, operation, off)
	return err
}

// sendOn sends an operation that energises the unit, once. An error after which
// nobody knows whether it was carried out is ErrStateUnknown. d.mu is held.
func (d *device) sendOn(ctx context.Context, operation string, on map[string]float64) error {
	if err := d.ready(ctx); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return d.explain(operation, notSent(err))
	}
	_, err := d.run(ctx, operation, on)
	return unknownState(err)
}
