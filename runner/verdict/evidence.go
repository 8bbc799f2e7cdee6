package verdict

import "fmt"

// Trace is one evenly sampled record of one channel. In a plain record Min and
// Max are the same slice and sample i was taken at StartSeconds +
// i*StepSeconds. In a peak-detect record Min[i] and Max[i] are the extremes
// seen in bin i, which covers the step that begins at that time.
type Trace struct {
	StartSeconds float64 // time of sample 0, relative to the trigger (negative = before it)
	StepSeconds  float64
	Min, Max     []float64 // volts

	LowVolts, HighVolts float64 // converter limits; a sample at one of them is clipped
	Codes               int     // number of converter codes between the limits (256)
}

// Evidence is all that was recorded of one cycle.
type Evidence struct {
	// Rail and Clock are the envelope record: peak-detect, the whole watch
	// window, trigger (t=0) where the rail crosses the trigger level.
	Rail, Clock Trace
	// Steady is a short full-rate record of the clock, taken at the end of the
	// window while the unit is still on; empty if none was taken.
	Steady Trace
	// RailRecord, ClockRecord and SteadyRecord are the same at full rate, in the
	// converter's codes; one that is not empty stands in for the trace of its name.
	// A ClockRecord fast enough for the clock needs no steady record beside it.
	RailRecord, ClockRecord, SteadyRecord Record
	// Own is what the scope itself measured of the clock at the end of the window,
	// where no steady record could be had; nil if it was not asked.
	Own *OwnMeasurement
	// NoRail says that no channel showed the rail: starts are timed from t=0.
	NoRail bool
	// Lamp is a slow record of the status lamp; empty if there is no probe.
	Lamp Trace
	// SupplyVolts and SupplyAmps are the supply's read-back while on; NaN if none.
	SupplyVolts, SupplyAmps float64
}

// OwnMeasurement is what a scope measures by itself, which it does not say how.
type OwnMeasurement struct {
	Hertz, PeakToPeakVolts float64 // NaN for what it did not measure
	Why                    string  // there is no steady record
}

// Expect says what a good start looks like.
type Expect struct {
	SetVolts           float64 // voltage the supply was set to
	RailFraction       float64 // the start is timed from the rail crossing RailFraction*SetVolts
	ClockHertz         float64 // expected clock frequency
	FrequencyWithin    float64 // allowed relative error of the frequency, 0.01 = 1 %; 0 for any frequency
	AmplitudeMinVolts  float64 // smallest acceptable peak amplitude at this SetVolts; 0 for any above the noise
	StartWithinSeconds float64 // longest acceptable start time; 0 for the whole record
	WatchSeconds       float64 // length of the watch window

	// UseAlias allows the frequency to be taken from a record sampled too slowly for
	// the clock, as the alias that lies nearest to the expected frequency.
	UseAlias bool
	// LampHertz is how often the lamp of a running unit blinks, 0 if not known.
	LampHertz float64
	// Current says what the supply current tells of the unit.
	Current CurrentBands
}

// Lamp says what the status lamp did.
type Lamp string

// What a lamp can do. The empty string means that no lamp record was usable.
const (
	Dark     Lamp = "dark"
	Lit      Lamp = "lit"
	Blinking Lamp = "blinking"
)

// Judgement is the verdict on one cycle with the measures behind it. A measure
// that could not be taken is NaN.
type Judgement struct {
	Verdict Verdict
	Reason  string // one plain sentence with the numbers that decided

	StartSeconds float64 // rail threshold to 90 % of the steady envelope; NaN if it did not start
	Censored     bool    // did not start: right-censored at the end of the watch window

	FrequencyHertz float64
	AmplitudeVolts float64 // peak, half of peak-to-peak
	GrowthSeconds  float64 // time constant tau of the growth exp(t/tau)

	RailRiseSeconds float64 // 10 % to 90 % transition duration
	RailVolts       float64 // settled rail
	RailSagVolts    float64 // how far the rail fell after it had risen; 0 for no more than noise
	RailOvershoot   float64 // how far it went above that, as a fraction of its rise
	DropoutSeconds  float64 // when a clock that ran stopped, from the rail threshold

	NoiseVolts    float64 // of the clock channel, root mean square
	HarmonicRatio float64 // root sum square of the 2nd to 5th harmonic, over the fundamental
	OvertoneRatio float64 // strongest line near 3 or 5 times the clock that is none of its harmonics, over the fundamental

	Lamp      Lamp
	LampHertz float64

	SupplyVolts, SupplyAmps float64

	// SD is how sure the measures are.
	SD Uncertainty
	// Warnings are what a person should know of the records, a plain sentence each.
	Warnings []string
	// Disagree says that lamp or supply current contradict the clock; Reason says how.
	Disagree bool
}

// Uncertainty holds the standard uncertainty (one standard deviation, k = 1) of
// the measure of each name; NaN where that is NaN.
type Uncertainty struct {
	StartSeconds, FrequencyHertz, AmplitudeVolts, GrowthSeconds, DropoutSeconds float64
	RailRiseSeconds, RailVolts, RailSagVolts, LampHertz                         float64
	NoiseVolts, HarmonicRatio, OvertoneRatio                                    float64
}

// warn adds a sentence to the warnings.
func (j *Judgement) warn(format string, args ...any) {
	j.Warnings = append(j.Warnings, fmt.Sprintf(format, args...))
}
