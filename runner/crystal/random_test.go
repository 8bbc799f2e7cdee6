package crystal

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Whatever is accepted is answered: no panic, the verdict agrees with the
// margins, and every limit is on the right side of the circuit.
func TestAnyValidCircuitIsAnswered(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	accepted := 0
	for range 400 {
		given := map[string]float64{}
		for _, s := range Symbols() {
			switch s.Name {
			case "fs", "L1", "Q", "CpA", "CpB", "RpA", "RpB":
				continue // settled with others or in pairs
			}
			if rng.IntN(3) > 0 {
				continue
			}
			low, high := max(s.Low, s.UsualLow/100), min(s.High, s.UsualHigh*100)
			if low <= 0 {
				given[s.Name] = low + (high-low)*rng.Float64()
			} else {
				given[s.Name] = low * math.Pow(high/low, rng.Float64())
			}
		}
		c, err := Healthy().With(given)
		if err != nil {
			if len(Errors(err)) == 0 {
				t.Fatalf("%v: error without a value: %v", given, err)
			}
			continue
		}
		accepted++
		a := c.Analyse()
		if a.GainMargin > 1.05 && a.UpperMargin > 1.05 && !a.Starts || (a.GainMargin < 0.95 || a.UpperMargin < 0.95) && a.Starts {
			t.Errorf("%v: margins %g and %g, starts %t", given, a.GainMargin, a.UpperMargin, a.Starts)
		}
		if a.Starts != (a.GrowthSeconds > 0) && math.Abs(a.ResistanceMargin-1) > 0.05 {
			t.Errorf("%v: starts %t, grows with %g s, resistance margin %g", given, a.Starts, a.GrowthSeconds, a.ResistanceMargin)
		}
		if a.InTime && !a.Starts || a.InsertOhms > 0 && !a.Starts {
			t.Errorf("%v: in time %t, bears %g ohm in series, starts %t", given, a.InTime, a.InsertOhms, a.Starts)
		}
		if r := c.SafeRange(5, 50); r.OK == (r.Reason != "") || r.OK && !(r.LowFarads <= r.HighFarads) {
			t.Errorf("%v: %+v", given, r)
		}
		c.Sensitivities()
	}
	if accepted < 100 {
		t.Errorf("only %d of 400 circuits were accepted", accepted)
	}
}
