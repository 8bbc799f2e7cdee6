package verdict

import (
	"math"
	"math/bits"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// spectrumSamples is the longest block whose spectrum is taken.
const spectrumSamples = 4096

// spectrumPeak returns the frequency of the strongest line in the first samples
// of v, in cycles per sample, and how many samples it looked at. It is good to a
// few hundredths of a bin: a parabola through the logarithms of the three
// highest lines under a Hann window.
func spectrumPeak(v []float64) (samples int, cyclesPerSample float64) {
	samples = min(1<<(bits.Len(uint(len(v)))-1), spectrumSamples)
	mean := 0.0
	for _, x := range v[:samples] {
		mean += x / float64(samples)
	}
	centred := make([]float64, samples)
	for i, x := range v[:samples] {
		centred[i] = x - mean
	}
	line := fourier.NewFFT(samples).Coefficients(nil, centred)
	// A Hann window is, in the spectrum, a weighted sum of neighbours.
	power := make([]float64, len(line))
	for k := 1; k+1 < len(line); k++ {
		power[k] = cmplx.Abs(line[k]/2 - (line[k-1]+line[k+1])/4)
	}
	top := 1
	for k := range power {
		if power[k] > power[top] {
			top = k
		}
	}
	offset := 0.0
	if top > 1 && top+2 < len(line) && power[top-1] > 0 && power[top+1] > 0 {
		a, b, c := math.Log(power[top-1]), math.Log(power[top]), math.Log(power[top+1])
		if curve := a - 2*b + c; curve < 0 {
			offset = (a - c) / (2 * curve)
		}
	}
	return samples, (float64(top) + offset) / float64(samples)
}
