package benchcheck

import (
	"context"
	"errors"
	"fmt"
	"math"

	"ringup/runner/verdict"
)

const (
	compensationWindow = 5e-3 // five periods of the usual signal
	compensationPoints = 5000
	// The first look's screen, volts: compensation terminals give some volts above ground.
	firstLow, firstHigh = -2.0, 8.0
	margin              = 0.35 // of the swing, beyond either level, at the second look
	// How far a probe's gain for fast signals may be off.
	edgeTolerance = 0.03
	// Compensation terminals give about 1 kHz and 0.5 to 5 V by common practice; the scope's manual has its own.
	usualHertz, usualHertzWithin = 1e3, 0.2
	leastSwing, mostSwing        = 0.3, 7.0
)

// Reply is a person's answer to a question.
type Reply string

// The replies.
const (
	Done Reply = "done"
	Skip Reply = "skip"
)

// Compensation measures the scope's compensation signal through each probe that has a trimmer. ask has a person clip
// the probe there, with the supply off; nil measures whatever probe is clipped there already. Its error is the end of
// ctx or ask's; everything else is a finding.
func (c *Checker) Compensation(ctx context.Context, ask func(context.Context, string) (Reply, error)) error {
	any := false
	for _, p := range c.probes() {
		if !p.compensated() {
			continue
		}
		any = true
		of := p.name + " probe trim"
		if ask != nil {
			reply, err := ask(ctx, fmt.Sprintf("Clip the %s probe (channel %d) and its ground to the scope's compensation terminal", p.name, p.Channel))
			if err != nil {
				return err
			}
			if reply == Skip {
				c.note(of, "", "not measured: skipped")
				continue
			}
		}
		s, err := c.square(ctx, p)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil && ask == nil:
			c.note(of, "to measure it, clip the probe to the scope's compensation terminal", "not measured: channel %d shows %v", p.Channel, err)
		case err != nil:
			c.wrongAt("probes."+p.name+".channel", of, "see that this probe is on the terminal, and on this channel", "channel %d: %v", p.Channel, err)
		default:
			c.reportSquare(p, of, s)
		}
	}
	if !any {
		c.note("probe trim", "", "no probe of this bench has a trimmer")
	}
	return nil
}

// square takes the record, first on a screen that any terminal fits on, or with the wrong attenuation on one ten times
// as high, then on one made for what was seen.
func (c *Checker) square(ctx context.Context, p probe) (Square, error) {
	var t verdict.Trace
	for _, scale := range []float64{1, 10} {
		var err error
		if t, err = c.capture(ctx, p.window(scale*firstLow, scale*firstHigh), compensationWindow, compensationPoints); err != nil {
			return Square{}, err
		}
		if _, err = MeasureSquare(t); err == nil {
			break
		}
		if !errors.Is(err, errOffScreen) || scale > 1 {
			return Square{}, err
		}
	}
	t, err := c.capture(ctx, p.window(around(t)), compensationWindow, compensationPoints)
	if err != nil {
		return Square{}, err
	}
	return MeasureSquare(t)
}

// around is a screen for what a record shows.
func around(t verdict.Trace) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i := range t.Min {
		low, high = min(low, t.Min[i]), max(high, t.Max[i])
	}
	return low - margin*(high-low), high + margin*(high-low)
}

func (c *Checker) reportSquare(p probe, of string, s Square) {
	swing := s.HighVolts - s.LowVolts
	seen := fmt.Sprintf("%.4g Hz, %.2f V square wave", s.Hertz, swing)
	off := 100 * math.Abs(s.EdgeGain-1)
	switch {
	case swing < leastSwing || swing > mostSwing:
		c.wrongAt("probes."+p.name+".attenuation", of, "see what the probe's body and its switch say",
			"%s; compensation terminals give some volts, so attenuation %g is doubtful", seen, p.Attenuation)
	case s.EdgeGain > 1+edgeTolerance:
		c.wrongAt("", of, "turn its trimmer until tops and bottoms are flat", "%s; over-compensated: fast signals read %.0f %% too large", seen, off)
	case s.EdgeGain < 1-edgeTolerance:
		c.wrongAt("", of, "turn its trimmer until tops and bottoms are flat", "%s; under-compensated: fast signals read %.0f %% too small", seen, off)
	case math.Abs(s.Hertz/usualHertz-1) > usualHertzWithin:
		c.note(of, "see the scope's manual for its terminal's frequency", "%s, flat within %.1f %%; most terminals give 1 kHz", seen, off)
	default:
		c.pass(of, "%s, flat within %.1f %%", seen, max(off, 0.1))
	}
}
