package verdict

import "math"

// readSteady measures the clock at full rate: from a record of its own, or from
// the end of the clock's record if that is fast enough.
func (c *clock) readSteady(e Evidence) {
	switch r := e.SteadyRecord; {
	case r.Len() > 0:
		if err := r.flaw(); err != nil {
			c.steady = steady{flaw: "the steady record " + err.Error()}
			return
		}
		r = r.afterLastGap()
		c.steady = readSteady(r.window(max(0, r.Len()-2*steadySamples), r.Len()).trace(), c.x, &c.env)
		c.steady.follow(r)
	case len(e.Steady.Min) == 0 && c.record.Len() == 0 && e.Own != nil:
		c.steady = readOwn(*e.Own, c.x, &c.env)
	case len(e.Steady.Min) > 0 || len(e.Steady.Max) > 0 || c.record.Len() == 0:
		c.steady = readSteady(e.Steady, c.x, &c.env)
	default:
		c.steady = c.window(len(c.env.amplitude))
	}
}

// window measures the clock in the last samples before bin to of its own record.
func (c *clock) window(to int) steady {
	r := c.record
	per := r.Len() / len(c.env.amplitude)
	end := min(r.Len(), to*per)
	if to == len(c.env.amplitude) {
		end = r.Len()
	}
	// Not so long that it reaches back into the growth.
	size := min(end, steadySamples, max(per, r.Len()/20, 256))
	return readSteady(r.window(end-size, end).trace(), c.x, &c.env)
}

// ran measures the clock in a stretch in which it ran, settled at level.
func (c *clock) ran(s span, level float64) steady {
	if c.record.Len() == 0 {
		return steady{}
	}
	f := c.env.full(s, level)
	from, to := f.from+c.env.shared, f.to-c.env.shared/2
	if to-from < 2 {
		return steady{}
	}
	per := c.record.Len() / len(c.env.amplitude)
	if whole := c.record.head(to * per).afterLastGapFrom(from * per); whole.Len() <= 2*steadySamples {
		return readSteady(whole.trace(), c.x, &c.env)
	}
	measured := c.window(to)
	c.followSpan(&measured, span{from, to})
	return measured
}

// followSettled follows the clock's phase from where it had settled, bin top
// being where it reached 90 %, to the end of its own record.
func (c *clock) followSettled(run span, top int) {
	n := len(c.env.amplitude)
	if c.record.Len() == 0 || c.steady.step != c.record.StepSeconds || run.to < n || top < 0 {
		return
	}
	c.followSpan(&c.steady, span{min(n, top+max(c.env.shared, (n-top)/10)), n})
}

// followSpan follows the phase through a settled stretch at whose end s was measured.
func (c *clock) followSpan(s *steady, settled span) {
	n := len(c.env.amplitude)
	per := c.record.Len() / n
	to := settled.to * per
	if settled.to == n {
		to = c.record.Len()
	}
	whole := c.record
	if to < whole.Len() {
		whole = whole.head(to)
	}
	s.follow(whole.afterLastGapFrom(settled.from * per))
}

// measured takes over what the steady record shows of frequency and amplitude.
func (c *clock) measured(s steady) {
	c.FrequencyHertz, c.SD.FrequencyHertz = s.sine.FrequencyHertz, s.hertzSD
	c.AmplitudeVolts, c.SD.AmplitudeVolts = s.amplitude, s.amplitudeSD
	c.contains(s.content)
}

// contains takes over what else there is in the clock's spectrum.
func (c *clock) contains(of content) {
	c.HarmonicRatio, c.SD.HarmonicRatio = of.harmonics, of.harmonicsSD
	c.OvertoneRatio, c.SD.OvertoneRatio = of.overtone, of.overtoneSD
}

// started notes a start that was complete at the given time of the record, in
// bin top, level being the settled amplitude.
func (c *clock) started(at float64, top int, level float64) {
	c.StartSeconds = at - c.rise
	c.Censored = math.IsNaN(c.StartSeconds)
	if c.Censored {
		return
	}
	sd := c.approachSD
	if sd == 0 {
		sd = c.env.crossingDeviation(max(0, top), steadyFraction*level)
	}
	if beyond := c.offScreen(); beyond > 1 && c.GrowthSeconds > 0 {
		sd = math.Hypot(sd, offScreenDoubt*c.GrowthSeconds*math.Log(beyond))
	}
	c.SD.StartSeconds = math.Hypot(c.riseSD, sd)
}

// offScreenDoubt is how uncertain the time is that a growing clock spent off the
// screen, as a part of it. Its mean square still tells of its amplitude there,
// but a clipped wave's harmonics may fold back onto it.
const offScreenDoubt = 0.4

// offScreen is how many times further than to the nearer edge of the screen the
// steady clock swings at 90 %; 0 if that is not known.
func (c *clock) offScreen() float64 {
	offset := c.steady.sine.OffsetVolts
	edge := min(c.env.t.HighVolts-offset, offset-c.env.t.LowVolts)
	if !c.steady.sings || !(edge > 0) {
		return 0
	}
	return steadyFraction * c.steady.amplitude / edge
}

// dropped notes that the clock stopped at the end of a stretch.
func (c *clock) dropped(s span, level float64) {
	c.DropoutSeconds = c.env.ends(s, level) - c.rise
	c.SD.DropoutSeconds = math.Hypot(c.riseSD, c.env.crossingDeviation(min(s.to, len(c.env.amplitude)-1), level))
}

// grown notes how fast the clock grew up to bin top.
func (c *clock) grown(top int, level float64) {
	c.GrowthSeconds, c.SD.GrowthSeconds = c.env.growth(top, level)
}
