package verdict

import (
	"errors"
	"fmt"
	"math"
)

// Sine is a fitted sine wave, AmplitudeVolts*cos(2*pi*FrequencyHertz*t +
// PhaseRadians) + OffsetVolts with t counted from the first sample.
type Sine struct {
	AmplitudeVolts float64 // peak
	FrequencyHertz float64
	PhaseRadians   float64 // at the first sample, -pi to pi
	OffsetVolts    float64
	ResidualVolts  float64 // root mean square of what the sine does not explain
}

// deviations returns the standard uncertainties of amplitude (V), frequency (Hz)
// and phase in the middle (rad) of a sine fitted to n samples, the Cramer-Rao
// bound (Rife and Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591) for noise of
// the size of the residual.
func (s Sine) deviations(n int, step float64) (amplitude, hertz, phase float64) {
	count := float64(n)
	relative := s.ResidualVolts / s.AmplitudeVolts
	return s.ResidualVolts * math.Sqrt(2/count),
		relative * math.Sqrt(6/(count*(count*count-1))) / (math.Pi * step),
		relative * math.Sqrt(2/count)
}

// FitSine fits a sine wave to a plain record by least squares in all four
// parameters (IEEE 1057, four-parameter fit). guessHertz starts the search and
// must be right to half a period over the whole record; 0 or NaN finds the
// start in the record's spectrum. Clipped samples are left out.
//
// It is an error if the record is unusable, is peak-detected, is mostly
// clipped, holds fewer than one and a half periods or no sine wave at all.
func FitSine(t Trace, guessHertz float64) (Sine, error) {
	if err := t.flaw(); err != nil {
		return Sine{}, fmt.Errorf("the record %w", err)
	}
	if !t.plain() {
		return Sine{}, errors.New("the record is peak-detected; a sine fit needs plain samples")
	}
	const fewest = 16
	v := t.Max
	if len(v) < fewest {
		return Sine{}, fmt.Errorf("the record has %d samples; a sine fit needs %d", len(v), fewest)
	}
	low, high := t.clips()
	clipped := 0
	for _, s := range v {
		if s <= low || s >= high {
			clipped++
		}
	}
	if 10*clipped > 6*len(v) {
		return Sine{}, fmt.Errorf("%d of %d samples are clipped", clipped, len(v))
	}
	fit := sineFit{low: low, high: high}
	block := min(len(v), spectrumSamples)
	cyclesPerSample := guessHertz * t.StepSeconds
	if !(guessHertz > 0) {
		block, cyclesPerSample = fit.start(v)
	}
	if !(cyclesPerSample > 0 && cyclesPerSample < 0.5) {
		return Sine{}, fmt.Errorf("no sine wave between 0 and %s, half the sampling rate", hertzText(0.5/t.StepSeconds))
	}
	// The frequency is found on a block and sharpened on ever longer ones: on a
	// long record a coarse start would settle on a side lobe.
	fit.omega = 2 * math.Pi * cyclesPerSample
	for {
		if err := fit.refine(v[:block]); err != nil {
			return Sine{}, err
		}
		if block == len(v) {
			break
		}
		block = min(len(v), 4*block)
	}
	if cycles := fit.omega / (2 * math.Pi) * float64(len(v)); cycles < 1.5 {
		return Sine{}, fmt.Errorf("the record holds only %.1f periods", cycles)
	}
	middle := float64(len(v)-1) / 2
	return Sine{
		AmplitudeVolts: math.Hypot(fit.cos, fit.sin),
		FrequencyHertz: fit.omega / (2 * math.Pi * t.StepSeconds),
		PhaseRadians:   math.Remainder(-math.Atan2(fit.sin, fit.cos)-fit.omega*middle, 2*math.Pi),
		OffsetVolts:    fit.offset,
		ResidualVolts:  fit.residual(v),
	}, nil
}

// sineFit is cos*cos(omega*k) + sin*sin(omega*k) + offset, with k counted in
// samples from the middle of the block, where frequency and phase do not
// disturb each other.
type sineFit struct {
	omega            float64 // radians per sample
	cos, sin, offset float64
	low, high        float64 // samples at or beyond these are left out
}

