package verdict

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// content is what a record holds besides its sine.
type content struct {
	harmonics float64 // root sum square of the 2nd to 5th harmonic, over the fundamental
	overtone  float64 // strongest line near 3 or 5 times the sine that is no harmonic, over the fundamental; NaN if such lines are out of the record's reach

	harmonicsSD, overtoneSD float64 // standard uncertainties; NaN as these are
}

// noContent is what is known of a record whose spectrum shows nothing.
var noContent = content{math.NaN(), math.NaN(), math.NaN(), math.NaN()}

// contentOf measures the harmonics at their exact frequencies, also where
// sampling folds them back, and looks for a line that an overtone of the crystal
// would make: near, but not at, three or five times the sine. What is no more
// than the noise counts as 0.
func contentOf(v []float64, s Sine, step float64) content {
	n := len(v)
	c := content{overtone: math.NaN(), overtoneSD: math.NaN()}
	cycles := s.FrequencyHertz * step
	rest := make([]float64, n)
	re, im := s.AmplitudeVolts*math.Cos(s.PhaseRadians), s.AmplitudeVolts*math.Sin(s.PhaseRadians)
	turn(n, cycles, func(i int, cos, sin float64) { rest[i] = v[i] - s.OffsetVolts - re*cos + im*sin })
	// Twice the standard deviation of one amplitude, on average a line of noise.
	noise := 2 * s.ResidualVolts * math.Sqrt(2/float64(n))
	sum := 0.0
	for k := 2; k <= 5; k++ {
		folded := math.Abs(float64(k)*cycles - math.Round(float64(k)*cycles))
		if line := 2 / float64(n); folded < line || folded > 0.5-line || math.Abs(folded-cycles) < line {
			continue // falls on the mean or on the sine itself
		}
		a, b := project(rest, float64(k)*cycles)
		if h := math.Hypot(a, b); h > noise {
			sum += h * h
		}
		turn(n, float64(k)*cycles, func(i int, cos, sin float64) { rest[i] -= a*cos + b*sin })
	}
	c.harmonics = math.Sqrt(sum) / s.AmplitudeVolts
	c.harmonicsSD = noise / 2 / s.AmplitudeVolts
	if 3.3*cycles < 0.5 {
		c.overtone = overtone(rest, cycles, noise) / s.AmplitudeVolts
		c.overtoneSD = math.Sqrt(1.5) * c.harmonicsSD // a Hann window takes noise from a band half as wide again
	}
	return c
}

// turn calls f for n samples with cosine and sine of a frequency, phase 0 at the first.
func turn(n int, cycles float64, f func(i int, cos, sin float64)) {
	stepSin, stepCos := math.Sincos(2 * math.Pi * math.Remainder(cycles, 1))
	var sin, cos float64
	for i := range n {
		if i%64 == 0 { // turning the phasor is quick; this keeps its error at 1e-14
			sin, cos = math.Sincos(2 * math.Pi * math.Remainder(cycles*float64(i), 1))
		}
		f(i, cos, sin)
		cos, sin = cos*stepCos-sin*stepSin, sin*stepCos+cos*stepSin
	}
}

// project returns the amplitudes of cosine and sine of a frequency in v.
func project(v []float64, cycles float64) (a, b float64) {
	turn(len(v), cycles, func(i int, cos, sin float64) {
		a += v[i] * cos
		b += v[i] * sin
	})
	scale := 2 / float64(len(v))
	return scale * a, scale * b
}

// overtone returns the amplitude of the strongest line of v within a tenth of
// three and of five times the frequency, 0 if none stands out of the noise.
func overtone(v []float64, cycles, noise float64) float64 {
	n := len(v)
	line := fourier.NewFFT(n).Coefficients(nil, v)
	best := 0.0
	for _, k := range []float64{3, 5} {
		from, to := int(0.9*k*cycles*float64(n)), int(1.1*k*cycles*float64(n))
		for i := max(1, from); i <= min(to, len(line)-2); i++ {
			// A Hann window is, in the spectrum, a weighted sum of neighbours.
			w := line[i]/2 - (line[i-1]+line[i+1])/4
			best = max(best, 4*math.Hypot(real(w), imag(w))/float64(n))
		}
	}
	// The strongest of some hundred lines of noise is three times an ordinary one.
	if best < 3*noise {
		return 0
	}
	return best
}
