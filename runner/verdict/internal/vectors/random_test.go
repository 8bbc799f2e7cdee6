package vectors

import (
	"math"
	"testing"
)

// TestRandomCovers: the draws span what they claim to, each verdict its share.
func TestRandomCovers(t *testing.T) {
	const draws = 400
	verdicts := map[string]int{}
	least, most := math.Inf(1), math.Inf(-1)
	quiet, loud := math.Inf(1), math.Inf(-1)
	for seed := range uint64(draws) {
		r, l, truth := Random(seed)
		verdicts[truth.Verdict]++
		least, most = min(least, truth.SamplesPerPeriod), max(most, truth.SamplesPerPeriod)
		quiet, loud = min(quiet, truth.SignalToNoise), max(loud, truth.SignalToNoise)
		if n := len(r.Rail.Low); n < 8000 || n > 33000 {
			t.Errorf("seed %d: %d samples", seed, n)
		}
		switch truth.Verdict {
		case "started", "late", "dropped-out":
			if late := truth.StartSeconds > l.StartWithinSeconds; late != (truth.Verdict == "late") {
				t.Errorf("seed %d: %s at %g s, allowed %g s", seed, truth.Verdict, truth.StartSeconds, l.StartWithinSeconds)
			}
			fallthrough
		case "weak", "off-frequency":
			if weak := truth.AmplitudeVolts < l.AmplitudeMinVolts; weak != (truth.Verdict == "weak") {
				t.Errorf("seed %d: %s at %g V, required %g V", seed, truth.Verdict, truth.AmplitudeVolts, l.AmplitudeMinVolts)
			}
			if off := math.Abs(truth.FrequencyHertz/l.ClockHertz-1) > l.FrequencyWithin; off != (truth.Verdict == "off-frequency") {
				t.Errorf("seed %d: %s at %g Hz", seed, truth.Verdict, truth.FrequencyHertz)
			}
			if truth.SettledSamples < 400 {
				t.Errorf("seed %d: only %d settled samples", seed, truth.SettledSamples)
			}
		}
	}
	if len(verdicts) != 8 {
		t.Errorf("verdicts drawn: %v", verdicts)
	}
	for v, n := range verdicts {
		if n < draws/8/2 {
			t.Errorf("%s drawn %d times of %d", v, n, draws)
		}
	}
	if least > 2.6 || most < 48 || quiet > 6.5 || loud < 39.5 {
		t.Errorf("%g to %g samples a period, %g to %g dB", least, most, quiet, loud)
	}
}

// TestEnvelope holds the envelope to values worked out apart, from its formula:
// steady 0.9 V, 1 mV at first, time constant 25 µs passes 10, 50 and 90 % after
// 112.6208555243, 156.3272000426 and 188.1849808448 µs.
func TestEnvelope(t *testing.T) {
	o := Oscillation{Volts: 0.9, Growth: 25e-6, StartAt: 188.1849808448e-6}
	for at, want := range map[float64]float64{0: 0.001, 112.6208555243e-6: 0.09, 156.3272000426e-6: 0.45, 188.1849808448e-6: 0.81} {
		if got := o.Envelope(at); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("envelope at %g s: %.12g V, want %g V", at, got, want)
		}
	}
	if got := o.Reaches(0.5); math.Abs(got-156.3272000426e-6) > 1e-15 {
		t.Errorf("reaches half after %.13g s", got)
	}
}

// TestFrequencyBound: a sine of 0.85 V with 10 mV of noise, 1024 samples at
// 100 MS/s; the bound was worked out apart, 27.993493 Hz.
func TestFrequencyBound(t *testing.T) {
	got := Truth{AmplitudeVolts: 0.85, NoiseVolts: 0.01, SettledSamples: 1024}.FrequencyBoundHertz(1e-8)
	if math.Abs(got-27.993493) > 1e-5 {
		t.Errorf("bound %.8g Hz, want 27.993493 Hz", got)
	}
}

func BenchmarkRandom(b *testing.B) {
	for seed := uint64(0); b.Loop(); seed++ {
		Random(seed)
	}
}
