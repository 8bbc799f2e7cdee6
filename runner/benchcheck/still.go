package benchcheck

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"ringup/drivers"
	"ringup/runner"
)

// Still checks the bench with nothing energised. The supply is off and read back when it returns. Its error is the end
// of ctx or a *runner.NotOffError; everything else is a finding.
func (c *Checker) Still(ctx context.Context) error {
	if err := c.identify(ctx); err != nil {
		return err
	}
	for _, s := range c.seats {
		if !s.found {
			continue
		}
		check := map[string]func(context.Context, *seat) error{
			"supply": c.checkSupply, "switch": c.checkSwitch, "scope": c.checkScope, "thermometer": c.checkThermometer,
		}[s.role]
		if err := check(ctx, s); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// checkSupply switches off first, and then tries the limits with the output off.
func (c *Checker) checkSupply(ctx context.Context, s *seat) error {
	b := c.bench
	if ok, err := c.openPower(ctx, s); !ok {
		return err
	}
	c.pass("supply off", "read back as off")
	if err := c.supply.Limit(ctx, b.Unit.MaxVolts, b.Unit.MaxAmps); err != nil {
		c.wrongAt("unit.max_amps", "supply limits", "if the supply cannot go that far, use another; the unit's limits are what they are", "%v", err)
	} else if unknown := drivers.Unprotected(c.supply); len(unknown) > 0 {
		c.note("supply limits", "", "current limit %s set and read back; the supply has not all the protection of its dialect: it does not know %s",
			amps(b.Unit.MaxAmps), strings.Join(unknown, ", "))
	} else {
		c.pass("supply limits", "current limit %s set and read back%s", amps(b.Unit.MaxAmps), protection(s))
	}
	if err := c.supply.SetVolts(ctx, b.Unit.MaxVolts); err != nil {
		c.wrongAt("unit.max_volts", "supply range", "max_volts must lie within the supply's range", "%v", err)
	} else {
		c.pass("supply range", "%s, the unit's most, can be set (output off)", volts(b.Unit.MaxVolts))
	}
	reading, err := c.dischargedReading(ctx)
	switch {
	case err != nil:
		c.wrongAt("", "supply read-back", "", "%v", err)
	case math.IsNaN(reading.Volts) || math.IsNaN(reading.Amps):
		c.wrongAt("", "supply read-back", "see whether another dialect fits the supply", "it measures %g V, %g A", reading.Volts, reading.Amps)
	case math.Abs(reading.Volts) > residual(b.Expect.ResidualMaxVolts):
		c.wrongAt("", "supply read-back", "take out what feeds the leads: a fitted cell, a programmer; or wait until the unit has discharged",
			"off for %s, yet %s at its terminals", dischargeWait, volts(reading.Volts))
	default:
		c.idleAmps = reading.Amps
		c.pass("supply read-back", "off: %s, %s", volts(reading.Volts), amps(reading.Amps))
	}
	c.roundTrip(ctx, "supply", func() error { _, err := c.supply.Output(ctx); return err })
	return ctx.Err()
}

// openPower opens what switches the unit's supply, and switches it off.
func (c *Checker) openPower(ctx context.Context, s *seat) (ok bool, err error) {
	plain, err := s.power(ctx, c.bench, c.options.Dialects)
	if err != nil {
		c.wrongAt(s.key+".address", s.role, "", "%v", err)
		return false, ctx.Err()
	}
	c.supply = drivers.Guard(plain, c.bench.Unit.MaxVolts, c.bench.Unit.MaxAmps)
	if err := c.off(ctx); err != nil {
		return false, err
	}
	return ctx.Err() == nil, ctx.Err()
}

// checkSwitch is checkSupply for a relay in the lead of a supply that is set by hand.
func (c *Checker) checkSwitch(ctx context.Context, s *seat) error {
	if ok, err := c.openPower(ctx, s); !ok {
		return err
	}
	c.idleAmps = math.NaN()
	if drivers.ReadsBack(c.supply) {
		c.pass("supply off", "the relay reads back as open")
		c.roundTrip(ctx, "switch", func() error { _, err := c.supply.Output(ctx); return err })
	} else {
		c.note("supply off", "", "the relay was told to open; only the rail probe shows whether it did")
	}
	c.note("supply limits", "set the supply's own current limit by hand to "+amps(c.bench.Unit.MaxAmps)+" or less",
		"the supply is set by hand to %s; ringup cannot program its limits or see the current", volts(c.bench.SetByHandVolts))
	return ctx.Err()
}

// dischargedReading is what the supply reads once its terminals are discharged, or after dischargeWait.
func (c *Checker) dischargedReading(ctx context.Context) (drivers.SupplyReading, error) {
	for waited := time.Duration(0); ; waited += dischargePoll {
		reading, err := c.supply.Read(ctx)
		if err != nil || !(math.Abs(reading.Volts) > residual(c.bench.Expect.ResidualMaxVolts)) || waited >= dischargeWait {
			return reading, err
		}
		if err := c.options.Clock.Sleep(ctx, dischargePoll); err != nil {
			return reading, err
		}
	}
}

// residual allows for a supply's own meter, which is no better than some hundredths of a volt near zero.
func residual(limit float64) float64 { return max(limit, 0.05) }

// protection says what the supply was set to besides its current limit.
func protection(s *seat) string {
	if s.dialect.Has("set_protection") {
		return ", over-voltage and over-current protection programmed"
	}
	return "; the dialect has no protection to program"
}

func (c *Checker) checkThermometer(ctx context.Context, s *seat) error {
	var err error
	if c.ambient, err = drivers.OpenThermometer(ctx, s.options(c.options.Dialects)); err != nil {
		c.wrongAt(s.key+".address", s.role, "", "%v", err)
		return ctx.Err()
	}
	const coldest, hottest = -60, 90 // a bench may stand in a climate chamber
	celsius, err := c.ambient.Celsius(ctx)
	switch {
	case err != nil:
		c.wrongAt("", "ambient", "", "%v", err)
	case !(celsius >= coldest && celsius <= hottest):
		c.wrongAt("", "ambient", "check the sensor and its cable", "it reads %.1f °C; plausible are %d to %d °C", celsius, coldest, hottest)
	default:
		c.pass("ambient", "%.1f °C", celsius)
	}
	c.roundTrip(ctx, "thermometer", func() error { _, err := c.ambient.Celsius(ctx); return err })
	return ctx.Err()
}

const (
	roundTrips = 9
	slowTrip   = 200 * time.Millisecond // a cycle has some forty
)

// roundTrip reports the median time of some queries.
func (c *Checker) roundTrip(ctx context.Context, role string, query func() error) {
	var took []time.Duration
	for range roundTrips {
		begun := time.Now()
		if err := query(); err != nil {
			if ctx.Err() == nil {
				c.wrongAt("", role+" round trip", "", "%v", err)
			}
			return
		}
		took = append(took, time.Since(begun))
	}
	slices.Sort(took)
	median := took[len(took)/2]
	if median > slowTrip {
		c.note(role+" round trip", "a cycle has some forty of them: raise the baud rate if the instrument can", "%s, median of %d queries", trip(median), roundTrips)
		return
	}
	c.pass(role+" round trip", "%s, median of %d queries", trip(median), roundTrips)
}

func trip(d time.Duration) string { return fmt.Sprintf("%.2g ms", 1e3*d.Seconds()) }

func volts(v float64) string {
	if math.Abs(v) < 0.0005 {
		v = 0
	}
	return fmt.Sprintf("%.3f V", v)
}

func amps(a float64) string {
	hundredths := math.Round(a * 1e5) // no meter here tells less than 10 µA
	return fmt.Sprintf("%g mA", (hundredths+0)/100)
}

// ended says whether an error leaves nothing more to check: the end of ctx, or a supply that may be on.
func ended(ctx context.Context, err error) bool {
	var notOff *runner.NotOffError
	return ctx.Err() != nil || errors.As(err, &notOff)
}
