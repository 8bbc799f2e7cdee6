package verdict

import "math"

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
