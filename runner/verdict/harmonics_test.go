package verdict

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Of a pure sine in noise each harmonic's amplitude is Rayleigh distributed, and
// exceeds twice its standard deviation in one case of e². So no harmonic is seen in
// a share (1 - e⁻²)⁴ = 0.559 of records, and the ratio is 0 there.
func TestHarmonicsOfNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	const records = 600
	none := 0
	for range records {
		trace := sampled(1000, 100e6, func(t float64) float64 {
			return math.Cos(2*math.Pi*7.3728e6*t) + 0.05*rng.NormFloat64()
		})
		s, err := FitSine(trace, 0)
		if err != nil {
			t.Fatal(err)
		}
		if contentOf(trace.Max, s, trace.StepSeconds).harmonics == 0 {
			none++
		}
	}
	if share := float64(none) / records; math.Abs(share-0.559) > 0.08 { // four standard errors
		t.Errorf("no harmonic in %.3f of records, want 0.559", share)
	}
}

// A clock that wanders about its mean frequency is known no better than its phases
// lie on a line, however little noise there is.
func TestFollowPhaseOfAWanderingClock(t *testing.T) {
	const n, rate, hertz, fitted = 100_000, 100e6, 7.3728e6, 4096
	follow := func(radians float64) float64 {
		trace := sampled(n, rate, func(t float64) float64 {
			return math.Cos(2*math.Pi*hertz*t + radians*math.Sin(2*math.Pi*6*t*rate/n))
		})
		r := recordOf(trace)
		s, err := FitSine(r.window(n-fitted, n).trace(), 0)
		if err != nil {
			t.Fatal(err)
		}
		s.ResidualVolts = max(s.ResidualVolts, 0.01) // what a converter leaves
		got, sd, ok := followPhase(r, s, fitted)
		if !ok || math.Abs(got-hertz) > 3*sd {
			t.Errorf("a wander of %v rad: %v Hz ± %v, %v", radians, got, sd, ok)
		}
		return sd
	}
	steady, wandering := follow(0), follow(0.1)
	// Phases scatter by 0.1/√2 rad instead of the 0.01·√(2/2048) of the noise.
	if ratio := wandering / steady; !(ratio > 100 && ratio < 400) {
		t.Errorf("%v Hz against %v Hz of a steady clock", wandering, steady)
	}
}
