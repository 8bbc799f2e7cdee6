package benchcheck

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/verdict"
)

// Steps of the supply's voltage at which it is proved, as shares of max_volts.
var steps = []float64{0.4, 0.7, 1}

const (
	railPoints = 2000
	preTrigger = 0.1 // of the window, to learn the level before the rail rises
	// The first window, and the bounds of those after it, which are made for the rise as last seen.
	firstWindow, leastWindow, mostWindow = 50e-3, 1e-3, 1.0
	risesInWindow                        = 40
	settle                               = 200 * time.Millisecond // until the supply's own meter has caught up
	dischargeWait                        = 10 * time.Second
	dischargePoll                        = 100 * time.Millisecond
	// How far the supply's read-back may be from its set-point: a relative part and volts.
	readBackRelative, readBackVolts = 0.01, 0.02
	// How far the rail probe may be from the read-back.
	probeRelative, probeVolts = 0.03, 0.03
	byHandRelative            = 0.05 // or from what somebody set by hand
	slowRise                  = 0.2  // of the time a start may take
	// More current than this above the meter's own zero is a unit on the leads: amperes, and a share of max_amps.
	noUnitAmps, noUnitShare = 1e-3, 0.01
)

// UnitConnectedError says that something draws current where there should be nothing. The supply is off.
type UnitConnectedError struct{ Amps, Volts float64 }

func (e *UnitConnectedError) Error() string {
	return fmt.Sprintf("something on the leads draws %s at %s: the supply was switched off; disconnect the unit and begin again", amps(e.Amps), volts(e.Volts))
}

// Energise proves supply and rail probe at three voltages, none above max_volts, with no unit connected; Still must
// have found nothing wrong. Before each On it has switched off and seen the rail down, and however it ends, the supply
// is switched off and read back. Its error is the end of ctx, a *UnitConnectedError or a *runner.NotOffError;
// everything else is a finding.
func (c *Checker) Energise(ctx context.Context) (err error) {
	if !c.bench.HasScope() {
		return errors.New("a bench without a scope has nothing that sees the rail rise: there is nothing to prove by energising it")
	}
	if c.supply == nil || c.scope == nil {
		return errors.New("supply and scope must be found before anything is energised")
	}
	defer func() {
		var before *runner.NotOffError
		switch offErr := c.finalOff(ctx); {
		case errors.As(err, &before) && offErr == nil:
			err = c.lateOff(ctx, err, before)
		case errors.As(err, &before):
			err = offErr // says the same
		case offErr != nil:
			err = errors.Join(err, offErr)
		case err == nil:
			c.pass("supply off", "%s", map[bool]string{true: "read back as off", false: "the rail probe shows it"}[drivers.ReadsBack(c.supply)])
		}
	}()
	window := firstWindow
	for _, v := range c.voltages() {
		rise, err := c.rise(ctx, v, window)
		var connected *UnitConnectedError
		switch {
		case errors.As(err, &connected):
			c.wrongAt("", "no unit", "", "%v", err)
			return err
		case ended(ctx, err):
			return err
		case err != nil:
			c.wrongAt("", of(v), "", "%v", err)
			return nil
		}
		if rise > 0 {
			window = min(max(risesInWindow*rise, leastWindow), mostWindow)
		} else {
			window = min(10*window, mostWindow)
		}
	}
	return nil
}

// voltages are what the supply is proved at; one that is set by hand has only one.
func (c *Checker) voltages() []float64 {
	if c.bench.Switch != nil {
		return []float64{c.bench.SetByHandVolts}
	}
	var all []float64
	for _, share := range steps {
		// Down to whole hundredths of a volt, so as to stay below max_volts.
		all = append(all, math.Floor(share*c.bench.Unit.MaxVolts*100+1e-9)/100)
	}
	return all
}

