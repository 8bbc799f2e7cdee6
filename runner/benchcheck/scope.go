package benchcheck

import (
	"context"
	"errors"
	"math"

	"ringup/drivers"
	"ringup/runner"
)

// checkScope takes a short record of every channel that has a probe. The file's own check has seen to it that no two
// probes share one.
func (c *Checker) checkScope(ctx context.Context, s *seat) error {
	var err error
	if c.scope, err = drivers.OpenScope(ctx, s.options(c.options.Dialects)); err != nil {
		c.wrongAt(s.key+".address", s.role, "", "%v", err)
		return ctx.Err()
	}
	for _, p := range c.probes() {
		of, key := p.name+" probe", "probes."+p.name+".channel"
		half := max(1, c.bench.Unit.MaxVolts/4)
		if p.name == "rail" {
			if err := c.awaitDischarge(ctx, p); ended(ctx, err) {
				return err
			} // what else is wrong shows below
		}
		t, err := c.capture(ctx, p.window(-half, half), 1e-3, 64)
		var failed *drivers.InstrumentError
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.As(err, &failed) && failed.Kind() == "refused":
			c.wrongAt(key, of, "see how many channels the scope has, and on which the probe is", "channel %d: %v", p.Channel, err)
			continue
		case err != nil:
			c.wrongAt(key, of, "", "channel %d: %v", p.Channel, err)
			continue
		}
		level, limit := mean(t), residual(c.bench.Expect.ResidualMaxVolts)
		switch {
		case p.name != "rail": // what they show with the supply off means nothing
			c.pass(of, "channel %d is there, attenuation %g", p.Channel, p.Attenuation)
		case math.Abs(level) > limit:
			c.wrongAt("", of, "take out what feeds the unit (a fitted cell, a programmer), or wait until it has discharged",
				"channel %d shows %s on the rail with the supply off; allowed are %s", p.Channel, volts(level), volts(limit))
		default:
			c.pass(of, "channel %d is there, attenuation %g; %s with the supply off", p.Channel, p.Attenuation, volts(level))
		}
	}
	for _, warning := range runner.CapturePlan(c.bench, c.scope, 0).Warnings {
		c.note(s.role, "raise the scope's baud rate, or connect it by USB or LAN", "%s", warning)
	}
	c.roundTrip(ctx, "scope", func() error { _, err := c.scope.Done(ctx); return err })
	return ctx.Err()
}
