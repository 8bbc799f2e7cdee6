package verdict

import (
	"fmt"
	"math"
)

// steadyFraction of the steady amplitude is where a start ends.
const steadyFraction = 0.9

// detectFraction of the required amplitude is the least that counts as an
// oscillation; less is pick-up on the probe.
const detectFraction = 0.1

// Judge gives the verdict on one cycle and takes its measures. It accepts any
// evidence and never panics: what cannot be judged is [Unread], with the flaw
// in the reason.
//
// A start is timed from the rail crossing its threshold to the envelope of the
// clock crossing 90 % of its steady amplitude, both interpolated linearly
// between samples (IEEE 181). The amplitude in a bin of the envelope is half its
// peak-to-peak value, less what the noise before the rail's rise shows. Only an
// oscillation that lasts counts: the jolt that the rising rail gives a probe
// does not.
func Judge(e Evidence, x Expect) Judgement {
	j := Judgement{
		StartSeconds: math.NaN(), Censored: true,
		FrequencyHertz: math.NaN(), AmplitudeVolts: math.NaN(), GrowthSeconds: math.NaN(),
		RailRiseSeconds: math.NaN(), RailVolts: math.NaN(), DropoutSeconds: math.NaN(),
		SupplyVolts: e.SupplyVolts, SupplyAmps: e.SupplyAmps,
	}
	j.Lamp, j.LampHertz = readLamp(e.Lamp, x.SetVolts)
	rise, ok := j.judgeRail(e, x)
	if ok {
		j.judgeClock(e, x, rise)
	}
	return j
}

// conclude sets the verdict and the sentence that explains it.
func (j *Judgement) conclude(v Verdict, format string, args ...any) {
	j.Verdict, j.Reason = v, fmt.Sprintf(format, args...)
}

// judgeRail decides whether the unit was powered, and returns when.
func (j *Judgement) judgeRail(e Evidence, x Expect) (rise float64, ok bool) {
	if !(x.SetVolts > 0) || !finite(x.SetVolts) || !(x.RailFraction > 0 && x.RailFraction < 1) {
		j.conclude(Unread, "cannot judge against a set voltage of %v V and a rail threshold of %v of it", x.SetVolts, x.RailFraction)
		return 0, false
	}
	readBack := finite(e.SupplyVolts)
	supplyAtSet := readBack && within(e.SupplyVolts, x.SetVolts, 0)
	set := si(x.SetVolts, "V")
	if err := e.Rail.flaw(); err != nil {
		if len(e.Rail.Max) == 0 && readBack && !supplyAtSet {
			j.conclude(Unpowered, "the supply reads %s, set %s, and the scope saw no rise of the rail", si(e.SupplyVolts, "V"), set)
		} else {
			j.conclude(Unread, "the rail record %v", err)
		}
		return 0, false
	}
	r := readRail(e.Rail, x.SetVolts, x.RailFraction)
	j.RailVolts, j.RailRiseSeconds = r.volts, r.riseSeconds
	_, clip := e.Rail.clips()
	switch threshold := si(x.RailFraction*x.SetVolts, "V"); {
	case r.alreadyUp:
		j.conclude(Unread, "the rail was above %s when the record began, so there is no start to time", threshold)
	case math.IsNaN(r.crossing) && supplyAtSet:
		j.conclude(Unread, "the rail record only reaches %s while the supply reads %s: rail probe off, or a lead broken",
			si(r.highest, "V"), si(e.SupplyVolts, "V"))
	case math.IsNaN(r.crossing):
		j.conclude(Unpowered, "the rail only reached %s, set %s", si(r.highest, "V"), set)
	case r.highest >= clip && !r.reached && !supplyAtSet:
		j.conclude(Unread, "the rail left the screen at %s, below the set %s", si(r.highest, "V"), set)
	case !r.reached && !supplyAtSet:
		j.conclude(Unpowered, "the rail settled at %s, more than %s from the set %s", si(r.volts, "V"), percent(railTolerance), set)
	case r.volts < x.RailFraction*x.SetVolts && !supplyAtSet:
		j.conclude(Unpowered, "the rail reached the set %s, then fell to %s", set, si(r.volts, "V"))
	default:
		return r.crossing, true
	}
	return 0, false
}

// judgeClock judges the clock of a unit powered at the time rise.
func (j *Judgement) judgeClock(e Evidence, x Expect, rise float64) {
	if err := e.Clock.flaw(); err != nil {
		j.conclude(Unread, "the clock record %v", err)
		return
	}
	t := e.Clock.binned(x.ClockHertz)
	const fewest = 20
	if n := len(t.Min) - t.before(rise); n < fewest {
		j.conclude(Unread, "the clock record has %d bins after the rail's rise; %d are needed", n, fewest)
		return
	}
	env := readEnvelope(t, rise)
	required := x.AmplitudeMinVolts
	if !(required > 0) || !finite(required) {
		required = 0
	}
	switch limit := x.StartWithinSeconds; {
	case env.offScreen():
		j.conclude(Unread, "the clock sat at the edge of the screen (%s to %s)", si(t.LowVolts, "V"), si(t.HighVolts, "V"))
		return
	case required > 0 && env.floor > required:
		j.conclude(Unread, "the clock channel is too noisy: %s before the rail's rise, where %s is required of the clock",
			si(env.noise/2, "V"), si(required, "V"))
		return
	case t.end()-rise < limit:
		j.conclude(Unread, "the clock record ends %s after the rail's rise, before the %s allowed",
			si(t.end()-rise, "s"), si(limit, "s"))
		return
	}
	c := clock{
		Judgement: j, x: x, env: env, rise: rise, required: required,
		detect: max(env.floor, detectFraction*required),
		steady: readSteady(e.Steady, x.ClockHertz, env.noise),
	}
	c.judge()
}