// lateOff reports a supply that obeyed at last, and returns what is left of err.
func (c *Checker) lateOff(ctx context.Context, err error, before *runner.NotOffError) error {
	text := before.Err.Error()
	var tried *drivers.NotConfirmedOff
	if errors.As(err, &tried) {
		text = fmt.Sprintf("before, off was sent %d times: %v", tried.Attempts, tried.Err)
	}
	c.wrongAt("", "supply off", "do not leave this supply alone with a unit", "it is off now, but did not obey at first; %s", text)
	var connected *UnitConnectedError
	if errors.As(err, &connected) {
		return connected
	}
	return ctx.Err()
}

// finalOff switches off and, where nothing reads that back, has the rail probe confirm it.
func (c *Checker) finalOff(ctx context.Context) error {
	if err := c.off(ctx); err != nil || drivers.ReadsBack(c.supply) {
		return err
	}
	if err := c.awaitDischarge(context.WithoutCancel(ctx), probe{"rail", c.bench.Rail}); err != nil {
		return &runner.NotOffError{Err: err}
	}
	return nil
}

func of(v float64) string { return fmt.Sprintf("supply at %.2f V", v) }

// rise switches on once at v and looks at the rail as a cycle does: off, set, arm, on, watch, off. It returns the rise
// time of the rail in seconds, NaN if the window does not hold it. The supply is off when it returns without error.
func (c *Checker) rise(ctx context.Context, v, window float64) (float64, error) {
	rail := probe{"rail", c.bench.Rail}
	if err := c.off(ctx); err != nil {
		return 0, err
	}
	if err := c.awaitDischarge(ctx, rail); err != nil {
		return 0, err
	}
	if err := c.supply.SetVolts(ctx, v); err != nil {
		return 0, err
	}
	level := c.bench.Expect.RailFraction * v
	setup := drivers.RecordSetup{
		Channels:     []drivers.ChannelSetup{rail.window(-0.25*v, 1.25*v)},
		StartSeconds: -preTrigger * window, WindowSeconds: (1 + preTrigger) * window, Points: railPoints,
		Trigger: &drivers.TriggerSetup{Channel: rail.Channel, LevelVolts: level},
	}
	if err := c.scope.Arm(ctx, setup); err != nil {
		return 0, err
	}
	if err := c.supply.On(ctx); err != nil {
		return 0, err
	}
	if err := c.options.Clock.Sleep(ctx, seconds(window)+settle); err != nil {
		return 0, err
	}
	reading, err := c.supply.Read(ctx)
	if err != nil {
		return 0, err
	}
	if extra := reading.Amps - c.idleAmps; extra > noUnitAmps+noUnitShare*c.bench.Unit.MaxAmps {
		return 0, errors.Join(&UnitConnectedError{Amps: reading.Amps, Volts: v}, c.off(ctx))
	}
	triggered, err := c.acquired(ctx)
	if err != nil {
		return 0, err
	}
	if err := c.off(ctx); err != nil {
		return 0, err
	}
	if !triggered {
		c.wrongAt("probes.rail.channel", of(v), "clip the rail probe to the supply's leads, and see that it is on this channel and has this attenuation",
			"the supply reads %s, and the scope did not trigger on the rail (channel %d, attenuation %g) at %s", volts(reading.Volts), rail.Channel, rail.Attenuation, volts(level))
		return math.NaN(), c.scope.Stop(ctx)
	}
	record, err := c.fetch(ctx, rail.Channel)
	if err != nil {
		return 0, err
	}
	j := verdict.Judge(verdict.Evidence{Rail: record, SupplyVolts: reading.Volts, SupplyAmps: reading.Amps},
		verdict.Expect{SetVolts: v, RailFraction: c.bench.Expect.RailFraction})
	c.reportRise(v, reading.Volts, level, j, j.RailVolts >= record.HighVolts-(record.HighVolts-record.LowVolts)/float64(max(record.Codes, 1)))
	return j.RailRiseSeconds, nil
}

