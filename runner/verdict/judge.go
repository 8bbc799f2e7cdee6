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
// peak-to-peak value, or, where the record holds every sample, that of a sine of
// its mean square; less what the noise before the rail's rise shows. Only an
// oscillation that lasts counts: the jolt that the rising rail gives a probe
// does not.
//
// Lamp and supply current do not change the verdict. Where they contradict it
// the judgement says so.
func Judge(e Evidence, x Expect) Judgement {
	j := unread(e)
	j.readLamp(e.Lamp, x.SetVolts)
	rise, ok := j.judgeRail(e, x)
	if ok {
		j.judgeClock(e, x, rise)
	}
	if math.IsNaN(j.StartSeconds) {
		j.SD.StartSeconds = math.NaN() // the rail's part of it
	}
	j.compareWitnesses(x)
	return j
}

// unread is a judgement without any measure but the supply's own.
func unread(e Evidence) Judgement {
	nan := math.NaN()
	return Judgement{
		StartSeconds: nan, Censored: true,
		FrequencyHertz: nan, AmplitudeVolts: nan, GrowthSeconds: nan,
		RailRiseSeconds: nan, RailVolts: nan, RailSagVolts: nan, RailOvershoot: nan, DropoutSeconds: nan,
		NoiseVolts: nan, HarmonicRatio: nan, OvertoneRatio: nan, LampHertz: nan,
		SupplyVolts: e.SupplyVolts, SupplyAmps: e.SupplyAmps,
		SD: Uncertainty{nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan},
	}
}

// conclude sets the verdict and the sentence that explains it.
func (j *Judgement) conclude(v Verdict, format string, args ...any) {
	j.Verdict, j.Reason = v, fmt.Sprintf(format, args...)
}

// judgeRail decides whether the unit was powered, and returns when.
func (j *Judgement) judgeRail(e Evidence, x Expect) (rise float64, ok bool) {
	if e.NoRail {
		j.warn("no channel shows the rail: the start is timed from the trigger")
		j.SD.StartSeconds = 0 // by definition; what the clock's crossing adds is all there is
		return 0, true
	}
	if !(x.SetVolts > 0) || !finite(x.SetVolts) || !(x.RailFraction > 0 && x.RailFraction < 1) {
		j.conclude(Unread, "cannot judge against a set voltage of %v V and a rail threshold of %v of it", x.SetVolts, x.RailFraction)
		return 0, false
	}
	readBack := finite(e.SupplyVolts)
	supplyAtSet := readBack && within(e.SupplyVolts, x.SetVolts, 0)
	set := si(x.SetVolts, "V")
	whole := e.RailRecord.Len() > 0
	err := e.Rail.flaw()
	if whole {
		err = e.RailRecord.flaw()
	}
	if err != nil {
		if !whole && len(e.Rail.Max) == 0 && readBack && !supplyAtSet {
			j.conclude(Unpowered, "the supply reads %s, set %s, and the scope saw no rise of the rail", si(e.SupplyVolts, "V"), set)
		} else {
			j.conclude(Unread, "the rail record %v", err)
		}
		return 0, false
	}
	t, r := e.Rail, rail{}
	if whole {
		t, r = readRailRecord(e.RailRecord, x.SetVolts, x.RailFraction)
	} else {
		r = readRail(t, x.SetVolts, x.RailFraction)
	}
	j.RailVolts, j.RailRiseSeconds, j.RailSagVolts, j.RailOvershoot = r.volts, r.riseSeconds, r.sag, r.overshoot
	j.SD.RailVolts, j.SD.RailRiseSeconds, j.SD.RailSagVolts, j.SD.StartSeconds = r.voltsSD, r.riseSD, r.sagSD, r.crossingSD
	_, clip := t.clips()
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
		j.railWarnings(r, x)
		return r.crossing, true
	}
	return 0, false
}

// railWarnings tells of a rail that came up, but not well.
func (j *Judgement) railWarnings(r rail, x Expect) {
	if r.sag > railTolerance*x.SetVolts {
		j.warn("the rail sagged by %s after it had come up", si(r.sag, "V"))
	}
	if r.overshoot > 0.1 {
		j.warn("the rail shot over by %s: compensate its probe, or look at the supply", percent(r.overshoot))
	}
}

// judgeClock judges the clock of a unit powered at the time rise.
func (j *Judgement) judgeClock(e Evidence, x Expect, rise float64) {
	env, record, err := clockEnvelope(e, x.ClockHertz, rise)
	if err != nil {
		j.conclude(Unread, "the clock record %v", err)
		return
	}
	j.NoiseVolts, j.SD.NoiseVolts = env.rms, env.rmsSD
	t := env.t
	required := x.AmplitudeMinVolts
	if !(required > 0) || !finite(required) {
		required = 0
	}
	if !(x.StartWithinSeconds > 0) {
		x.StartWithinSeconds = t.end() - rise
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
		Judgement: j, x: x, env: env, record: record, rise: rise, riseSD: j.SD.StartSeconds, required: required,
		detect: max(env.floor, detectFraction*required),
	}
	c.readSteady(e)
	if c.steady.sings {
		c.env.unclip(c.steady.sine.OffsetVolts)
	}
	c.judge()
	c.beforeRecord()
	c.acrossGaps()
	c.clockWarnings()
	if e.Own != nil {
		c.ownWarning(*e.Own)
	}
}

// clockEnvelope reads the envelope from what there is of the clock, and returns
// the full-rate record if that is what it came from.
func clockEnvelope(e Evidence, hertz, rise float64) (envelope, Record, error) {
	record := e.ClockRecord
	if record.Len() == 0 {
		if err := e.Clock.flaw(); err != nil {
			return envelope{}, Record{}, err
		}
		if e.Clock.plain() {
			record = recordOf(e.Clock)
		}
	}
	var env envelope
	if record.Len() > 0 {
		if err := record.flaw(); err != nil {
			return envelope{}, Record{}, err
		}
		b, err := clockBins(record, hertz)
		if err != nil {
			return envelope{}, Record{}, err
		}
		if n := len(b.mean) - b.t.before(rise); n < fewestBins {
			return envelope{}, Record{}, fewBins(n)
		}
		env = powerEnvelope(b, rise)
		env.missing, env.means = b.missing, b.mean
		if hertz > 0 {
			cycles := hertz * record.StepSeconds
			env.periods = float64(env.samples) * math.Abs(cycles-math.Round(cycles))
		}
	} else {
		if n := len(e.Clock.Min) - e.Clock.before(rise); n < fewestBins {
			return envelope{}, Record{}, fewBins(n)
		}
		env = peakEnvelope(e.Clock, rise)
		env.means = e.Clock.mids()
	}
	return env, record, nil
}

func fewBins(n int) error {
	return fmt.Errorf("has %d bins after the rail's rise; %d are needed", n, fewestBins)
}
