package vectors

import (
	"math"
	"math/rand/v2"
)

// Scope is how one channel is looked at.
type Scope struct {
	Start, Step float64 // s
	Count       int
	Lowest      float64 // V, code 0
	Code        float64 // V
	Noise       float64 // V rms, before the converter
	Late        float64 // s, by which the trigger, and so time 0, comes after the threshold
}

// screen returns a scope's vertical setting that shows from low to high.
func (s Scope) screen(low, high float64) Scope {
	s.Lowest, s.Code = low, (high-low)/255
	return s
}

func (s Scope) channel() Channel {
	return Channel{StartSeconds: s.Start, StepSeconds: s.Step, ZeroVolts: s.Lowest, CodeVolts: s.Code}
}

// Sample takes a plain record of v.
func (s Scope) Sample(rng *rand.Rand, v func(t float64) float64) Channel {
	c := s.channel()
	c.Low = make([]uint8, s.Count)
	c.High = c.Low
	for i := range c.Low {
		c.Low[i] = c.code(v(s.Late+s.Start+float64(i)*s.Step) + s.Noise*rng.NormFloat64())
	}
	return c
}

// Peaks takes a peak-detect record of v, which is asked for random phases: the
// converter runs far faster than the bins and in no step with the clock.
func (s Scope) Peaks(rng *rand.Rand, v func(t, phase float64) float64) Channel {
	const within = 128
	c := s.channel()
	c.Low, c.High = make([]uint8, s.Count), make([]uint8, s.Count)
	for i := range c.Low {
		low, high := math.Inf(1), math.Inf(-1)
		for k := range within {
			t := s.Late + s.Start + s.Step*(float64(i)+(float64(k)+rng.Float64())/within)
			x := v(t, 2*math.Pi*rng.Float64()) + s.Noise*rng.NormFloat64()
			low, high = min(low, x), max(high, x)
		}
		c.Low[i], c.High[i] = c.code(low), c.code(high)
	}
	return c
}