// fewPeriods is so few in a block that the lines of the sine, of its mirror image
// and of the mean run into each other in the spectrum.
const fewPeriods = 4

// start returns where the search for the frequency starts, in cycles per sample,
// and the number of samples for which that is good enough.
func (s *sineFit) start(v []float64) (block int, cyclesPerSample float64) {
	block, cyclesPerSample = spectrumPeak(v)
	if float64(block)*cyclesPerSample >= fewPeriods {
		return block, cyclesPerSample
	}
	// Look at the whole record instead, which so slow a sine bears to be thinned out.
	thin := (len(v) + spectrumSamples - 1) / spectrumSamples
	thinned := make([]float64, 0, spectrumSamples)
	for i := 0; i < len(v); i += thin {
		thinned = append(thinned, v[i])
	}
	part, peak := spectrumPeak(thinned)
	if float64(part)*peak < fewPeriods {
		peak = s.slowest(thinned)
	}
	return len(v), peak / float64(thin)
}

// slowest returns the frequency, in cycles per sample, of which a sine leaves the
// least of v unexplained, among those of up to so many periods as the spectrum of
// at least half of v has too few of.
func (s *sineFit) slowest(v []float64) float64 {
	const step = 0.125 // periods
	best, least := 0.0, math.Inf(1)
	for periods := 0.5; periods <= 2*fewPeriods+1; periods += step {
		try := sineFit{omega: 2 * math.Pi * periods / float64(len(v)), low: s.low, high: s.high}
		if try.fix(v) {
			if left := try.residual(v); left < least {
				best, least = periods, left
			}
		}
	}
	return best / float64(len(v))
}

// fix fits amplitude, phase and offset at the frequency that s has; false if v
// does not determine them.
func (s *sineFit) fix(v []float64) bool {
	var m normal4
	s.each(v, func(x, cos, sin, _ float64) { m.add(x, cos, sin, 1, 0) })
	p, ok := m.solve(false)
	s.cos, s.sin, s.offset = p[0], p[1], p[2]
	return ok
}

// each calls f for every unclipped sample with the cosine and sine of its phase
// and its place u in the block, -1 to 1.
func (s *sineFit) each(v []float64, f func(v, cos, sin, u float64)) {
	middle := float64(len(v)-1) / 2
	stepSin, stepCos := math.Sincos(s.omega)
	var sin, cos float64
	for k, x := range v {
		if k%64 == 0 { // turning the phasor is quick; this keeps its error at 1e-14
			sin, cos = math.Sincos(s.omega * (float64(k) - middle))
		}
		if x > s.low && x < s.high {
			f(x, cos, sin, float64(k)/middle-1)
		}
		cos, sin = cos*stepCos-sin*stepSin, sin*stepCos+cos*stepSin
	}
}

// refine takes Gauss-Newton steps on block v, from omega, until the phase at
// its ends stands still.
func (s *sineFit) refine(v []float64) error {
	half := float64(len(v)-1) / 2
	s.cos, s.sin = 0, 0
	for step := range 40 { // the first one fits the other three parameters
		var m normal4
		s.each(v, func(x, cos, sin, u float64) {
			m.add(x, cos, sin, 1, u*(s.sin*cos-s.cos*sin))
		})
		p, ok := m.solve(step > 0)
		if !ok {
			return errors.New("the record holds no sine wave")
		}
		s.cos, s.sin, s.offset = p[0], p[1], p[2]
		s.omega += p[3] / half
		if !(s.omega > 0 && s.omega < math.Pi) {
			return errors.New("the search for the frequency left the range of the record")
		}
		if s.cos == 0 && s.sin == 0 {
			return errors.New("the record is flat")
		}
		if step > 0 && math.Abs(p[3]) < 1e-11 {
			return nil
		}
	}
	return errors.New("the sine fit did not settle")
}

func (s *sineFit) residual(v []float64) float64 {
	var sum, n float64
	s.each(v, func(x, cos, sin, _ float64) {
		r := x - s.cos*cos - s.sin*sin - s.offset
		sum += r * r
		n++
	})
	return math.Sqrt(sum / n)
}
