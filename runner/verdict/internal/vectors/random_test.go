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

// TestRandomIsTrue looks at records for what their truth says: the noise before
// the rise, and the sine in the settled part by correlation at its frequency.
func TestRandomIsTrue(t *testing.T) {
	seen := 0
	for seed := range uint64(200) {
		r, _, truth := Random(seed)
		clock := r.Clock
		if truth.Verdict == "unread" {
			continue
		}
		rise := int(-clock.StartSeconds / clock.StepSeconds)
		var sum, squares float64
		n := float64(rise / 2) // well before anything moves
		for _, code := range clock.Low[:rise/2] {
			sum += clock.Volts(code)
			squares += clock.Volts(code) * clock.Volts(code)
		}
		noise := math.Sqrt(squares/n - sum*sum/n/n)
		// Below half a code of noise the converter rounds it away or up.
		if truth.NoiseVolts > clock.CodeVolts/2 && math.Abs(noise/truth.NoiseVolts-1) > 4/math.Sqrt(2*n) {
			t.Errorf("seed %d: noise of %.4g V before the rise, stated %.4g V", seed, noise, truth.NoiseVolts)
		}
		if truth.Verdict != "started" && truth.Verdict != "weak" && truth.Verdict != "off-frequency" {
			continue
		}
		seen++
		settled := clock.Low[len(clock.Low)-truth.SettledSamples*9/10:]
		var mean, cos, sin float64
		for _, code := range settled {
			mean += clock.Volts(code) / float64(len(settled))
		}
		for i, code := range settled {
			s, c := math.Sincos(2 * math.Pi * truth.FrequencyHertz * float64(i) * clock.StepSeconds)
			cos += (clock.Volts(code) - mean) * c
			sin += (clock.Volts(code) - mean) * s
		}
		amplitude := 2 * math.Hypot(cos, sin) / float64(len(settled))
		within := 0.02*truth.AmplitudeVolts + 4*truth.NoiseVolts*math.Sqrt(2/float64(len(settled)))
		if math.Abs(amplitude-truth.AmplitudeVolts) > within {
			t.Errorf("seed %d: %s, amplitude %.4g V at %.6g Hz, stated %.4g V", seed, truth.Verdict, amplitude, truth.FrequencyHertz, truth.AmplitudeVolts)
		}
	}
	if seen < 40 {
		t.Errorf("only %d records that oscillate", seen)
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
