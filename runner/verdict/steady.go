package verdict

import (
	"fmt"
	"slices"
)

// samplesPerPeriod is the lowest sampling rate, in expected clock periods, at
// which a frequency is believed: below it an overtone or an alias passes for
// the clock.
const samplesPerPeriod = 2.5

// steady is what the full-rate record at the end of the window shows.
type steady struct {
	sine      Sine
	amplitude float64 // V, half of peak-to-peak less the noise
	usable    bool    // it was taken, and fast enough
	sings     bool    // usable, and it holds one frequency that stands out
	flaw      string  // why it is not usable
}

// readSteady measures the steady record; noise is the peak-to-peak noise of the channel.
func readSteady(t Trace, clockHertz, noise float64) steady {
	if len(t.Min) == 0 && len(t.Max) == 0 {
		return steady{flaw: "no steady record was taken"}
	}
	if err := t.flaw(); err != nil {
		return steady{flaw: fmt.Sprintf("the steady record %v", err)}
	}
	if rate := 1 / t.StepSeconds; rate < samplesPerPeriod*clockHertz {
		return steady{flaw: fmt.Sprintf("the steady record has %s, below the %s needed to tell the frequency",
			si(rate, "samples/s"), si(samplesPerPeriod*clockHertz, "samples/s"))}
	}
	s := steady{amplitude: max(0, slices.Max(t.Max)-slices.Min(t.Min)-noise) / 2}
	sine, err := FitSine(t, 0)
	if low, high := t.clips(); err != nil && (slices.Min(t.Max) >= high || slices.Max(t.Min) <= low) {
		s.flaw = "the steady record is off the screen"
		return s
	}
	s.usable = true
	if err != nil {
		return s
	}
	s.sine = sine
	// A square wave's harmonics leave a third of the amplitude unexplained, a sawtooth's over half.
	s.sings = sine.AmplitudeVolts > 1.5*sine.ResidualVolts
	// A clean sine measures its amplitude better than the extremes of a noisy record do.
	if low, high := t.clips(); sine.ResidualVolts < 0.1*sine.AmplitudeVolts ||
		slices.Max(t.Max) >= high || slices.Min(t.Min) <= low {
		s.amplitude = sine.AmplitudeVolts
	}
	return s
}
