package verdict

import (
	"fmt"
	"math"
)

// readOwn takes the scope's own measurement in the place of a steady record. It
// says nothing of how sure it is, nor whether what it counted was a sine.
func readOwn(m OwnMeasurement, x Expect, env *envelope) steady {
	if !(m.Hertz > 0) || !finite(m.Hertz) {
		return steady{flaw: fmt.Sprintf("%s, and the scope itself measured no frequency", m.Why)}
	}
	nan := math.NaN()
	s := steady{
		own: true, usable: true, sings: true, step: nan, expected: x.ClockHertz,
		sine: Sine{FrequencyHertz: m.Hertz, OffsetVolts: nan}, hertzSD: nan, content: noContent,
	}
	s.amplitude, s.amplitudeSD = env.last(), env.deviation(env.last())
	if finite(m.PeakToPeakVolts) {
		s.amplitude = max(0, m.PeakToPeakVolts-env.noise) / 2
		s.amplitudeSD = math.Hypot(env.deviation(s.amplitude), env.t.codeVolts()/math.Sqrt(12))
	}
	return s
}

// last is the amplitude at the end of the envelope.
func (e *envelope) last() float64 {
	_, last := e.tail()
	return max(0, last)
}

// ownWarning says that the scope's own measurement was believed.
func (c *clock) ownWarning(m OwnMeasurement) {
	if !c.steady.own {
		return
	}
	measured := "frequency is what the scope itself measured, " + hertzText(m.Hertz)
	if finite(m.PeakToPeakVolts) {
		measured = fmt.Sprintf("frequency and amplitude are what the scope itself measured, %s and %s peak to peak", hertzText(m.Hertz), si(m.PeakToPeakVolts, "V"))
	}
	c.warn("%s: %s; it does not say how sure it is", m.Why, measured)
	if c.Verdict.Counted() && c.Verdict != Silent {
		c.Reason += "; frequency by the scope's own measurement"
	}
}
