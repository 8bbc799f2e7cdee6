package verdict

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
	// Lamp is a slow record of the status lamp; empty if there is no probe.
	Lamp Trace
	// SupplyVolts and SupplyAmps are the supply's read-back while on; NaN if none.
	SupplyVolts, SupplyAmps float64
}

// Expect says what a good start looks like.
type Expect struct {
	SetVolts           float64 // voltage the supply was set to
	RailFraction       float64 // the start is timed from the rail crossing RailFraction*SetVolts
	ClockHertz         float64 // expected clock frequency
	FrequencyWithin    float64 // allowed relative error of the frequency, 0.01 = 1 %
	AmplitudeMinVolts  float64 // smallest acceptable peak amplitude at this SetVolts
	StartWithinSeconds float64 // longest acceptable start time
	WatchSeconds       float64 // length of the watch window
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
	DropoutSeconds  float64 // when a clock that ran stopped, from the rail threshold

	Lamp      Lamp
	LampHertz float64

	SupplyVolts, SupplyAmps float64
}
