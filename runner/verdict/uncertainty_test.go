package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"ringup/runner/verdict/internal/vectors"
)

// The noise that a judgement states is that of the record, by as much as it says.
func TestNoiseUncertainty(t *testing.T) {
	sum, n := 0.0, 0
	for seed := range uint64(300) {
		r, l, truth := vectors.Random(seed)
		j := Judge(evidenceOf(r, l), expectOf(l))
		if math.IsNaN(j.NoiseVolts) != math.IsNaN(j.SD.NoiseVolts) || math.IsNaN(j.RailSagVolts) != math.IsNaN(j.SD.RailSagVolts) ||
			math.IsNaN(j.HarmonicRatio) != math.IsNaN(j.SD.HarmonicRatio) || math.IsNaN(j.OvertoneRatio) != math.IsNaN(j.SD.OvertoneRatio) ||
			math.IsNaN(j.DropoutSeconds) != math.IsNaN(j.SD.DropoutSeconds) || math.IsNaN(j.StartSeconds) != math.IsNaN(j.SD.StartSeconds) {
			t.Errorf("seed %d: a measure without an uncertainty, or the other way about: %+v", seed, j)
		}
		if Verdict(truth.Verdict) != Started || math.IsNaN(j.NoiseVolts) || truth.NoiseVolts < 2*r.Clock.CodeVolts {
			continue // below that the converter makes the noise, not the source
		}
		sum += math.Pow((j.NoiseVolts-truth.NoiseVolts)/j.SD.NoiseVolts, 2)
		n++
	}
	if off := math.Sqrt(sum / float64(n)); n < 10 || !(off > 0.4 && off < 2) {
		t.Errorf("noise off by %.2f stated standard deviations (root mean square of %d)", off, n)
	}
}

// A third harmonic of 2 % in normal noise, 400 times: the scatter of what is read is what is stated.
func TestHarmonicUncertainty(t *testing.T) {
	const harmonic, sigma, samples = 0.02, 0.02, 4096
	rng := rand.New(rand.NewPCG(5, 5))
	sum, sd := 0.0, 0.0
	for range 400 {
		v := make([]float64, samples)
		for i := range v {
			phase := 2 * math.Pi * 0.07713 * float64(i)
			v[i] = math.Cos(phase) + harmonic*math.Cos(3*phase+1) + sigma*rng.NormFloat64()
		}
		c := contentOf(v, Sine{AmplitudeVolts: 1, FrequencyHertz: 0.07713, ResidualVolts: math.Hypot(sigma, harmonic/math.Sqrt2)}, 1)
		sum += (c.harmonics - harmonic) * (c.harmonics - harmonic)
		sd += c.harmonicsSD / 400
	}
	if scatter := math.Sqrt(sum / 400); scatter < 0.5*sd || scatter > 1.5*sd {
		t.Errorf("harmonics scatter by %.2g, stated %.2g", scatter, sd)
	}
}
