package verdict

import (
	"math"
	"slices"
)

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
		if math.IsNaN(seconds) {
			return false
		}
		i := c.env.t.before(seconds + c.rise)
		reach := 3 + c.env.shared/2 // how far a gap colours the envelope: median, interpolation, running mean
		return slices.Contains(c.env.missing[max(0, i-reach):min(len(c.env.missing), i+reach+1)], true)
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
