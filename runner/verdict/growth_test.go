package verdict

import (
	"math"
	"testing"
)

// growing is the envelope of a clock that rises to 1 V by the law of growth with
// a time constant in bins, from the amplitude that its first bin has.
func growing(first, tau float64) envelope {
	e := envelope{t: Trace{StepSeconds: 1e-3}, floor: 0.001, shared: 1, lasting: 5}
	for i := range 200 {
		e.amplitude = append(e.amplitude, 1/math.Sqrt(1+(1/(first*first)-1)*math.Exp(-2*float64(i)/tau)))
	}
	return e
}

// A time constant is told from no less than a doubling in four bins below a
// third of the steady amplitude.
func TestGrowthNeedsARise(t *testing.T) {
	for _, c := range []struct {
		first, tau float64
		seen       bool
	}{
		{0.06, 10, true},
		{0.15, 10, true},
		{0.20, 10, false}, // a rise by ln(0.35/0.20) = 0.56
		{0.30, 10, false},
		{0.06, 1.5, false}, // in three bins
	} {
		e := growing(c.first, c.tau)
		tau, sd := e.growth(len(e.amplitude)-1, 1)
		switch {
		case math.IsNaN(tau) != !c.seen || math.IsNaN(sd) != !c.seen:
			t.Errorf("from %v V: %v ± %v s", c.first, tau, sd)
		case c.seen && math.Abs(tau-c.tau*1e-3) > 1e-12:
			t.Errorf("from %v V: %v s, want %v ms", c.first, tau, c.tau)
		}
	}
}
