package benchcheck

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ringup/runner/verdict"
)

// probed is what a scope shows of a square wave through a 10:1 probe, by integrating the circuit's own equation: 9 MΩ
// parallel to the tip's capacitor, in series with 1 MΩ parallel to cable, trimmer and input. The probe is right where
// both capacitors divide as the resistors do; elsewhere its gain for fast signals is 10·C1/(C1+C2).
func probed(hertz, swing, c1, c2, noise float64, window float64, points int) (verdict.Trace, float64) {
	const r1, r2 = 9e6, 1e6
	step := window / float64(points)
	const sub = 20 // integration steps in a sample
	rng := rand.New(rand.NewPCG(1, 2))
	t := verdict.Trace{StepSeconds: step, LowVolts: -2, HighVolts: 6, Codes: 256}
	high := func(at float64) bool { return math.Mod(at*hertz, 1) < 0.5 }
	v2, last := 0.0, false // across the input; the source begins at 0
	settle := 20.0 / hertz
	total := int((settle + window) / step * sub)
	dt := step / sub
	for i := range total {
		at := float64(i) * dt
		now := high(at)
		if now != last { // a jump is divided by the capacitors
			d := swing * c1 / (c1 + c2)
			if !now {
				d = -d
			}
			v2, last = v2+d, now
		}
		vin := 0.0
		if now {
			vin = swing
		}
		v2 += dt * ((vin-v2)/r1 - v2/r2) / (c1 + c2)
		if i%sub == 0 && at >= settle && len(t.Max) < points {
			t.Max = append(t.Max, 10*v2+noise*rng.NormFloat64())
		}
	}
	t.Min = t.Max
	return t, 10 * c1 / (c1 + c2)
}

func TestMeasureSquare(t *testing.T) {
	for _, c := range []struct {
		name              string
		hertz, swing      float64
		c1, c2            float64
		noise, gainWithin float64
	}{
		{"trimmed", 1000, 3, 13e-12, 117e-12, 0, 0.001},
		{"trimmed, noisy", 1000, 3, 13e-12, 117e-12, 0.03, 0.005},
		{"over-compensated", 1000, 3, 13e-12, 103e-12, 0, 0.003},
		{"under-compensated", 1000, 3, 13e-12, 140e-12, 0, 0.003},
		{"under-compensated, noisy", 1000, 3, 13e-12, 140e-12, 0.03, 0.01},
		{"slow probe, so that half a period is not enough to settle", 2000, 3, 40e-12, 300e-12, 0, 0.005},
		{"another terminal", 1190, 2.5, 13e-12, 117e-12, 0.02, 0.005},
	} {
		trace, gain := probed(c.hertz, c.swing, c.c1, c.c2, c.noise, 5e-3, 5000)
		s, err := MeasureSquare(trace)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if math.Abs(s.EdgeGain-gain) > c.gainWithin {
			t.Errorf("%s: edge gain %.4f, the circuit has %.4f", c.name, s.EdgeGain, gain)
		}
		if math.Abs(s.Hertz/c.hertz-1) > 1e-3 {
			t.Errorf("%s: %.2f Hz, want %g", c.name, s.Hertz, c.hertz)
		}
		if swing := s.HighVolts - s.LowVolts; math.Abs(swing-c.swing) > 0.01*c.swing {
			t.Errorf("%s: swing %.4f V, want %g", c.name, swing, c.swing)
		}
	}
}

func TestWhatIsNoSquareWave(t *testing.T) {
	trace := func(f func(t float64) float64) verdict.Trace {
		w := verdict.Trace{StepSeconds: 1e-6, LowVolts: -2, HighVolts: 6, Codes: 256}
		for i := range 5000 {
			w.Max = append(w.Max, f(float64(i)*1e-6))
		}
		w.Min = w.Max
		return w
	}
	sine := func(hertz, peak float64) func(float64) float64 {
		return func(t float64) float64 { return 1.5 + peak*math.Sin(2*math.Pi*hertz*t) }
	}
	rng := rand.New(rand.NewPCG(3, 4))
	for _, c := range []struct {
		name  string
		trace verdict.Trace
		says  string
	}{
		{"nothing", verdict.Trace{}, "plain samples"},
		{"a flat line", trace(func(float64) float64 { return 1.5 }), "stays within"},
		{"mains pick-up", trace(sine(50, 1)), "rises 1 times"},
		{"a sine", trace(sine(1000, 1.5)), "not flat"},
		{"the crystal's clock, aliased", trace(sine(7.3728e6, 1.5)), "no square wave"},
		{"noise", trace(func(float64) float64 { return 1.5 + rng.NormFloat64()*0.6 }), "no square wave"},
		{"too large a signal", trace(sine(1000, 9)), "leaves the screen"},
		{"not a number", trace(func(float64) float64 { return math.NaN() }), "not numbers"},
		{"a burst", trace(func(t float64) float64 {
			if math.Mod(t, 1e-3) < 0.5e-3 && t < 3e-3 {
				return 3
			}
			return 0
		}), "no square wave"},
	} {
		s, err := MeasureSquare(c.trace)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %+v, error %v; want one that says %q", c.name, s, err, c.says)
		}
	}
}
