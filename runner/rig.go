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
	Supply      drivers.Supply      // guarded: no caller gets past the bench file's limits
	Scope       drivers.Scope       // nil if the bench has none
	Thermometer drivers.Thermometer // nil if the bench has none
}

// Power says what switches a unit's supply, and how it is reached: all that a process needs that has nothing else to
// do than to switch it off.
type Power struct {
	Role       string  `json:"role"` // "supply" or "switch"
	Address    string  `json:"address"`
	Dialect    string  `json:"dialect"`
	Channel    int     `json:"channel"`
	DialectDir string  `json:"dialect_dir"`
	Line       string  `json:"line"` // of a relay on a serial adapter
	Inverted   bool    `json:"inverted"`
	SetVolts   float64 `json:"set_volts"` // by hand, with a relay
}

// PowerOf reads from the bench file what switches the unit's supply. dialects is a folder of the user's own dialects.
func PowerOf(b *bench.Bench, dialects string) Power {
	if w := b.Switch; w != nil {
		return Power{Role: "switch", Address: w.Address, Dialect: w.Dialect, Channel: w.Channel, DialectDir: dialects, Line: w.Line, Inverted: w.Inverted, SetVolts: b.SetByHandVolts}
	}
	return Power{Role: "supply", Address: b.Supply.Address, Dialect: b.Supply.Dialect, Channel: b.Supply.Channel, DialectDir: dialects}
}

// Open opens it, without a guard and without switching anything (but see drivers.OpenRelay for a relay on a line, whose
// opening is its off). observe may be nil.
func (p Power) Open(ctx context.Context, observe func(drivers.Exchange)) (drivers.Supply, error) {
	o := drivers.Options{Role: p.Role, Address: p.Address, Dialect: p.Dialect, Channel: p.Channel, DialectDir: p.DialectDir, Observe: observe}
	if p.Role == "switch" {
		return drivers.OpenRelay(ctx, drivers.RelayOptions{Options: o, Line: p.Line, Inverted: p.Inverted, SetVolts: p.SetVolts})
	}
	return drivers.OpenSupply(ctx, o)
}

// OpenRig opens the instruments of a bench, switches the supply off, reads it back where there is something to read
// back, and programs the limits. addresses replaces an address of the bench file by the one to open, for simulated
// instruments. observe is told of every exchange on a wire and may be nil. dialects is a folder of the user's own
// dialects.
func OpenRig(ctx context.Context, b *bench.Bench, addresses map[string]string, dialects string, observe func(drivers.Exchange)) (rig *Rig, err error) {
	rig = &Rig{Bench: b}
	defer func() {
		if err != nil {
			err = errors.Join(err, rig.Close())
			rig = nil
		}
	}()
	actual := func(address string) string {
		if other, ok := addresses[address]; ok {
			return other
		}
		return address
	}
	options := func(role string, i bench.Instrument) drivers.Options {
		return drivers.Options{Role: role, Address: actual(i.Address), Dialect: i.Dialect, Channel: i.Channel, DialectDir: dialects, Observe: observe}
	}
	power := PowerOf(b, dialects)
	power.Address = actual(power.Address)
	supply, err := power.Open(ctx, observe)
	if err != nil {
		return rig, notOpened(b.Where(power.Role+".address"), err)
	}
	rig.Supply = drivers.Guard(supply, b.Unit.MaxVolts, b.Unit.MaxAmps)
	if err = rig.Supply.Off(ctx); err != nil {
		return rig, err
	}
	if err = rig.Supply.Limit(ctx, b.Unit.MaxVolts, b.Unit.MaxAmps); err != nil {
		return rig, err
	}
	if b.HasScope() {
		if rig.Scope, err = drivers.OpenScope(ctx, options("scope", b.Scope)); err != nil {
			rig.Scope = nil
			return rig, notOpened(b.Where("scope.address"), err)
		}
		if err = rig.Scope.Stop(ctx); err != nil { // a process that was killed may have left it waiting for a trigger
			return rig, err
		}
	}
	if b.Thermometer != nil {
		if rig.Thermometer, err = drivers.OpenThermometer(ctx, options("thermometer", *b.Thermometer)); err != nil {
			return rig, notOpened(b.Where("thermometer.address"), err)
		}
	}
	return rig, nil
}

// notOpened is the error of an instrument that does not open, with the place of its address in the bench file.
func notOpened(where string, err error) error {
	return fmt.Errorf("%s: %w; ringup check says more", where, err)
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

// OffMeans says in what sense the supply was confirmed off.
func (r *Rig) OffMeans() string {
	switch {
	case r.Bench.Switch == nil:
		return "the supply is off, read back"
	case drivers.ReadsBack(r.Supply):
		return "the relay is open, read back"
	}
	return "the relay is told to open, and the rail probe shows the unit without power"
}

// instruments is all there is, by role.
func (r *Rig) instruments() map[string]interface{ Identity() drivers.Identity } {
	all := map[string]interface{ Identity() drivers.Identity }{}
	if r.Scope != nil {
		all["scope"] = r.Scope
	}
	if r.Bench.Switch != nil {
		all["switch"] = r.Supply
	} else {
		all["supply"] = r.Supply
	}
	if r.Thermometer != nil {
		all["thermometer"] = r.Thermometer
	}
	return all
}

// identities is what the instruments say of themselves, by role.
func (r *Rig) identities() map[string]string {
	ids := map[string]string{}
	for role, i := range r.instruments() {
		ids[role] = i.Identity().String()
	}
	return ids
}

// Messages are the last messages to and from each instrument, by role, oldest first. It may be called at any time, also
// after Close.
func (r *Rig) Messages() map[string][]drivers.Message {
	all := map[string][]drivers.Message{}
	for role, i := range r.instruments() {
		if h, ok := i.(drivers.Historian); ok {
			all[role] = h.History()
		}
	}
	return all
}
