package verdict

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// sampled returns a plain record of n samples of a function of time.
func sampled(n int, rate float64, f func(t float64) float64) Trace {
	t := Trace{StepSeconds: 1 / rate}
	for k := range n {
		t.Max = append(t.Max, f(float64(k)/rate))
	}
	t.Min = t.Max
	return t
}

// w3 reads the record of .85 V cos(2 pi 7.9993 MHz t + .7) + 1.62 V at
// 100 MS/s with 10 mV of noise.
func w3(t *testing.T) Trace {
	t.Helper()
	trace := readTestRecord(t, "w3_sine.csv", 1e-8)
	if len(trace.Max) != 1024 {
		t.Fatalf("%d samples, want 1024", len(trace.Max))
	}
	return trace
}

// The four-parameter fit of IEEE 1057, against the solution by scipy's
// curve_fit and by an independent implementation.
func TestFitSine(t *testing.T) {
	for _, guess := range []float64{0, math.NaN(), 8e6, 7.98e6} {
		s, err := FitSine(w3(t), guess)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range []struct {
			what              string
			got, want, within float64
		}{
			{"amplitude", s.AmplitudeVolts, .850536838389, 1e-10},
			{"frequency", s.FrequencyHertz, 7999338.84105, 1e-3},
			{"phase", s.PhaseRadians, .699016595568, 1e-8},
			{"offset", s.OffsetVolts, 1.620206203266, 1e-10},
			{"residual", s.ResidualVolts, .009887693162, 1e-11},
		} {
			if !(math.Abs(m.got-m.want) <= m.within) {
				t.Errorf("guess %v: %s %.13g, want %.13g", guess, m.what, m.got, m.want)
			}
		}
	}
}

func TestFitSineWithoutNoise(t *testing.T) {
	trace := sampled(1024, 100e6, func(t float64) float64 { return .85*math.Cos(2*math.Pi*7.9993e6*t+.7) + 1.62 })
	for _, guess := range []float64{0, 8e6} {
		s, err := FitSine(trace, guess)
		if err != nil {
			t.Fatal(err)
		}
		for what, rel := range map[string]float64{
			"amplitude": s.AmplitudeVolts/.85 - 1, "frequency": s.FrequencyHertz/7.9993e6 - 1,
			"phase": s.PhaseRadians/.7 - 1, "offset": s.OffsetVolts/1.62 - 1,
		} {
			if math.Abs(rel) > 1e-12 {
				t.Errorf("guess %v: %s is off by %v", guess, what, rel)
			}
		}
		if s.ResidualVolts > 1e-13 {
			t.Errorf("guess %v: residual %v V of a pure sine", guess, s.ResidualVolts)
		}
	}
}

// The scatter of the fit is the least possible, the Cramer-Rao bound: for the
// record above sd(f) = 27.993493 Hz, sd(A) = 4.419417e-4 V, sd(C) = 3.125e-4 V
// at 10 mV of noise (Rife and Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591).
func TestFitSineScatter(t *testing.T) {
	const fits = 600
	rng := rand.New(rand.NewPCG(73728, 1))
	var f, a, c float64
	for range fits {
		phase := 2 * math.Pi * rng.Float64()
		s, err := FitSine(sampled(1024, 100e6, func(t float64) float64 {
			return .85*math.Cos(2*math.Pi*7.9993e6*t+phase) + 1.62 + .01*rng.NormFloat64()
		}), 0)
		if err != nil {
			t.Fatal(err)
		}
		f += math.Pow(s.FrequencyHertz-7.9993e6, 2) / fits
		a += math.Pow(s.AmplitudeVolts-.85, 2) / fits
		c += math.Pow(s.OffsetVolts-1.62, 2) / fits
	}
	// The standard deviation of 600 fits is itself uncertain by 2.9 %; allow four times that.
	for what, ratio := range map[string]float64{
		"frequency": math.Sqrt(f) / 27.993493, "amplitude": math.Sqrt(a) / 4.419417e-4, "offset": math.Sqrt(c) / 3.125e-4,
	} {
		if ratio < 0.88 || ratio > 1.12 {
			t.Errorf("%s scatters by %.3f times the Cramer-Rao bound", what, ratio)
		}
	}
}

