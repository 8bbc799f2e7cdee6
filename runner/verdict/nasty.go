package verdict

import "math"

// beforeRecord takes back a verdict that rests on a start the record did not see.
func (c *clock) beforeRecord() {
	late := c.env.t.StartSeconds - c.rise
	if !(late > 0) || math.IsNaN(c.StartSeconds) || c.StartSeconds > late+2*c.env.t.StepSeconds {
		return
	}
	c.withdraw("the clock already ran when its record began, %s after the rail's rise", si(late, "s"))
}

// mostMissing is how much of a record, from the rail's rise on, may be missing.
const mostMissing = 0.05

// acrossGaps takes back a verdict that rests on what lies in a gap.
func (c *clock) acrossGaps() {
	if c.env.missing == nil {
		return
	}
	missing, total := 0, len(c.env.missing)-c.env.first
	for _, m := range c.env.missing[c.env.first:] {
		if m {
			missing++
		}
	}
	at := func(seconds float64) bool {
		i := c.env.t.before(seconds + c.rise)
		reach := 3 + c.env.shared/2 // how far a gap colours the envelope: median, interpolation, running mean
		for k := max(0, i-reach); k <= min(len(c.env.missing)-1, i+reach); k++ {
			if c.env.missing[k] {
				return !math.IsNaN(seconds)
			}
		}
		return false
	}
	switch share := float64(missing) / float64(max(1, total)); {
	case missing == 0:
	case share > mostMissing:
		c.withdraw("the clock record has gaps: %s of it is missing", percent(share))
	case at(c.StartSeconds):
		c.withdraw("the clock started in a gap of its record")
	case at(c.DropoutSeconds):
		c.withdraw("the clock stopped in a gap of its record")
	default:
		c.warn("the clock record has gaps, %s of it is missing, none of them where the verdict turns", percent(share))
	}
}

// withdraw makes the cycle unread, with none of the clock's measures.
func (c *clock) withdraw(format string, args ...any) {
	blank := unread(Evidence{})
	c.StartSeconds, c.Censored, c.DropoutSeconds, c.GrowthSeconds = blank.StartSeconds, true, blank.DropoutSeconds, blank.GrowthSeconds
	c.FrequencyHertz, c.AmplitudeVolts = blank.FrequencyHertz, blank.AmplitudeVolts
	c.HarmonicRatio, c.OvertoneRatio = blank.HarmonicRatio, blank.OvertoneRatio
	kept := c.SD
	c.SD = blank.SD
	c.SD.RailRiseSeconds, c.SD.RailVolts, c.SD.RailSagVolts = kept.RailRiseSeconds, kept.RailVolts, kept.RailSagVolts
	c.SD.NoiseVolts, c.SD.LampHertz = kept.NoiseVolts, kept.LampHertz
	c.conclude(Unread, format, args...)
}

// clockWarnings tells what a person should know of the clock's records.
func (c *clock) clockWarnings() {
	if c.record.Len() > 0 && 1/c.record.StepSeconds < samplesPerPeriod*c.x.ClockHertz && c.steady.step == 0 {
		c.warn("the clock was sampled at %s, too slowly for its frequency", si(1/c.record.StepSeconds, "samples/s"))
	}
	if c.steady.alias {
		c.warn("sampled at %s the clock shows only as an alias; its frequency is the one nearest to the expected %s that fits",
			si(1/c.steady.step, "samples/s"), hertzText(c.x.ClockHertz))
	}
	if c.Verdict != Unread && c.env.touching(c.env.first)*20 > len(c.env.t.Min)-c.env.first {
		c.warn("the clock's peaks are clipped at the edge of the screen: choose a wider range")
	}
	if hertz, volts := c.env.hum(); volts > max(0.1*c.AmplitudeVolts, 3*c.env.t.codeVolts(), 0.05*c.required) {
		c.warn("the clock channel moves by %s at about %.0f Hz: mains hum, look to the probe's ground", si(volts, "V"), hertz)
	}
}

// hum returns the mains frequency that moves the channel most, and its peak
// amplitude, of the later half of the record; 0 if that is shorter than a period.
func (e *envelope) hum() (hertz, volts float64) {
	level := e.means[len(e.means)/2:]
	n := float64(len(level))
	if n*e.t.StepSeconds < 1.0/50 {
		return 0, 0
	}
	mean := 0.0
	for _, v := range level {
		mean += v / n
	}
	for _, f := range []float64{50, 60} {
		whole := int(math.Floor(n*e.t.StepSeconds*f) / (f * e.t.StepSeconds)) // whole periods
		if whole < 8 {
			continue
		}
		var re, im float64
		for i, v := range level[:min(whole, len(level))] {
			sin, cos := math.Sincos(2 * math.Pi * f * e.t.StepSeconds * float64(i))
			re += (v - mean) * cos
			im += (v - mean) * sin
		}
		if a := 2 * math.Hypot(re, im) / float64(whole); a > volts {
			hertz, volts = f, a
		}
	}
	return hertz, volts
}
