package verdict

import "math"

// clock is the judging of a clock whose records are usable.
type clock struct {
	*Judgement
	x        Expect
	env      envelope
	record   Record // the clock at full rate; empty if only extremes were taken
	steady   steady
	rise     float64 // s, when the rail crossed its threshold
	riseSD   float64 // s
	required float64 // V, the least good amplitude, 0 for any
	detect   float64 // V, the least amplitude that is an oscillation

	approachSD float64 // s, standard uncertainty of a start that was followed by its law; 0 if none was
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
		c.measured(s)
		c.conclude(Late, "no oscillation in the %s watched; the clock ran only afterwards, when the steady record was taken", watched)
		return
	}
	if s := c.steady; s.sings && s.step == c.record.StepSeconds && s.amplitude >= detectFraction*c.required && s.amplitude < c.required {
		c.measured(s) // too small to stand out bin by bin, not for a sine fitted to all samples
		c.conclude(Weak, "the clock oscillates at %s, required %s", si(s.amplitude, "V"), si(c.required, "V"))
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
	last := spans[len(spans)-1]
	full := c.env.full(spans[0], level)
	if c.env.samples > 0 { // extremes have the noise taken off in full, so that their largest is the better one
		level = median(c.env.amplitude[full.from:full.to])
	}
	top, at := c.env.reaches(spans[0], steadyFraction*level)
	if steady, slow, sd, ok := c.env.approach(span{spans[0].from, full.to}, level); ok {
		level, at, c.approachSD = steady, slow, sd
	}
	c.AmplitudeVolts, c.SD.AmplitudeVolts = level, c.env.deviation(level)
	c.dropped(last, level/2)
	if top >= 0 {
		c.grown(top, level)
	}
	if s := c.ran(last, level); s.sings {
		c.FrequencyHertz, c.SD.FrequencyHertz = s.sine.FrequencyHertz, s.hertzSD
		c.contains(s.content)
	}
	if level < c.required {
		c.conclude(Weak, "the clock reached only %s of the required %s and stopped after %s",
			si(level, "V"), si(c.required, "V"), si(c.DropoutSeconds, "s"))
		return
	}
	c.started(at, top, level)
	c.conclude(DroppedOut, "the clock ran at %s and stopped after %s", si(level, "V"), si(c.DropoutSeconds, "s"))
}

// running judges a clock that oscillated at the end of the window, last being
// the amplitude there and before the one just before.
func (c *clock) running(before, last float64) {
	level, known := last, true // known: level is the steady amplitude
	// Four standard deviations of the difference of two means over a fortieth of the record.
	n := len(c.env.amplitude)
	noise := 4 * math.Sqrt2 * c.env.deviation(last) / math.Sqrt(max(1, float64(n)/40/float64(c.env.shared)))
	switch change := max(0.05*last, c.env.t.codeVolts(), noise); {
	case before-last > change: // it is falling
		level = before
	// It is growing, to where it has not been before: what comes and goes is a beat.
	case last-before > change && last-c.env.sustained(c.env.first, n-n/20) > change:
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
	c.AmplitudeVolts, c.SD.AmplitudeVolts = level, c.env.deviation(level)
	sings := c.steady.sings && c.steady.amplitude >= 0.3*last
	if known && sings && c.steady.pure && c.steady.step == c.record.StepSeconds {
		level = c.steady.amplitude // of the same record, and with less noise than a few bins
	}
	top, at := c.env.reaches(run, steadyFraction*level)
	if !known {
		at = math.NaN()
	}
	if steady, slow, sd, ok := c.env.approach(run, level); ok && known && run.to == len(c.env.amplitude) {
		level, at, c.approachSD = steady, slow, sd
		c.AmplitudeVolts = steady
	}
	if from, _ := c.env.reaches(run, growthTop*level); from >= 0 {
		c.grown(max(from, top), level)
	}
	if sings {
		c.followSettled(run, top)
		c.measured(c.steady)
	}
	s := c.steady
	switch earlier := c.earlier(spans, last); {
	case earlier != nil:
		full := c.env.sustained(earlier.from, earlier.to)
		c.approachSD = 0
		top, at = c.env.reaches(*earlier, steadyFraction*full)
		c.started(at, top, full)
		c.dropped(*earlier, last/2)
		c.conclude(DroppedOut, "the clock stopped after %s, then started again", si(c.DropoutSeconds, "s"))
	case s.usable && !sings:
		c.lost(last, at, top)
	case sings && !c.onFrequency():
		c.conclude(OffFrequency, "the clock runs at %s, expected %s within %s",
			hertzText(s.sine.FrequencyHertz), hertzText(c.x.ClockHertz), percent(c.x.FrequencyWithin))
	default:
		c.timed(at, last, top)
	}
}

// timed judges a clock that runs at the right frequency, as far as that is known.
func (c *clock) timed(at, last float64, top int) {
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
		c.started(at, top, last)
		c.conclude(Late, "the clock reached 90 %% of %s only after %s, allowed %s", amplitude, si(c.StartSeconds, "s"), allowed)
	default:
		c.started(at, top, last)
		c.conclude(Started, "the clock reached 90 %% of %s after %s, allowed %s", amplitude, si(c.StartSeconds, "s"), allowed)
		if !c.steady.usable {
			c.Reason += "; its frequency was not checked: " + c.steady.flaw
		} else if c.steady.alias {
			c.Reason += "; its frequency was read from an alias"
		}
	}
}

// lost judges a clock whose envelope shows an oscillation of the given
// amplitude at the end of the window, and whose steady record shows none.
func (c *clock) lost(amplitude, at float64, top int) {
	switch {
	case amplitude < c.required:
		c.AmplitudeVolts, c.GrowthSeconds = math.NaN(), math.NaN()
		c.SD.AmplitudeVolts, c.SD.GrowthSeconds = math.NaN(), math.NaN()
		c.conclude(Silent, "no oscillation: %s on the clock when the watch ended, required %s, and no sine wave in the steady record",
			si(amplitude, "V"), si(c.required, "V"))
		return
	case c.steady.amplitude > 0.3*amplitude:
		c.conclude(OffFrequency, "the clock moves by %s but not at any one frequency, expected %s",
			si(c.steady.amplitude, "V"), c.expected())
		return
	}
	c.started(at, top, amplitude)
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

// expected words the frequency that the clock should have.
func (c *clock) expected() string {
	if !(c.x.ClockHertz > 0) || !finite(c.x.ClockHertz) {
		return "one"
	}
	return hertzText(c.x.ClockHertz)
}

// onFrequency reports whether the steady record's frequency is the expected
// one, or nothing is expected of it.
func (c *clock) onFrequency() bool {
	if !(c.x.ClockHertz > 0) || !(c.x.FrequencyWithin > 0) {
		return true
	}
	return math.Abs(c.steady.sine.FrequencyHertz/c.x.ClockHertz-1) <= c.x.FrequencyWithin
}