// Whatever the sine, it is found without a hint.
func TestFitSineFindsAnySine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(128, 12_000).Draw(t, "samples")
		const rate = 100e6
		periods := rapid.Float64Range(1.6, float64(n)*.45).Draw(t, "periods")
		amplitude := rapid.Float64Range(.01, 10).Draw(t, "amplitude")
		phase := rapid.Float64Range(-3.1, 3.1).Draw(t, "phase")
		offset := rapid.Float64Range(-5, 5).Draw(t, "offset")
		hertz := periods * rate / float64(n)
		s, err := FitSine(sampled(n, rate, func(t float64) float64 {
			return amplitude*math.Cos(2*math.Pi*hertz*t+phase) + offset
		}), 0)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.FrequencyHertz/hertz-1) > 1e-9 || math.Abs(s.AmplitudeVolts/amplitude-1) > 1e-8 ||
			math.Abs(s.PhaseRadians-phase) > 1e-6 || math.Abs(s.OffsetVolts-offset) > 1e-8*(amplitude+5) {
			t.Fatalf("%+v, want %v V at %v Hz, phase %v, offset %v V", s, amplitude, hertz, phase, offset)
		}
	})
}

func TestFitSineClipped(t *testing.T) {
	trace := sampled(4096, 100e6, func(t float64) float64 {
		return min(1.2, max(-1.2, 1.6*math.Cos(2*math.Pi*7.3728e6*t)))
	})
	trace.LowVolts, trace.HighVolts, trace.Codes = -1.2, 1.2, 256
	s, err := FitSine(trace, 0)
	if err != nil || math.Abs(s.AmplitudeVolts-1.6) > 1e-9 || math.Abs(s.FrequencyHertz-7.3728e6) > 1e-3 {
		t.Errorf("%+v, %v", s, err)
	}
}

func TestFitSineRefuses(t *testing.T) {
	sine := func(n int, hertz float64) Trace {
		return sampled(n, 100e6, func(t float64) float64 { return math.Sin(2 * math.Pi * hertz * t) })
	}
	peaks := sine(100, 1e7)
	peaks.Min = make([]float64, 100)
	for i, v := range peaks.Max {
		peaks.Min[i] = v - 1
	}
	clipped := sine(100, 1e7)
	clipped.LowVolts, clipped.HighVolts, clipped.Codes = -.1, .1, 256
	nan := sine(100, 1e7)
	nan.Max[7] = math.NaN()
	for reason, c := range map[string]struct {
		t     Trace
		guess float64
	}{
		"is missing":           {Trace{}, 0},
		"has 10 samples":       {sine(10, 1e7), 0},
		"peak-detected":        {peaks, 0},
		"are clipped":          {clipped, 0},
		"not a number":         {nan, 0},
		"no time axis":         {Trace{Min: make([]float64, 50), Max: make([]float64, 50)}, 0},
		"only 0.":              {sine(4096, 2e4), 2e4},
		"half the sampling":    {sine(1000, 1e7), 6e7},
		"the record is flat":   {sine(1000, 0), 1e7},
		"minimum (1.00 V) abo": {Trace{StepSeconds: 1, Min: []float64{1}, Max: []float64{0}}, 0},
	} {
		if s, err := FitSine(c.t, c.guess); err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("want an error with %q: %+v, %v", reason, s, err)
		}
	}
}

func BenchmarkFitSine(b *testing.B) {
	trace := sampled(4096, 13*7.3728e6, func(t float64) float64 { return 1.6*math.Cos(2*math.Pi*7.3728e6*t) + 1.8 })
	for b.Loop() {
		if _, err := FitSine(trace, 0); err != nil {
			b.Fatal(err)
		}
	}
}
