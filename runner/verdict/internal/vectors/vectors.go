// Package vectors makes start-up waveforms whose truth is known: in closed form
// ([Power]), seen by a scope with all its bad habits ([Scope]), drawn by lot
// ([Random]) or listed one by one ([Corpus]), and it writes and reads the files
// they are kept in ([File]).
//
// It is the other side of the verdict: it shares no code with what judges, nor
// with the simulated bench, so that a mistake in one is not repeated in the other.
package vectors

import "math"

//go:generate go run ./generate ../../../../testdata/waveforms

// Channel is what a scope's converter made of one voltage. Sample i of a plain
// record was taken at StartSeconds + i*StepSeconds; bin i of a peak-detect
// record covers the step that begins then.
type Channel struct {
	StartSeconds float64 // of the first sample; the trigger is 0
	StepSeconds  float64
	Low, High    []uint8 // codes: the extremes of each bin; one and the same slice in a plain record
	ZeroVolts    float64 // voltage of code 0
	CodeVolts    float64 // height of a code; code 0 and code 255 are where the screen ends
	Gaps         []Gap   // stretches that were never taken; their codes repeat the last one before
}

// Gap is a stretch of samples, [From, To).
type Gap struct{ From, To int }

// Plain reports whether the channel holds samples rather than extremes.
func (c Channel) Plain() bool { return len(c.Low) == 0 || &c.Low[0] == &c.High[0] }

// Volts returns the voltage of a code.
func (c Channel) Volts(code uint8) float64 { return c.ZeroVolts + float64(code)*c.CodeVolts }

// code is what the converter makes of a voltage.
func (c Channel) code(volts float64) uint8 {
	return uint8(min(max(math.Round((volts-c.ZeroVolts)/c.CodeVolts), 0), 255))
}

// Records is what the instruments handed over of one cycle. A record without
// samples was not taken.
type Records struct {
	Rail, Clock Channel // the watch
	Steady      Channel // short, plain, after the watch
	Lamp        Channel // slow

	SupplyVolts, SupplyAmps float64 // read back while on; NaN if not
}

// Limits says what a good start is.
type Limits struct {
	SetVolts                       float64 // 0: there is no rail to judge
	RailFraction                   float64 // of SetVolts, from where the start is timed
	ClockHertz                     float64
	FrequencyWithin                float64 // relative
	AmplitudeMinVolts              float64 // peak
	StartWithinSeconds             float64
	WatchSeconds                   float64
	UseAlias                       bool // a record sampled too slowly may tell the frequency by its alias
	LampHertz                      float64
	OffAmps, HungAmps, RunningAmps Amps // what the supply gives in each state; zero = not known
}

// Amps is a band of supply current.
type Amps struct{ Low, High float64 }

// Truth is what happened, known by construction and not from the records. A
// measure that does not exist is NaN.
type Truth struct {
	Verdict        string
	StartSeconds   float64 // rail threshold to 90 % of the steady envelope
	FrequencyHertz float64
	AmplitudeVolts float64 // peak, settled
	GrowthSeconds  float64 // time constant of the growth
	DropoutSeconds float64 // rail threshold to the envelope falling through half of its steady amplitude

	SignalToNoise    float64 // dB, power of the settled sine (where there is none, of a sine of the least good amplitude) over the noise before the converter
	SamplesPerPeriod float64 // of the expected clock
	NoiseVolts       float64 // rms, the converter's own (a code over the root of 12) included
	SettledSamples   int     // how many samples of the clock have an envelope of 99 % or more
}

// FrequencyBoundHertz is the Cramér-Rao bound on the standard deviation of the
// frequency of a sine of unknown amplitude, phase and offset, sampled over the
// settled part of the record: sqrt(24)*sigma/(A*N^1.5) radians per sample (the
// limit for many periods of IEEE Std 1057-2017, four-parameter sine fit).
func (t Truth) FrequencyBoundHertz(stepSeconds float64) float64 {
	n := float64(t.SettledSamples)
	return math.Sqrt(24/(n*(n*n-1))) * t.NoiseVolts / t.AmplitudeVolts / (2 * math.Pi * stepSeconds)
}
