// Package runner carries out runs: the power cycle, its place in the logbook, replay and resume, limits, and
// the supply off on every way out.
package runner

import (
	"context"
	"errors"
	"fmt"

	"ringup/drivers"
	"ringup/runner/bench"
)

// Rig is a bench whose instruments are open. Nothing is energised by opening it.
type Rig struct {
	Bench       *bench.Bench
	Supply      drivers.Supply // guarded: no caller gets past the bench file's limits
	Scope       drivers.Scope
	Thermometer drivers.Thermometer // nil if the bench has none
}

// OpenRig opens the instruments of a bench, switches the supply off, reads it back and programs the limits.
// addresses replaces an address of the bench file by the one to open, for simulated instruments. observe
// is told of every exchange on a wire and may be nil. dialects is a folder of the user's own dialects.
func OpenRig(ctx context.Context, b *bench.Bench, addresses map[string]string, dialects string, observe func(drivers.Exchange)) (rig *Rig, err error) {
	rig = &Rig{Bench: b}
	defer func() {
		if err != nil {
			err = errors.Join(err, rig.Close())
			rig = nil
		}
	}()
	options := func(role string, i bench.Instrument) drivers.Options {
		address := i.Address
		if actual, ok := addresses[address]; ok {
			address = actual
		}
		return drivers.Options{Role: role, Address: address, Dialect: i.Dialect, Channel: i.Channel, DialectDir: dialects, Observe: observe}
	}
	supply, err := drivers.OpenSupply(ctx, options("supply", b.Supply))
	if err != nil {
		return rig, fmt.Errorf("%s: %w", b.Where("supply.address"), err)
	}
	rig.Supply = drivers.Guard(supply, b.Unit.MaxVolts, b.Unit.MaxAmps)
	if err = rig.Supply.Off(ctx); err != nil {
		return rig, err
	}
	if err = rig.Supply.Limit(ctx, b.Unit.MaxVolts, b.Unit.MaxAmps); err != nil {
		return rig, err
	}
	if rig.Scope, err = drivers.OpenScope(ctx, options("scope", b.Scope)); err != nil {
		return rig, fmt.Errorf("%s: %w", b.Where("scope.address"), err)
	}
	if b.Thermometer != nil {
		if rig.Thermometer, err = drivers.OpenThermometer(ctx, options("thermometer", *b.Thermometer)); err != nil {
			return rig, fmt.Errorf("%s: %w", b.Where("thermometer.address"), err)
		}
	}
	return rig, nil
}

// Close lets go of the instruments. It does not switch anything: Session.End has done that.
func (r *Rig) Close() error {
	var errs []error
	if r.Supply != nil {
		errs = append(errs, r.Supply.Close())
	}
	if r.Scope != nil {
		errs = append(errs, r.Scope.Close())
	}
	if r.Thermometer != nil {
		errs = append(errs, r.Thermometer.Close())
	}
	return errors.Join(errs...)
}

// identities is what the instruments say of themselves, by role.
func (r *Rig) identities() map[string]string {
	ids := map[string]string{"supply": r.Supply.Identity().String(), "scope": r.Scope.Identity().String()}
	if r.Thermometer != nil {
		ids["thermometer"] = r.Thermometer.Identity().String()
	}
	return ids
}
