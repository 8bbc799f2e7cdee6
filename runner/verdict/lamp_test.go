package verdict

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestLamp(t *testing.T) {
	const set = 3.6
	square := func(hertz, low, high, noise float64) Trace {
		rng := rand.New(rand.NewPCG(5, 5))
		return sampled(480, 200, func(t float64) float64 { // 2.4 s
			v := low
			if math.Mod(t*hertz+.3, 1) < .5 {
				v = high
			}
			return v + noise*rng.NormFloat64()
		})
	}
	ramped := func(t Trace) Trace {
		t.LowVolts, t.HighVolts, t.Codes = -.9, 4.5, 256
		return t
	}
	step := func(from, to float64) Trace {
		return sampled(480, 200, func(t float64) float64 {
			if t < 1 {
				return from
			}
			return to
		})
	}
	hesitant := sampled(480, 200, func(t float64) float64 { // its edges waver about the middle
		switch phase := math.Mod(t+.3, .5); {
		case phase < .04:
			return 1 + .15*math.Copysign(1, math.Sin(2*math.Pi*50*t+.1))
		case math.Mod(t+.3, 1) < .5:
			return 2
		}
		return 0
	})
	for name, c := range map[string]struct {
		trace Trace
		want  Lamp
		hertz float64
	}{
		"no probe":           {Trace{}, "", math.NaN()},
		"torn":               {Trace{StepSeconds: 1, Min: []float64{1}}, "", math.NaN()},
		"dark":               {square(1, .02, .02, .03), Dark, math.NaN()},
		"lit":                {square(1, 2, 2, .03), Lit, math.NaN()},
		"blinking":           {square(1, .02, 2, .03), Blinking, 1},
		"blinking, quiet":    {ramped(square(1, 0, 3.6, 0)), Blinking, 1},
		"blinking, hesitant": {hesitant, Blinking, 1},
		"blinking at 3 Hz":   {square(3, .02, 2, .05), Blinking, 3},
		"blinking slowly":    {square(.7, .02, 2, .05), Blinking, .7},
		"came on":            {step(.02, 2), Lit, math.NaN()},
		"went off":           {step(2, .02), Dark, math.NaN()},
		"one sample record":  {sampled(1, 1, func(float64) float64 { return 2 }), Lit, math.NaN()},
	} {
		lamp, hertz := lampOf(c.trace, set)
		if lamp != c.want || math.IsNaN(hertz) != math.IsNaN(c.hertz) || math.Abs(hertz-c.hertz) > .02*c.hertz {
			t.Errorf("%s: %q at %v Hz, want %q at %v Hz", name, lamp, hertz, c.want, c.hertz)
		}
	}
}

func TestQuantities(t *testing.T) {
	for v, want := range map[float64]string{
		0.0119: "11.9 ms", 1.12: "1.12 s", 0.065: "65.0 ms", 0.99996: "1.00 s", 123.4: "123 s", 4.1e-7: "410 ns",
		-0.0213: "-21.3 ms", 1e-3: "1.00 ms", 1e6: "1.00 Ms", 0: "0 s", 5e12: "5000 Gs",
	} {
		if got := si(v, "s"); got != want {
			t.Errorf("si(%v) = %q, want %q", v, got, want)
		}
	}
	if got := hertzText(7.3728e6); got != "7.3728 MHz" {
		t.Errorf("hertzText(7.3728e6) = %q", got)
	}
	if got := percent(0.01); got != "1 %" {
		t.Errorf("percent(0.01) = %q", got)
	}
}
