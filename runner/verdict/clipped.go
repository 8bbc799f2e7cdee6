package verdict

import "math"

// unclip puts the amplitude that a clipped sine must have in the place of the
// smaller one that its mean square shows, in every bin that touches the screen's
// edge; offset is the level about which the sine swings, in volts. Extremes do
// not tell how far beyond the edge a peak went: an envelope of those is left as
// it is.
func (e *envelope) unclip(offset float64) {
	if e.samples == 0 || e.touching(e.first) == 0 {
		return
	}
	low, high := e.t.LowVolts-offset, e.t.HighVolts-offset
	if !(low < 0 && high > 0) {
		return
	}
	edgeLow, edgeHigh := e.t.clips()
	for i := e.first; i < len(e.amplitude); i++ {
		if e.amplitude[i] > e.floor && (e.t.Min[i] <= edgeLow || e.t.Max[i] >= edgeHigh) {
			e.amplitude[i] = unclipped(e.amplitude[i], low, high)
		}
	}
}

// unclipped returns the amplitude of a sine about zero that, cut off at low and
// high, has the mean square about its mean of a whole sine of the given
// amplitude. Beyond eight times the screen it does not look.
func unclipped(amplitude, low, high float64) float64 {
	power := amplitude * amplitude / 2
	from, to := amplitude, 8*(high-low)
	if clippedPower(from, low, high) >= power {
		return amplitude
	}
	for range 30 {
		middle := (from + to) / 2
		if clippedPower(middle, low, high) < power {
			from = middle
		} else {
			to = middle
		}
	}
	return (from + to) / 2
}

// clippedPower is the mean square about its mean of a sine cut off at low and high.
func clippedPower(amplitude, low, high float64) float64 {
	top := math.Acos(min(1, high/amplitude))    // it is at high from 0 to here
	bottom := math.Acos(max(-1, low/amplitude)) // and at low from here to pi
	mean := (high*top + low*(math.Pi-bottom) + amplitude*(math.Sin(bottom)-math.Sin(top))) / math.Pi
	square := (high*high*top + low*low*(math.Pi-bottom) +
		amplitude*amplitude/2*(bottom-top+(math.Sin(2*bottom)-math.Sin(2*top))/2)) / math.Pi
	return square - mean*mean
}
