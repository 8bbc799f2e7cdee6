package verdict

import "math"

// clock is the judging of a clock whose records are usable.
type clock struct {
	*Judgement
	x        Expect
	env      envelope
	steady   steady
	rise     float64 // s, when the rail crossed its threshold
	required float64 // V, the least good amplitude, 0 for any
	detect   float64 // V, the least amplitude that is an oscillation
}

func (c *clock) judge() {
	end := len(c.env.amplitude)
	best := c.env.sustained(c.env.first, end)
	before, last := c.env.tail()
	switch {
	case best < c.detect:
		c.nothing()
	// An amplitude that fell, but not below what is required, is a clock that runs.
	case last >= c.detect && (last >= c.required && c.required > 0 || last >= best/2):
		c.running(before, last)
	default:
		c.stopped(best)
	}
}

// nothing judges an envelope without oscillation.
func (c *clock) nothing() {
	watched := si(c.env.t.end()-c.rise, "s")
	if s := c.steady; s.sings && s.amplitude >= max(c.required, c.detect) && c.onFrequency() {
		c.FrequencyHertz, c.AmplitudeVolts = s.sine.FrequencyHertz, s.amplitude
		c.conclude(Late, "no oscillation in the %s watched; the clock ran only afterwards, when the steady record was taken", watched)
		return
	}
	c.conclude(Silent, "no oscillation above %s in the %s watched", si(c.detect, "V"), watched)
}

// stopped judges a clock that was silent again at the end, level being the
// amplitude it had.
func (c *clock) stopped(level float64) {
	spans := c.env.above(level / 2)
	if len(spans) == 0 { // cannot be, since level was sustained; but never panic
		c.nothing()
		return
	}
	c.AmplitudeVolts = level
	c.DropoutSeconds = c.env.ends(spans[len(spans)-1], level/2) - c.rise
	top, at := c.env.reaches(spans[0], steadyFraction*level)
	if top >= 0 {
		c.GrowthSeconds = c.env.growth(top, level)
	}
	if level < c.required {
		c.conclude(Weak, "the clock reached only %s of the required %s and stopped after %s",
			si(level, "V"), si(c.required, "V"), si(c.DropoutSeconds, "s"))
		return
	}
	c.started(at)
	c.conclude(DroppedOut, "the clock ran at %s and stopped after %s", si(level, "V"), si(c.DropoutSeconds, "s"))
}

// running judges a clock that oscillated at the end of the window, last being
// the amplitude there and before the one just before.
func (c *clock) running(before, last float64) {
	level, known := last, true // known: level is the steady amplitude
	switch change := max(0.05*last, c.env.t.codeVolts()); {
	case before-last > change: // it is falling
		level = before
	case last-before > change: // it is growing
		// The steady record comes a little later, by when it may have settled.
		if s := c.steady; s.sings && s.amplitude > max(last, c.required) {
			level = s.amplitude
		} else {
			known = false
		}
	}
	spans := c.env.above(last / 2)
	if len(spans) == 0 {
		c.nothing()
		return
	}
	run := spans[len(spans)-1]
	c.AmplitudeVolts = level
	top, at := c.env.reaches(run, steadyFraction*level)
	if !known {
		at = math.NaN()
	}
	if from, _ := c.env.reaches(run, growthTop*level); from >= 0 {
		c.GrowthSeconds = c.env.growth(max(from, top), level)
	}
	s := c.steady
	sings := s.sings && s.amplitude >= 0.3*last
	if sings {
		c.FrequencyHertz, c.AmplitudeVolts = s.sine.FrequencyHertz, s.amplitude
	}
	switch earlier := c.earlier(spans, last); {
	case earlier != nil:
		_, at = c.env.reaches(*earlier, steadyFraction*c.env.sustained(earlier.from, earlier.to))
		c.started(at)
		c.DropoutSeconds = c.env.ends(*earlier, last/2) - c.rise
		c.conclude(DroppedOut, "the clock stopped after %s, then started again", si(c.DropoutSeconds, "s"))
	case s.usable && !sings:
		c.lost(last, at)
	case sings && !c.onFrequency():
		c.conclude(OffFrequency, "the clock runs at %s, expected %s within %s",
			hertz(s.sine.FrequencyHertz), hertz(c.x.ClockHertz), percent(c.x.FrequencyWithin))
	default:
		c.timed(at, last)
	}
}

// timed judges a clock that runs at the right frequency, as far as that is known.
func (c *clock) timed(at, last float64) {
	allowed := si(c.x.StartWithinSeconds, "s")
	amplitude := si(c.AmplitudeVolts, "V")
	switch {
	case math.IsNaN(at):
		c.conclude(Late, "the clock had grown to %s and was still growing when the watch ended after %s, allowed %s",
			si(last, "V"), si(c.env.t.end()-c.rise, "s"), allowed)
	case c.AmplitudeVolts < c.required && c.steady.amplitude == 0 && c.env.clipped():
		c.conclude(Unread, "the clock's peaks are off the screen (%s to %s), so its amplitude is not known",
			si(c.env.t.LowVolts, "V"), si(c.env.t.HighVolts, "V"))
	case c.AmplitudeVolts < c.required:
		c.conclude(Weak, "the clock oscillates at %s, required %s", amplitude, si(c.required, "V"))
	case at-c.rise > c.x.StartWithinSeconds:
		c.started(at)
		c.conclude(Late, "the clock reached 90 %% of %s only after %s, allowed %s", amplitude, si(c.StartSeconds, "s"), allowed)
	default:
		c.started(at)
		c.conclude(Started, "the clock reached 90 %% of %s after %s, allowed %s", amplitude, si(c.StartSeconds, "s"), allowed)
		if !c.steady.usable {
			c.Reason += "; its frequency was not checked: " + c.steady.flaw
		}
	}
}

// lost judges a clock whose envelope shows an oscillation of the given
// amplitude at the end of the window, and whose steady record shows none.
func (c *clock) lost(amplitude, at float64) {
	switch {
	case amplitude < c.required:
		c.AmplitudeVolts, c.GrowthSeconds = math.NaN(), math.NaN()
		c.conclude(Silent, "no oscillation: %s on the clock when the watch ended, required %s, and no sine wave in the steady record",
			si(amplitude, "V"), si(c.required, "V"))
		return
	case c.steady.amplitude > 0.3*amplitude:
		c.conclude(OffFrequency, "the clock moves by %s but not at any one frequency, expected %s",
			si(c.steady.amplitude, "V"), hertz(c.x.ClockHertz))
		return
	}
	c.started(at)
	c.conclude(DroppedOut, "the clock ran at %s to the end of the watch, then stopped before the steady record was taken", si(amplitude, "V"))
}

// earlier returns the first stretch in which the clock already ran as it
// should, before the last one; nil if there is none.
func (c *clock) earlier(spans []span, last float64) *span {
	for i := range spans[:len(spans)-1] {
		if s := &spans[i]; c.env.sustained(s.from, s.to) >= max(c.required, last/2) {
			return s
		}
	}
	return nil
}

// started notes a start that was complete at the given time of the record.
func (c *clock) started(at float64) {
	c.StartSeconds = at - c.rise
	c.Censored = math.IsNaN(c.StartSeconds)
}

// onFrequency reports whether the steady record's frequency is the expected
// one, or nothing is expected of it.
func (c *clock) onFrequency() bool {
	if !(c.x.ClockHertz > 0) || !(c.x.FrequencyWithin > 0) {
		return true
	}
	return math.Abs(c.steady.sine.FrequencyHertz/c.x.ClockHertz-1) <= c.x.FrequencyWithin
}