// reportRise compares what was set, what the supply reads and what the probe shows; offScreen says that the probe shows
// at least as much.
func (c *Checker) reportRise(v, read, level float64, j verdict.Judgement, offScreen bool) {
	// What the probe should show: the supply's own reading or, of one that is set by hand, what the bench file says.
	should, within, as := read, probeRelative, "read back "+volts(read)
	if math.IsNaN(read) {
		should, within, as = v, byHandRelative, "set by hand"
	}
	text := fmt.Sprintf("%s, rail probe %.2f V", as, j.RailVolts)
	switch ratio := j.RailVolts / should; {
	case math.Abs(read-v) > readBackRelative*v+readBackVolts:
		c.wrongAt("", of(v), "see whether the supply limits its current, and its calibration", "it reads %s", volts(read))
	case math.IsNaN(j.RailVolts):
		c.wrongAt("", of(v), "", "%s; %s", as, j.Reason)
	case math.IsNaN(read) && !(math.Abs(j.RailVolts-should) <= within*v+probeVolts):
		least := map[bool]string{true: "at least ", false: ""}[offScreen]
		c.wrongAt("supply.set_by_hand", of(v), "see what the supply is set to before a unit is connected, and what attenuation the probe has",
			"%s, but the rail probe shows %s%.2f V", as, least, j.RailVolts)
	case offScreen:
		c.wrongAt("probes.rail.attenuation", of(v), fmt.Sprintf("if the probe is on the leads, its attenuation is less than %g", c.bench.Rail.Attenuation),
			"%s, rail probe at least %.2f V", as, j.RailVolts)
	case math.Abs(ratio-1) > 0.25:
		c.wrongAt("probes.rail.attenuation", of(v), fmt.Sprintf("if the probe is on the leads, its attenuation is about %.2g and not %g",
			c.bench.Rail.Attenuation/ratio, c.bench.Rail.Attenuation), "%s", text)
	case math.Abs(j.RailVolts-should) > within*v+probeVolts:
		c.wrongAt("", of(v), "check the rail probe's clip and ground, the scope's calibration, and what the supply is set to", "%s", text)
	case math.IsNaN(j.RailRiseSeconds):
		c.note(of(v), "", "%s; the rise is slower than the record", text)
	case j.RailRiseSeconds > slowRise*c.bench.Expect.StartWithinSeconds:
		c.note(of(v), fmt.Sprintf("starts are timed from %.0f %% of the rail: a quicker supply tells more", 100*c.bench.Expect.RailFraction),
			"%s, rise %s (10 to 90 %%), slow against the %s that a start may take", text, span(j.RailRiseSeconds), span(c.bench.Expect.StartWithinSeconds))
	default:
		c.pass(of(v), "%s, rise %s (10 to 90 %%), triggered at %.2f V", text, span(j.RailRiseSeconds), level)
	}
}

func span(seconds float64) string {
	if seconds < 1e-3 {
		return fmt.Sprintf("%.3g µs", 1e6*seconds)
	}
	return fmt.Sprintf("%.3g ms", 1e3*seconds)
}

// awaitDischarge waits until the rail is down: from above its level the scope sees no edge.
func (c *Checker) awaitDischarge(ctx context.Context, rail probe) error {
	limit := residual(c.bench.Expect.ResidualMaxVolts)
	for waited := time.Duration(0); ; waited += dischargePoll {
		t, err := c.capture(ctx, rail.window(-2*limit, 6*limit), 1e-3, 64)
		if err != nil {
			return err
		}
		level := mean(t)
		if level < limit {
			return nil
		}
		if waited >= dischargeWait {
			return fmt.Errorf("the rail still shows %s %s after the supply was switched off; something else feeds it, or the relay did not open",
				volts(level), dischargeWait)
		}
		if err := c.options.Clock.Sleep(ctx, dischargePoll); err != nil {
			return err
		}
	}
}

// compensated says whether a probe has a trimmer to be set: a 10:1 probe that is no pick-up coil.
func (p probe) compensated() bool {
	return p.name != "lamp" && p.Attenuation > 1 && p.Loads != bench.NearField
}
