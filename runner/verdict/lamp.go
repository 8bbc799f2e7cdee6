package verdict

import (
	"math"
	"slices"
)

// lampLitFraction is the fraction of the set voltage above which a steady lamp
// counts as lit.
const lampLitFraction = 0.25

// readLamp notes what the lamp did.
func (j *Judgement) readLamp(t Trace, setVolts float64) {
	if !(setVolts > 0) || !finite(setVolts) {
		setVolts = highest(t) // the lamp's own swing must do
	}
	j.Lamp, j.LampHertz = lampOf(t, setVolts)
	if seconds := float64(len(t.Min)) * t.StepSeconds; j.LampHertz > 0 {
		// Two edges, each read to a sample, over about the length of the record.
		j.SD.LampHertz = j.LampHertz * t.StepSeconds / seconds / math.Sqrt(6)
	}
}

func highest(t Trace) float64 {
	if t.flaw() != nil {
		return 0
	}
	return slices.Max(t.Max)
}

// lampOf says what the lamp did and, if it blinked through at least one whole
// period, how often; NaN otherwise. The lamp is empty without a usable record.
func lampOf(t Trace, setVolts float64) (Lamp, float64) {
	rate := math.NaN()
	if t.flaw() != nil {
		return "", rate
	}
	v := t.mids()
	sorted := slices.Clone(v)
	slices.Sort(sorted)
	n := len(sorted)
	// Levels that the lamp holds, whatever spikes there are besides.
	low, high := sorted[n/20], sorted[n-1-n/20]
	steady := Dark
	if sorted[n/2] > lampLitFraction*setVolts {
		steady = Lit
	}
	if swing := high - low; !(swing > 0.5*lampLitFraction*setVolts && swing > 6*t.codeVolts()) {
		return steady, rate
	}
	var rises, falls []float64
	up, down := low+0.6*(high-low), low+0.4*(high-low)
	lit := v[0] > (low+high)/2
	for i := 1; i < n; i++ {
		switch at := t.StartSeconds + float64(i)*t.StepSeconds; {
		case !lit && v[i] >= up:
			lit, rises = true, append(rises, at)
		case lit && v[i] <= down:
			lit, falls = false, append(falls, at)
		}
	}
	switch edges := len(rises) + len(falls); {
	case edges >= 2:
		return Blinking, blinkRate(rises, falls)
	case edges == 1 && lit:
		return Lit, rate // came on and stayed on
	case edges == 1:
		return Dark, rate
	}
	return steady, rate
}

// blinkRate returns the rate from whole periods, between edges of one kind, of
// which one edge more or less does not bias it.
func blinkRate(rises, falls []float64) float64 {
	periods, seconds := 0, 0.0
	for _, edges := range [][]float64{rises, falls} {
		if k := len(edges) - 1; k > 0 {
			periods += k
			seconds += edges[k] - edges[0]
		}
	}
	if !(seconds > 0) {
		return math.NaN()
	}
	return float64(periods) / seconds
}
