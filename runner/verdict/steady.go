package verdict

import (
	"fmt"
	"math"
	"slices"
)

// samplesPerPeriod is the lowest sampling rate, in expected clock periods, at
// which a frequency is believed: below it an overtone or an alias passes for
// the clock.
const samplesPerPeriod = 2.5

// steadySamples is the most that a sine is fitted to at once; the phase follows
// longer records.
const steadySamples = 2048

// steady is what the full-rate record at the end of the window shows.
type steady struct {
	sine        Sine
	fitted      int     // samples behind it
	step        float64 // s
	amplitude   float64 // V, half of peak-to-peak less the noise
	amplitudeSD float64 // V
	hertzSD     float64
	content     content
	usable      bool    // it was taken, and fast enough
	pure        bool    // its amplitude is that of the sine, not of the extremes
	sings       bool    // usable, and it holds one frequency that stands out
	own         bool    // the scope measured it itself: there is no record
	alias       bool    // its frequency is that of an alias
	expected    float64 // Hz, the clock's
	apparent    Sine    // as sampled, where sine is what that is an alias of
	flaw        string  // why it is not usable
}

// readSteady measures a steady record; env tells of the channel's noise.
func readSteady(t Trace, x Expect, env *envelope) steady {
	if len(t.Min) == 0 && len(t.Max) == 0 {
		return steady{flaw: "no steady record was taken"}
	}
	if err := t.flaw(); err != nil {
		return steady{flaw: fmt.Sprintf("the steady record %v", err)}
	}
	s := steady{step: t.StepSeconds, fitted: len(t.Max), expected: x.ClockHertz}
	if rate := 1 / t.StepSeconds; rate < samplesPerPeriod*x.ClockHertz {
		s.alias = x.UseAlias
		if !s.alias {
			return steady{flaw: fmt.Sprintf("the steady record has %s, below the %s needed to tell the frequency",
				si(rate, "samples/s"), si(samplesPerPeriod*x.ClockHertz, "samples/s"))}
		}
	}
	s.amplitude = max(0, slices.Max(t.Max)-slices.Min(t.Min)-env.noise) / 2
	s.amplitudeSD = math.Hypot(env.deviation(s.amplitude), t.codeVolts()/math.Sqrt(12))
	sine, err := FitSine(t, 0)
	if low, high := t.clips(); err != nil && (slices.Min(t.Max) >= high || slices.Max(t.Min) <= low) {
		s.flaw = "the steady record is off the screen"
		return s
	}
	s.usable = true
	if err != nil {
		return s
	}
	s.sine, s.apparent = sine, sine
	// A square wave's harmonics leave a third of the amplitude unexplained, a sawtooth's over half.
	// Nothing but the channel's noise beside it may be larger than the sine itself.
	amplitudeSD, hertzSD, _ := sine.deviations(len(t.Max), t.StepSeconds)
	quiet := 1.3*env.rms + t.codeVolts()
	s.sings = sine.AmplitudeVolts > 1.5*sine.ResidualVolts ||
		sine.ResidualVolts < quiet && sine.AmplitudeVolts > 6*amplitudeSD
	if !s.sings {
		return s
	}
	s.hertzSD = hertzSD
	low, high := t.clips()
	clipped := slices.Max(t.Max) >= high || slices.Min(t.Min) <= low
	// A clean sine, also one in nothing but the channel's noise, measures its
	// amplitude better than the extremes of a noisy record do.
	if clipped || sine.ResidualVolts < max(0.1*sine.AmplitudeVolts, quiet) {
		s.amplitude, s.amplitudeSD, s.pure = sine.AmplitudeVolts, amplitudeSD, true
	}
	if !clipped {
		s.content = contentOf(t.Max, sine, t.StepSeconds)
	} else {
		s.content = noContent
	}
	if s.alias {
		s.sine.FrequencyHertz = unfold(sine.FrequencyHertz, 1/t.StepSeconds, x.ClockHertz)
		s.content = noContent // what folds where is a guess
	}
	return s
}

// unfold returns the frequency nearest to the expected one that sampling at rate
// would show as the alias given, all in hertz.
func unfold(alias, rate, expected float64) float64 {
	k := math.Round(expected / rate)
	a, b := k*rate+alias, k*rate-alias
	if math.Abs(a-expected) < math.Abs(b-expected) {
		return a
	}
	return b
}

// follow sharpens the frequency over the whole of the settled record whose last
// samples the sine was fitted to.
func (s *steady) follow(r Record) {
	if !s.sings {
		return
	}
	hertz, sd, ok := followPhase(r, s.apparent, s.fitted)
	if !ok {
		return
	}
	if s.alias {
		hertz = unfold(hertz, 1/s.step, s.expected)
	}
	s.sine.FrequencyHertz, s.hertzSD = hertz, sd
}
