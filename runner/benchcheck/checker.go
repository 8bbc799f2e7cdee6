package benchcheck

import (
	"context"
	"errors"
	"fmt"

	"ringup/drivers"
	"ringup/drivers/dialect"
	"ringup/runner"
	"ringup/runner/bench"
)

// Options are what a check needs besides the bench file.
type Options struct {
	// Addresses replaces an address of the bench file by the one to open, for simulated instruments.
	Addresses map[string]string
	// Dialects is the user's own folder of dialect files; empty for none.
	Dialects string
	// Clock is where all waiting goes through.
	Clock runner.Clock
	// Tell is called for every finding as it is made.
	Tell func(Finding)
}

// Checker checks one bench. It is not safe for concurrent use.
type Checker struct {
	bench    *bench.Bench
	options  Options
	dialects []*dialect.Dialect
	wrong    int

	seats   []*seat
	supply  drivers.Supply // nil until Still has opened it; guarded
	scope   drivers.Scope
	ambient drivers.Thermometer
	// idleAmps is what the supply reads with the output off: its meter's own error.
	idleAmps float64
}

// New prepares a check. The error is that of a dialect file.
func New(b *bench.Bench, o Options) (*Checker, error) {
	all, err := dialect.Load(o.Dialects)
	if err != nil {
		return nil, err
	}
	return &Checker{bench: b, options: o, dialects: all, seats: seatsOf(b, o.Addresses)}, nil
}

// Wrong is how many findings ask somebody to do something.
func (c *Checker) Wrong() int { return c.wrong }

// Close lets go of the instruments. It switches nothing.
func (c *Checker) Close() error {
	var errs []error
	if c.supply != nil {
		errs = append(errs, c.supply.Close())
	}
	if c.scope != nil {
		errs = append(errs, c.scope.Close())
	}
	if c.ambient != nil {
		errs = append(errs, c.ambient.Close())
	}
	return errors.Join(errs...)
}

func (c *Checker) pass(of, format string, args ...any) {
	c.options.Tell(Finding{Of: of, Result: Pass, Found: fmt.Sprintf(format, args...)})
}

func (c *Checker) note(of, do, format string, args ...any) {
	c.options.Tell(Finding{Of: of, Result: Note, Found: fmt.Sprintf(format, args...), Do: do})
}

// wrongAt reports what somebody must put right; key is the place in the bench file, empty for none.
func (c *Checker) wrongAt(key, of, do, format string, args ...any) {
	f := Finding{Of: of, Result: Wrong, Found: fmt.Sprintf(format, args...), Do: do}
	if key != "" {
		f.Where = c.bench.Where(key)
	}
	c.wrong++
	c.options.Tell(f)
}

// off switches the supply off and reads it back. It does not stop at a cancelled ctx. The error is *runner.NotOffError.
func (c *Checker) off(ctx context.Context) error {
	if err := c.supply.Off(ctx); err != nil {
		return &runner.NotOffError{Err: err}
	}
	return nil
}
