package verdict

import (
	"fmt"
	"math"
	"slices"
)

const (
	mostBins      = 2048 // of an envelope
	fewestInBin   = 16   // samples
	periodsPerBin = 3    // of the clock, so that a bin's mean square is that of whole periods within a few percent
	fewestBins    = 20   // after the rail's rise
)

// clockBins takes a clock's record in bins wide enough to show an amplitude.
func clockBins(r Record, hertz float64) (bins, error) {
	n := r.Len()
	per := max(fewestInBin, (n+mostBins-1)/mostBins)
	if cycles := hertz * r.StepSeconds; cycles > 0 && finite(cycles) {
		// What the record shows of a clock beyond half its sampling rate is an alias.
		cycles = math.Abs(cycles - math.Round(cycles))
		if !(float64(n)*cycles > periodsPerBin*fewestBins) {
			return bins{}, fmt.Errorf("shows no amplitude: at %s the expected %s has only %.3g periods in it, %d are needed; choose another sampling rate or a longer record",
				si(1/r.StepSeconds, "samples/s"), hertzText(hertz), float64(n)*cycles, periodsPerBin*fewestBins)
		}
		per = max(per, int(math.Ceil(periodsPerBin/cycles)))
	}
	return r.binned(per), nil
}

// powerEnvelope takes the envelope from the mean square in each bin. Unlike the
// extremes, which grow with every sample of noise, it holds far into the noise.
func powerEnvelope(b bins, rise float64) envelope {
	n := len(b.mean)
	quiet := b.t.before(rise) / 2 // as quietBins, but each holds many samples
	if quiet < 3 {
		quiet = 0
	}
	code := b.t.codeVolts()
	e := envelope{t: b.t, first: b.t.before(rise), centre: 0.5}
	excess := make([]float64, n)
	for i, p := range b.power {
		d := drift(b.mean, i)
		excess[i] = max(0, p-d*d/12) // a ramp's mean square about its mean
	}
	var noise float64 // V²
	if quiet > 0 {
		noise = median(excess[:quiet])
		widths := make([]float64, quiet)
		for i := range widths {
			widths[i] = b.t.Max[i] - b.t.Min[i]
		}
		e.noise = median(widths)
	} else {
		// As quiet as the record ever is, if an 8-bit converter can be as quiet as that.
		quietest := slices.Clone(excess)
		slices.Sort(quietest)
		noise = min(quietest[n/20], code*code/2)
		e.noise = noiseSpread * math.Sqrt(noise)
	}
	e.rms = math.Sqrt(noise)
	e.rmsSD = e.rms // as quiet as that, or quieter
	if quiet > 0 {
		e.rmsSD = e.rms / 2 * medianSD * math.Sqrt(2/float64(b.per*quiet))
	}
	for i := range excess {
		excess[i] -= noise
	}
	excess = medianOfFive(excess)
	e.shared = sharedBins(excess, noise, b.per)
	excess = smoothed(excess, e.shared)
	e.samples = b.per * e.shared
	e.lasting = runBins(n) + e.shared - 1

	scatter := noise * math.Sqrt(2/float64(e.samples))
	least := max(6*scatter, code*code/4)
	for _, p := range excess[:quiet] {
		least = max(least, 1.5*p)
	}
	e.floor = math.Sqrt(2 * least)
	e.amplitude = excess
	for i, p := range excess {
		e.amplitude[i] = math.Copysign(math.Sqrt(2*math.Abs(p)), p)
	}
	return e
}

// sharedBins is over how many neighbouring bins the mean square is averaged: as
// few as keep the amplitude steady to a hundredth, and never over more than a
// hundredth of the record.
func sharedBins(excess []float64, noise float64, per int) int {
	n := len(excess)
	largest := slices.Clone(excess)
	slices.Sort(largest)
	const steadiness = 0.01
	most := max(1, n/100)
	level := 2 * largest[n-1-n/10] // V², the square of about the steady amplitude
	k := most
	if need := 2 * noise / (steadiness * steadiness * float64(per)); level > 0 && need < float64(most)*level {
		k = max(1, int(math.Ceil(need/level)))
	}
	return k | 1
}

// smoothed returns the running mean over k values, k odd, and over fewer near the ends.
func smoothed(v []float64, k int) []float64 {
	if k <= 1 {
		return v
	}
	sums := make([]float64, len(v)+1)
	for i, x := range v {
		sums[i+1] = sums[i] + x
	}
	out := make([]float64, len(v))
	for i := range out {
		half := min(k/2, i, len(v)-1-i)
		out[i] = (sums[i+half+1] - sums[i-half]) / float64(2*half+1)
	}
	return out
}
